"""Where cameras stood and sheets lie: all pictures adjusted together.

Unknown are each camera's lens, each picture's pose, where each sheet lies in the table's plane and
how it is turned, and by how much the printer drew across otherwise than along. Known are the
boards, their scale, and where their corners are seen. The sum of squared distances between seen
and predicted corners, each in its own standard deviation, is made least, with a loss that lets
stray corners pull little (a bundle adjustment: B. Triggs et al., 2000). What ordinary cameras and
printers are like enters as further observations with wide deviations (`layflat.photo.adjust`).

The covariance of the result is the inverse of the normal matrix, times the variance that the
residuals show where that is more than 1.
"""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray
from layflat.photo.adjust import ASPECT_USUAL, Problem
from layflat.photo.records import PhotoError
from layflat.photo.solved import Sighting, Solved
from layflat.photo.start import first_guess

_LOSS = 3.0
"""Corners that lie off by more than this times the usual distance pull less."""
_WELL = 2.0
"""A start that leads to less than this usual distance, in standard deviations, is the right one."""


def solve(
    sightings: Sequence[Sighting],
    *,
    aspect: tuple[float, float] | None = None,
    focal_px: float | None = None,
) -> Solved:
    """The common solution of all pictures.

    Args:
        sightings: the pictures' corners.
        aspect: what rulers say of the printer's scale across over that along, less 1, with its
            standard deviation; a usual printer's without.
        focal_px: a focal length to begin with, instead of the pictures' own.

    Raises:
        PhotoError: pictures share no sheet, or no solution is found.
    """
    best: tuple[float, Problem, FloatArray] | None = None
    for start in first_guess(sightings, focal_px=focal_px):
        problem = Problem(sightings, start, aspect or (0.0, ASPECT_USUAL))
        # Far from the solution a loss that lets far corners go would let go of all of them.
        values = problem.least(problem.first, loss_at=None)
        for _ in range(2):
            values = problem.least(values, loss_at=_LOSS * problem.usual(values))
        cost = problem.usual(values)
        if np.isfinite(cost) and (best is None or cost < best[0]):
            best = (cost, problem, values)
        if best is not None and best[0] < _WELL:
            break
    if best is None:
        raise PhotoError(
            "The sheets cannot be brought together from these pictures; take them again with all "
            "sheets flat and in the picture."
        )
    _, problem, values = best
    for _ in range(3):
        problem, strays = problem.without_strays(values)
        values = problem.least(values, loss_at=None)
        if not strays:
            break
    return problem.solved(values)
