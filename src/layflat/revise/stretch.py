"""What fit notes say of stretch: how far a pattern's film was pulled to lie where it was wanted.

A piece from a template knows no surface. Where notes say that it was short, its film would have had
to be pulled: the move from the pattern that was cut to the revised one is that pull, in the flat.
Its greatest principal stretch is the larger singular value of I + ∇u, less 1 (any text on finite
strain; from memory). That is an estimate of what the pattern before asked of its film beyond what
the revised one asks. What the surface asks of both stays unknown.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layflat.base import FloatArray, InputError, counted
from layflat.pattern import Pattern, sample
from layflat.revise.plate import Field
from layflat.revise.revision import Revision, fields_without

_ACROSS = 28
"""So many places along the longer side of a piece are looked at."""
_DEVIATION_MM = 0.5
_LEAST = 0.0005


@dataclass(frozen=True, kw_only=True)
class NotedStretch:
    """By how much an earlier pattern's film was to be pulled, by fit notes. Fractions of length.

    Attributes:
        mean: the greatest principal stretch, over the piece's area.
        greatest: the greatest of it.
        scatter: standard deviation of *greatest* by leaving each car out in turn; None where that
            cannot be told, as with one car.
        cars: how many cars' notes it rests on.
    """

    mean: float
    greatest: float
    scatter: float | None
    cars: int

    def words(self) -> str:
        """A sentence that says it, and that it is no measurement."""
        whence = f"estimated from notes of {counted(self.cars, 'car')}, not measured"
        if self.greatest < _LEAST:
            return f"The notes ask for no more stretch than before ({whence})."
        about = "" if self.scatter is None else f", ± {100 * self.scatter:.1f} % as cars differ"
        return (
            "To lie as noted, the pattern before all revisions would have had to stretch by "
            f"{100 * self.mean:.1f} % more on average and {100 * self.greatest:.1f} % at "
            f"most{about} ({whence}); what the surface itself asks stays unknown."
        )


def noted_stretch(revision: Revision, *, earlier: Sequence[Revision] = ()) -> NotedStretch:
    """How far the base pattern's film was to be pulled, by the notes of a revision.

    Args:
        revision: made from notes.
        earlier: the revisions that its notes rest on; without them the scatter may not be told.

    Returns:
        The estimate; its scatter is the jackknife's (M. Quenouille 1956, J. Tukey 1958; from
        memory), which takes the cars for independent.
    """
    places = places_in(revision.base)
    mean, greatest = stretch_of(revision.field, places)
    return NotedStretch(
        mean=mean,
        greatest=greatest,
        scatter=_scatter(revision, places, earlier),
        cars=len(revision.scatter.weights),
    )


def stretch_of(field: Field, places_mm: FloatArray) -> tuple[float, float]:
    """Mean and greatest, over places (n, 2), of the greatest principal stretch less 1."""
    slopes = field.gradient(places_mm) + np.eye(2)
    stretch = np.linalg.svd(slopes, compute_uv=False)[:, 0] - 1.0
    return float(stretch.mean()), float(stretch.max())


def places_in(pattern: Pattern) -> FloatArray:
    """(n, 2) places spread evenly over a piece's film, its outline's joints with them."""
    shape = shapely.Polygon(
        sample(pattern.outline, deviation_mm=_DEVIATION_MM),
        [sample(hole, deviation_mm=_DEVIATION_MM) for hole in pattern.cut_outs],
    )
    x0, y0, x1, y1 = shape.bounds
    step = max(x1 - x0, y1 - y0) / _ACROSS
    x, y = np.meshgrid(np.arange(x0, x1, step) + 0.5 * step, np.arange(y0, y1, step) + 0.5 * step)
    grid = np.column_stack((x.ravel(), y.ravel()))
    inside = shapely.contains_xy(shape, grid)
    return grid[inside] if inside.any() else pattern.outline.points_mm


def _scatter(revision: Revision, places: FloatArray, earlier: Sequence[Revision]) -> float | None:
    if len(revision.scatter.weights) < 2:
        return None
    try:
        fields = fields_without(revision, earlier=earlier)
    except InputError:
        return None
    found = [stretch_of(field, places)[1] for field in fields]
    return float(np.sqrt((len(found) - 1) * np.var(found)))
