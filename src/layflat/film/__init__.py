"""The film: its material, flattening a surface into it, and the strain of laying it."""

from layflat.film.film_file import film_toml, generic_film, read_film
from layflat.film.flat import Flat, Strain
from layflat.film.flat_obj import flat_obj
from layflat.film.flatten import flatten
from layflat.film.material import NOT_STATED, QUANTITIES, Basis, Film
from layflat.film.overlap import overlaps
from layflat.film.report import film_notes, flatten_report, flatten_warnings, limits_basis
from layflat.film.strain import StretchSummary, strain_of, stretch_summary
from layflat.film.transfer import to_flat, to_surface

__all__ = [
    "NOT_STATED",
    "QUANTITIES",
    "Basis",
    "Film",
    "Flat",
    "Strain",
    "StretchSummary",
    "film_notes",
    "film_toml",
    "flat_obj",
    "flatten",
    "flatten_report",
    "flatten_warnings",
    "generic_film",
    "limits_basis",
    "overlaps",
    "read_film",
    "strain_of",
    "stretch_summary",
    "to_flat",
    "to_surface",
]
