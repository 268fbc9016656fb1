"""The film: its material, flattening a surface into it, and the strain of laying it."""

from layflat.film.flat import Flat, Strain
from layflat.film.material import Film

__all__ = ["Film", "Flat", "Strain"]
