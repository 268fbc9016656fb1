"""The film: its material, flattening a surface into it, and the strain of laying it."""

from layflat.film.film_file import generic_film, read_film
from layflat.film.flat import Flat, Strain
from layflat.film.flat_obj import flat_obj
from layflat.film.flatten import flatten
from layflat.film.material import Film
from layflat.film.overlap import overlaps
from layflat.film.report import flatten_report, flatten_warnings
from layflat.film.strain import StretchSummary, strain_of, stretch_summary
from layflat.film.transfer import to_flat, to_surface

__all__ = [
    "Film",
    "Flat",
    "Strain",
    "StretchSummary",
    "flat_obj",
    "flatten",
    "flatten_report",
    "flatten_warnings",
    "generic_film",
    "overlaps",
    "read_film",
    "strain_of",
    "stretch_summary",
    "to_flat",
    "to_surface",
]
