"""The film: its material, flattening a surface into it, and the strain of laying it."""

from layflat.film.descent import RELATIVE_TOLERANCE, STRAIN_FLOOR, Preconditioner
from layflat.film.energy import HenckyLaw
from layflat.film.factor import Factor
from layflat.film.film_file import film_toml, generic_film, read_film
from layflat.film.flat import Flat, Strain
from layflat.film.flat_obj import flat_obj
from layflat.film.flatten import MAX_FINGER_AVERSION, MAX_STEPS, flatten, membrane_stiffness_n_mm
from layflat.film.frames import ComplexArray, Frames, cross, frames_of
from layflat.film.inversion import safe_step
from layflat.film.material import NOT_STATED, QUANTITIES, Basis, Film
from layflat.film.overlap import overlaps
from layflat.film.report import film_notes, flatten_report, flatten_warnings, limits_basis
from layflat.film.sheet import sheet_loops
from layflat.film.strain import StretchSummary, strain_of, stretch_summary
from layflat.film.strip_test import CAUTION, Loaded, Strip, StripTest, Unloaded, read_strip_test
from layflat.film.strip_test_film import film_of_strip, strip_lines, strip_notes, strip_results
from layflat.film.strip_test_fit import StripFit, fit_strip
from layflat.film.strip_test_recovery import Recovery, recovery_of
from layflat.film.tension import RelaxedLaw
from layflat.film.transfer import to_flat, to_surface

__all__ = [
    "CAUTION",
    "MAX_FINGER_AVERSION",
    "MAX_STEPS",
    "NOT_STATED",
    "QUANTITIES",
    "RELATIVE_TOLERANCE",
    "STRAIN_FLOOR",
    "Basis",
    "ComplexArray",
    "Factor",
    "Film",
    "Flat",
    "Frames",
    "HenckyLaw",
    "Loaded",
    "Preconditioner",
    "Recovery",
    "RelaxedLaw",
    "Strain",
    "StretchSummary",
    "Strip",
    "StripFit",
    "StripTest",
    "Unloaded",
    "cross",
    "film_notes",
    "film_of_strip",
    "film_toml",
    "fit_strip",
    "flat_obj",
    "flatten",
    "flatten_report",
    "flatten_warnings",
    "frames_of",
    "generic_film",
    "limits_basis",
    "membrane_stiffness_n_mm",
    "overlaps",
    "read_film",
    "read_strip_test",
    "recovery_of",
    "safe_step",
    "sheet_loops",
    "strain_of",
    "stretch_summary",
    "strip_lines",
    "strip_notes",
    "strip_results",
    "to_flat",
    "to_surface",
]
