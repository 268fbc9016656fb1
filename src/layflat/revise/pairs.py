"""Points of a laid pattern and of a template that are most likely the same: corners, cut-outs."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray
from layflat.pattern import Pattern, bounds, corners
from layflat.revise.propose import Known, Proposal

_LEAST_REACH_MM: Final = 10.0
_REACH_RMS: Final = 4.0
_MOST: Final = 60


@dataclass(frozen=True)
class Pair:
    """A point of a known pattern, in its own mm, and the one of the template that it may be.

    Attributes:
        name: “corner 3” or “cut-out 1”, counted on the known pattern.
        known_mm, template_mm: x and y.
        apart_mm: how far apart they are where the pattern lies.
    """

    name: str
    known_mm: tuple[float, float]
    template_mm: tuple[float, float]
    apart_mm: float


def pairs_of(proposal: Proposal, template: Pattern) -> tuple[Pair, ...]:
    """Corners and middles of cut-outs that are each other's nearest and lie near each other.

    Near is within 10 mm, or within four times the outline's misfit where that is more. A guess for
    a person to look at: which points are the same no outline can tell.

    Args:
        proposal: a known pattern as it lies.
        template: that it lies on.
    """
    lie = proposal.alignment
    reach = max(_LEAST_REACH_MM, _REACH_RMS * lie.rms_mm)
    found: list[Pair] = []
    for word, points_of in (("corner", _corners), ("cut-out", _middles)):
        own, other = points_of(proposal.known.pattern), points_of(template)
        if not len(own) or not len(other):
            continue
        laid = lie.carried(own)
        away, to = (np.asarray(each) for each in KDTree(other).query(laid))
        back = np.asarray(KDTree(laid).query(other)[1])
        found += [
            Pair(
                f"{word} {i + 1}",
                (float(own[i, 0]), float(own[i, 1])),
                (float(other[j, 0]), float(other[j, 1])),
                float(away[i]),
            )
            for i, j in enumerate(to.tolist())
            if away[i] <= reach and back[j] == i
        ]
    return tuple(sorted(found, key=lambda pair: pair.apart_mm)[:_MOST])


def with_pairs(proposal: Proposal, pairs: tuple[Pair, ...]) -> Proposal:
    """The proposal with these points as the known pattern's landmarks, by their names."""
    known = Known(
        proposal.known.name,
        proposal.known.pattern,
        {**proposal.known.landmarks, **{pair.name: pair.known_mm for pair in pairs}},
    )
    return Proposal(known, proposal.alignment)


def _corners(pattern: Pattern) -> FloatArray:
    joints = pattern.outline_corners
    if joints is None:
        joints = corners(pattern.outline)
    found: FloatArray = pattern.outline.points_mm[joints]
    return found


def _middles(pattern: Pattern) -> FloatArray:
    boxes = [bounds(curve) for curve in pattern.cut_outs]
    return np.array([[0.5 * (x0 + x1), 0.5 * (y0 + y1)] for x0, y0, x1, y1 in boxes]).reshape(-1, 2)
