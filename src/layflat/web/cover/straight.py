"""A straight line across a panel from numbers: "the front 300 mm", for who does not draw."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.base import FloatArray, InputError, IntArray
from layflat.surface import Mesh
from layflat.web.cover.choices import Point
from layflat.web.cover.panels import BodyPanels
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length

LEAST_MM: Final = 10.0
"""Less film than that, or less bare panel, is no line that anybody means."""
_SHORT_MM: Final = 60.0
"""A panel that reaches no farther than this is not parted in that direction."""
_MOST_POINTS: Final = 14
_STEP_MM: Final = 40.0

SIDES: Final = {
    "front": "the front part",
    "rear": "the rear part",
    "upper": "the upper part",
    "lower": "the lower part",
    "left": "the left part",
    "right": "the right part",
}
"""The parts of a panel that film can stay on, in words."""


@dataclass(frozen=True)
class Way:
    """One way to part a panel: `reach_mm` is how far it reaches from end to end."""

    side: str
    word: str
    reach_mm: float


@dataclass(frozen=True)
class StraightLine:
    """A line across a panel: its points, and one on the side that is covered."""

    line_mm: tuple[Point, ...]
    keep_mm: Point


def ways(mesh: Mesh, body: BodyPanels) -> tuple[Way, ...]:
    """The ways in which a panel can be parted by a straight line."""
    found = (
        Way(side, word, float(np.ptp(_heights(mesh, _toward(side, body)))))
        for side, word in SIDES.items()
    )
    return tuple(way for way in found if way.reach_mm > _SHORT_MM)


def straight_line(
    mesh: Mesh, body: BodyPanels, *, side: str, deep_mm: float, shop: Shop | None = None
) -> StraightLine:
    """The line where film ends that covers one end of a panel.

    Args:
        mesh: the panel's surface.
        body: says which way is forward and up.
        side: the covered end, one of `SIDES`.
        deep_mm: from that end to the line, measured straight along the vehicle, not round curves.
        shop: whose unit lengths are said in; millimetres without one.

    Raises:
        InputError: there is no such side, the line would miss the panel, or no single line parts
            it there.
    """
    if side not in SIDES:
        raise InputError("Choose which part of the panel is covered.")
    heights = _heights(mesh, _toward(side, body))
    reach_mm = float(np.ptp(heights))
    most_mm = reach_mm - LEAST_MM
    if not LEAST_MM <= deep_mm <= most_mm:
        whose = shop or Shop()
        raise InputError(
            f"The panel reaches {shown_length(reach_mm, whose)} that way; the line can lie "
            f"{shown_length(LEAST_MM, whose)} to {shown_length(max(most_mm, LEAST_MM), whose)} "
            "from its end."
        )
    chains = _section(mesh, heights - (heights.max() - deep_mm))
    if not chains:
        raise InputError("No single line parts the panel there; draw it on the body instead.")
    longest = max(chains, key=_length)
    keep = mesh.vertices_mm[int(heights.argmax())]
    return StraightLine(tuple(_point(row) for row in _thinned(longest)), _point(keep))


def _toward(side: str, body: BodyPanels) -> FloatArray:
    left = np.cross(body.up, body.forward)
    axis: FloatArray = {
        "front": body.forward,
        "rear": -body.forward,
        "upper": body.up,
        "lower": -body.up,
        "left": left,
        "right": -left,
    }[side]
    return axis


def _heights(mesh: Mesh, axis: FloatArray) -> FloatArray:
    """(n,) how far each vertex lies in a direction."""
    heights: FloatArray = np.einsum("ij,j->i", mesh.vertices_mm, axis)
    return heights


def _section(mesh: Mesh, heights: FloatArray) -> list[FloatArray]:
    """Where the surface has the height 0: polylines from rim to rim; closed ones are left out."""
    # A vertex on the plane itself counts as above it, so that every line runs between vertices.
    heights = np.where(np.abs(heights) < 1e-6, 1e-6, heights)
    faces: IntArray = mesh.faces[np.ptp(np.sign(heights[mesh.faces]), axis=1) > 0]
    after: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for face in faces.tolist():
        crossed = [
            (min(a, b), max(a, b))
            for a, b in zip(face, face[1:] + face[:1], strict=True)
            if heights[a] * heights[b] < 0
        ]
        one, other = crossed
        after.setdefault(one, []).append(other)
        after.setdefault(other, []).append(one)
    chains = []
    seen: set[tuple[int, int]] = set()
    for start in (key for key, near in after.items() if len(near) == 1):
        if start not in seen:
            chain = _walk(start, after)
            seen.update(chain)
            chains.append(_places(mesh, heights, chain))
    return chains


def _walk(
    start: tuple[int, int], after: dict[tuple[int, int], list[tuple[int, int]]]
) -> list[tuple[int, int]]:
    chain, before = [start], start
    while True:
        onward = [key for key in after[chain[-1]] if key != before]
        if not onward or len(chain) > len(after):
            return chain
        before = chain[-1]
        chain.append(onward[0])


def _places(mesh: Mesh, heights: FloatArray, chain: list[tuple[int, int]]) -> FloatArray:
    ends = np.array(chain)
    low, high = heights[ends[:, 0]], heights[ends[:, 1]]
    share = (low / (low - high))[:, None]
    start, end = mesh.vertices_mm[ends[:, 0]], mesh.vertices_mm[ends[:, 1]]
    places: FloatArray = start + share * (end - start)
    return places


def _length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _thinned(points: FloatArray) -> FloatArray:
    """A few of the points, evenly along the line, its ends among them."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    count = int(np.clip(np.ceil(along[-1] / _STEP_MM) + 1, 2, _MOST_POINTS))
    chosen = np.unique(np.searchsorted(along, np.linspace(0.0, along[-1], count)))
    few: FloatArray = points[np.minimum(chosen, len(points) - 1)]
    return few


def _point(row: FloatArray) -> Point:
    x, y, z = (round(float(value), 2) for value in row)
    return (x, y, z)
