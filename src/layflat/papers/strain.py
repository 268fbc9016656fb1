"""What laying a piece asks of its film, in numbers."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from layflat.base import FloatArray
from layflat.film import Flat, stretch_summary

_CARE_SHARE = 0.02
_FAR_BEYOND = 2.0


class Effort(StrEnum):
    """How much laying asks of the film; drawn as a circle, a lozenge, a square and a ring."""

    UNKNOWN = "flat"
    """The piece comes from a flat template or a drawing: nothing is known of its stretch."""
    EASY = "easy"
    CARE = "care"
    HARD = "hard"

    @property
    def word(self) -> str:
        """As people read it beside its shape."""
        return _WORDS.get(self, self.value)


_WORDS = {Effort.CARE: "needs care", Effort.UNKNOWN: "stretch unknown"}


@dataclass(frozen=True, eq=False, kw_only=True)
class StrainSummary:
    """The strain of one piece for people; strains are fractions, both 0 or more.

    Attributes:
        stretch: the greatest stretch; `stretch_at_mm` its place in the flat pattern, (2,).
        compression: the greatest compression, with its place.
        stretch_99, compression_99: 99 per cent of the surface is stretched, compressed less.
        over_stretch, over_finger: shares of the surface beyond the film's limits.
        effort: what it comes to.
    """

    stretch: float
    stretch_at_mm: FloatArray
    compression: float
    compression_at_mm: FloatArray
    stretch_99: float
    compression_99: float
    over_stretch: float
    over_finger: float
    effort: Effort


def summarise(flat: Flat) -> StrainSummary:
    """The strain of *flat* for people.

    Effort: easy while no place is beyond a limit of the film; hard when some place is beyond
    twice its stretch limit or more than 2 % of the surface is beyond its finger limit; in
    between it needs care. These bounds are an assumption of this program.
    """
    film, numbers = flat.film, stretch_summary(flat)
    centres = flat.points_mm[flat.mesh.faces].mean(axis=1)
    stretch = max(numbers.greatest - 1.0, 0.0)
    compression = max(1.0 - numbers.least, 0.0)
    if stretch > _FAR_BEYOND * film.stretch_limit or (
        numbers.share_under_finger_limit > _CARE_SHARE
    ):
        effort = Effort.HARD
    elif stretch > film.stretch_limit or compression > film.finger_limit:
        effort = Effort.CARE
    else:
        effort = Effort.EASY
    return StrainSummary(
        stretch=stretch,
        stretch_at_mm=centres[int(flat.strain.greatest.argmax())],
        compression=compression,
        compression_at_mm=centres[int(flat.strain.least.argmin())],
        stretch_99=max(numbers.greatest_p99 - 1.0, 0.0),
        compression_99=max(1.0 - numbers.least_p01, 0.0),
        over_stretch=numbers.share_over_stretch_limit,
        over_finger=numbers.share_under_finger_limit,
        effort=effort,
    )


def at_vertices(flat: Flat) -> FloatArray:
    """(n, 2) float64: stretch and compression (both 0 or more) at vertices, by area means."""
    areas = flat.mesh.face_areas_mm2
    faces = flat.mesh.faces.ravel()
    total = np.bincount(faces, np.repeat(areas, 3), minlength=len(flat.points_mm))
    means = [
        np.bincount(faces, np.repeat(values * areas, 3), minlength=len(flat.points_mm))
        for values in (
            np.maximum(flat.strain.greatest - 1.0, 0.0),
            np.maximum(1.0 - flat.strain.least, 0.0),
        )
    ]
    return np.stack(means, axis=1) / np.maximum(total, 1e-300)[:, None]
