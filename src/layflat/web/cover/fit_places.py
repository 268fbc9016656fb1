"""The places of a piece that are strained most, each with a sentence for who lays it.

In the JSON of a piece's flat they read::

    {"kind": "stretch" or "compression", "face": its triangle, "value": a fraction,
     "is_beyond": whether it is beyond the film's limit, "where": by which edge, or away from them,
     "sentence": what to mind there}

The worst come first, measured by the film's limits.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.film import Flat
from layflat.papers import panel_title
from layflat.surface import EdgeKind

_MOST_PLACES: Final = 8
_APART_SHARE = 0.1
"""Places of one kind are so far apart, as a share of the piece's length."""
_LEAST = 0.002
"""Strain below this is not worth a word."""
_BY_EDGE_SHARE = 0.12
"""A place is by an edge up to this share of the piece's length, as on the fit report."""
_FAR_BEYOND = 2.0


@dataclass(frozen=True, eq=False)
class FlatEdge:
    """An edge of the panel as it lies in the flat.

    Attributes:
        name, kind: the panel's edge.
        is_opening: whether it belongs to an opening of the panel.
        vertices: (k,) int64, along it, from its corner to the next edge's.
        points_mm: (k, 2) float64, where these lie.
    """

    name: str
    kind: EdgeKind
    is_opening: bool
    vertices: IntArray
    points_mm: FloatArray


def strained_places(flat: Flat, edges: Sequence[FlatEdge]) -> list[dict[str, Any]]:
    """The places of *flat* that are strained most, as JSON, the worst first.

    The greatest stretch and the greatest compression are always among them where they are worth
    a word; others only where they are beyond a limit.
    """
    film = flat.film
    kinds = (
        list(_worst(flat, edges, "stretch", flat.strain.greatest - 1.0, film.stretch_limit)),
        list(_worst(flat, edges, "compression", 1.0 - flat.strain.least, film.finger_limit)),
    )
    greatest = [found[0] for found in kinds if found]
    others = sorted((item for found in kinds for item in found[1:]), key=lambda item: -item[0])
    chosen = [*greatest, *others[: _MOST_PLACES - len(greatest)]]
    return [place for _, place in sorted(chosen, key=lambda item: -item[0])]


def _worst(
    flat: Flat, edges: Sequence[FlatEdge], kind: str, values: FloatArray, limit: float
) -> Iterator[tuple[float, dict[str, Any]]]:
    centres = flat.points_mm[flat.mesh.faces].mean(axis=1)
    span = float(np.ptp(flat.points_mm, axis=0).max())
    left = np.array(values)
    for count in range(_MOST_PLACES):
        face = int(left.argmax())
        value = float(left[face])
        if value < _LEAST or (count and value <= limit):
            return
        where = _where(centres[face], edges, span)
        yield (
            value / limit,
            {
                "kind": kind,
                "face": face,
                "value": round(value, 4),
                "is_beyond": value > limit,
                "where": where,
                "sentence": _sentence(kind, value, limit, where),
            },
        )
        left[np.hypot(*(centres - centres[face]).T) < _APART_SHARE * span] = -np.inf


def _where(place: FloatArray, edges: Sequence[FlatEdge], span: float) -> str:
    """By an edge that has a name, or away from the edges."""
    nearest = (np.inf, "")
    for edge in edges:
        distance = float(np.hypot(*(edge.points_mm - place).T).min())
        nearest = min(nearest, (distance, edge.name))
    if nearest[0] >= _BY_EDGE_SHARE * span:
        return "away from the edges"
    return f"by the edge “{panel_title(nearest[1])}”" if nearest[1] else "by the edge"


def _sentence(kind: str, value: float, limit: float, where: str) -> str:
    word, limits, within = {
        "stretch": ("Stretched", "the film's limit", "which the film takes unnoticed"),
        "compression": ("Compressed", "the finger limit", "which can be pressed flat"),
    }[kind]
    how_far = within
    if value > limit:
        how_far = f"beyond {limits}"
    if value > _FAR_BEYOND * limit:
        how_far = f"more than twice {limits}"
    return f"{word} by {100 * value:.1f}\u00a0% {where}, {how_far}."
