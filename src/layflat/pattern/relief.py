"""Relief cuts in a pattern: wide enough for a knife, with a round end that does not tear.

The two sides of a relief are edges of one loop, one after the other, the first inward: see
`layflat.surface.slit_region`. In the flat they are as far apart as the cut opens, which may be
nothing; a knife would have to follow one line twice, and the outline would touch itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray, IntArray
from layflat.film import Flat
from layflat.pattern.wrap_flat import edge_vertices
from layflat.surface import EdgeKind, Loop, Region

LEAST_OPENING_MM = 0.5
"""The sides of a relief are at least so far apart, but for its tip."""

TIP_RADIUS_MM = 1.0
"""Radius of the round hole at its tip; film tears from sharp ends (common practice, no source)."""

RELIEF = "relief"
"""How the edges of reliefs are called, followed by a number."""

_SLOPE = 0.2
_SEGMENTS = 32


def relief_name(number: int) -> str:
    """What the sides of the relief with this *number*, from 1, are called."""
    return f"{RELIEF} {number}"


@dataclass(frozen=True, eq=False)
class Slit:
    """A relief in a region.

    Attributes:
        name: of both its edges.
        inward: (k,) int64, the vertices of its first side, from the edge to the tip.
        outward: (j,) int64, those of the other, from the tip to the edge.
    """

    name: str
    inward: IntArray
    outward: IntArray

    @property
    def tip(self) -> int:
        """The vertex that it ends at."""
        return int(self.inward[-1])


def reliefs_of(region: Region) -> tuple[Slit, ...]:
    """The reliefs of *region*, in the order of its loops."""
    return tuple(
        Slit(loop.edges[i].name, edge_vertices(loop, i), edge_vertices(loop, i + 1))
        for loop in region.loops
        for i in range(len(loop.edges) - 1)
        if _is_side(loop, i)
        and _is_side(loop, i + 1)
        and loop.edges[i].name == loop.edges[i + 1].name
    )


def _is_side(loop: Loop, number: int) -> bool:
    edge = loop.edges[number]
    return edge.kind is EdgeKind.INNER and edge.name.startswith(f"{RELIEF} ")


def opened_points(flat: Flat, region: Region) -> FloatArray:
    """(n, 2) float64: the flat points, with the sides of reliefs moved apart where they are close.

    Each side gives up at most half of `LEAST_OPENING_MM`.
    """
    points = np.array(flat.points_mm)
    for slit in reliefs_of(region):
        first, second = points[slit.inward], points[slit.outward[::-1]]
        share = np.linspace(0.0, 1.0, 4 * max(len(first), len(second)))
        middle = 0.5 * (_at(first, share) + _at(second, share))
        # On the first side, walked inward, the film lies to the left; on the second to the right.
        for side, ids, sign in ((first, slit.inward, 1.0), (second, slit.outward[::-1], -1.0)):
            points[ids[:-1]] = _moved(side, middle, sign)[:-1]
    return points


def _moved(side: FloatArray, middle: FloatArray, sign: float) -> FloatArray:
    """The side's points, at least half of the least opening from the middle line."""
    along = _stations(side)
    share = along / max(float(along[-1]), 1e-9)
    here = _at(middle, share)
    ahead = _at(middle, np.minimum(share + 0.02, 1.0)) - _at(middle, np.maximum(share - 0.02, 0.0))
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-12)[:, None]
    left = sign * np.column_stack((-ahead[:, 1], ahead[:, 0]))
    off = np.einsum("ij,ij->i", side - here, left)
    wanted = np.minimum(0.5 * LEAST_OPENING_MM, _SLOPE * (along[-1] - along))
    return np.asarray(side + np.maximum(wanted - off, 0.0)[:, None] * left)


def _at(line: FloatArray, share: FloatArray) -> FloatArray:
    """(k, 2) the points at these shares of a line's length."""
    along = _stations(line)
    places = share * along[-1]
    return np.column_stack([np.interp(places, along, line[:, i]) for i in range(2)])


def _stations(line: FloatArray) -> FloatArray:
    return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))


def with_round_tips(
    shape: BaseGeometry, points_mm: FloatArray, slits: Sequence[Slit]
) -> BaseGeometry:
    """*shape* with the round hole at each relief's tip."""
    holes = [Point(points_mm[s.tip]).buffer(TIP_RADIUS_MM, quad_segs=_SEGMENTS) for s in slits]
    return shape.difference(union_all(holes)) if holes else shape


def relief_notes(flat: Flat, region: Region) -> tuple[str, ...]:
    """What is to be said of each relief: its length, how wide it opens, how it ends."""
    notes = []
    for slit in sorted(reliefs_of(region), key=lambda slit: (len(slit.name), slit.name)):
        first, second = flat.points_mm[slit.inward], flat.points_mm[slit.outward[::-1]]
        length = 0.5 * (_stations(first)[-1] + _stations(second)[-1])
        opens = opening_mm(first, second)
        close = (
            f"; its sides are cut {LEAST_OPENING_MM:g} mm apart so that the knife can go in"
            if opens < LEAST_OPENING_MM
            else ""
        )
        notes.append(
            f"{slit.name.capitalize()}: a cut {length:.0f} mm long that opens to {opens:.1f} mm in "
            f"the flat and closes on the car{close}. It ends in a round hole of "
            f"{TIP_RADIUS_MM:g} mm radius, so that the film does not tear on."
        )
    return tuple(notes)


def opening_mm(first: FloatArray, second: FloatArray) -> float:
    """How wide a relief opens at most: between points as far along both sides, in the flat.

    Args:
        first, second: (k, 2) and (j, 2) float64, both sides from the edge to the tip.
    """
    share = np.linspace(0.0, 1.0, 101)
    return float(np.hypot(*(_at(first, share) - _at(second, share)).T).max())
