"""The film: its material, flattening a surface into it, and the strain of laying it."""

from layflat.film.film_file import film_toml, generic_film, read_film
from layflat.film.flat import Flat, Strain
from layflat.film.flat_obj import flat_obj
from layflat.film.flatten import flatten
from layflat.film.material import NOT_STATED, QUANTITIES, Basis, Film
from layflat.film.overlap import overlaps
from layflat.film.report import film_notes, flatten_report, flatten_warnings, limits_basis
from layflat.film.strain import StretchSummary, strain_of, stretch_summary
from layflat.film.strip_test import CAUTION, Loaded, Strip, StripTest, Unloaded, read_strip_test
from layflat.film.strip_test_film import film_of_strip, strip_lines, strip_notes, strip_results
from layflat.film.strip_test_fit import StripFit, fit_strip
from layflat.film.strip_test_recovery import Recovery, recovery_of
from layflat.film.transfer import to_flat, to_surface

__all__ = [
    "CAUTION",
    "NOT_STATED",
    "QUANTITIES",
    "Basis",
    "Film",
    "Flat",
    "Loaded",
    "Recovery",
    "Strain",
    "StretchSummary",
    "Strip",
    "StripFit",
    "StripTest",
    "Unloaded",
    "film_notes",
    "film_of_strip",
    "film_toml",
    "fit_strip",
    "flat_obj",
    "flatten",
    "flatten_report",
    "flatten_warnings",
    "generic_film",
    "limits_basis",
    "overlaps",
    "read_film",
    "read_strip_test",
    "recovery_of",
    "strain_of",
    "stretch_summary",
    "strip_lines",
    "strip_notes",
    "strip_results",
    "to_flat",
    "to_surface",
]
