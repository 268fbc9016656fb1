"""Lines across a zone of fingers: how long they are, and how much film too much lies on them."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray

LEVELS = 48
"""Heights at which lines are laid across a zone, from its edge to its end."""


@dataclass(frozen=True, eq=False)
class ZoneSurface:
    """The triangles of a zone.

    Attributes:
        faces: (k, 3) int64, the ids of the corners of each triangle.
        corners_mm: (k, 3, 3) float64, the same on the surface.
        across: (k, 3) float64, unit vectors on the surface across the fingers, of either sense.
        excess: (k,) float64, film too much across the fingers, per length on the surface.
    """

    faces: IntArray
    corners_mm: FloatArray
    across: FloatArray
    excess: FloatArray


def worst_lines(zone: ZoneSurface, height: FloatArray) -> tuple[float, float]:
    """The longest line and the greatest excess on any, over lines of equal *height*.

    Only what a line runs across the fingers counts, with a sign: where it comes back over the
    same fingers it counts down. The longest stretch of each line is taken. Where a cut or a bay
    parts the lines of one height, the film too much on all of them has to go.

    Args:
        zone: the triangles.
        height: (k, 3) float64, a function at the corners, linear on each triangle.

    Returns:
        The length of the longest line, and the most film too much at one height, both in mm.
    """
    low, high = float(height.min()), float(height.max())
    widest = most = 0.0
    for level in low + (high - low) * np.arange(LEVELS) / LEVELS:
        which, piece, cuts = _pieces(zone, height, float(level))
        here = 0.0
        for order, sense in _walks(*cuts):
            face = which[order]
            run = _signed(sense[:, None] * piece[order], zone.across[face])
            widest = max(widest, _greatest_stretch(run))
            here += _greatest_stretch(run * zone.excess[face])
        most = max(most, here)
    return widest, most


def _pieces(
    zone: ZoneSurface, height: FloatArray, level: float
) -> tuple[IntArray, FloatArray, tuple[IntArray, IntArray]]:
    """The triangles that lines of this *level* meet, the piece in each, and the sides it joins.

    A line through corners passes on their upper side, so that the lowest one is the very edge.
    """
    above = height > level
    count = above.sum(axis=1)
    which = np.flatnonzero((count == 1) | (count == 2))
    # The corner that lies alone on its side of the line; the line cuts the two sides at it.
    alone = np.argmax(above[which] == (count[which] == 1)[:, None], axis=1)
    rows = np.arange(len(which))
    ids, corner, h = zone.faces[which], zone.corners_mm[which], height[which]
    ends, cuts = [], []
    for step in (1, 2):
        other = (alone + step) % 3
        share = (level - h[rows, alone]) / (h[rows, other] - h[rows, alone])
        ends.append(share[:, None] * (corner[rows, other] - corner[rows, alone]))
        low, high = np.sort((ids[rows, alone], ids[rows, other]), axis=0)
        cuts.append(low * np.int64(zone.faces.max() + 1) + high)
    return which, ends[1] - ends[0], (cuts[0], cuts[1])


def _walks(first: IntArray, second: IntArray) -> Iterator[tuple[IntArray, FloatArray]]:
    """Each line as the pieces along it and, for each, whether it runs from *first* to *second*.

    At most two pieces meet at a side, so that a line is a chain or a loop.
    """
    ends = list(zip(first.tolist(), second.tolist(), strict=True))
    at: defaultdict[int, list[int]] = defaultdict(list)
    for piece, (start, end) in enumerate(ends):
        at[start].append(piece)
        at[end].append(piece)
    left = set(range(len(ends)))
    for begin in [side for side, pieces in at.items() if len(pieces) == 1] + list(at):
        here, order, sense = begin, [], []
        while (found := next((p for p in at[here] if p in left), None)) is not None:
            left.remove(found)
            forward = ends[found][0] == here
            order.append(found)
            sense.append(1.0 if forward else -1.0)
            here = ends[found][forward]
        if order:
            yield np.array(order), np.array(sense)


def _signed(piece: FloatArray, across: FloatArray) -> FloatArray:
    """How far each piece of a line runs *across*, whose sense is kept from piece to piece."""
    turned = np.einsum("ij,ij->i", across[1:], across[:-1]) < 0.0
    sense = np.cumprod(np.where(np.append(False, turned), -1.0, 1.0))
    return np.asarray(sense * np.einsum("ij,ij->i", piece, across))


def _greatest_stretch(run: FloatArray) -> float:
    """The greatest sum over consecutive values, of either sign."""
    reached = np.append(0.0, np.cumsum(run))
    return float(np.ptp(reached))
