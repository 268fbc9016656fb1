"""What the making of a pattern hands to its wraps: the film's limits, the metal beyond edges."""

from collections.abc import Mapping

import numpy as np

from layflat.base import IntArray
from layflat.film import Film, Flat
from layflat.pattern.fold import Fold, Limits
from layflat.pattern.wrap_depth import Fixed
from layflat.surface import Loop, Region


def wrap_limits(film: Film) -> Limits:
    """What *film* bears where it is folded round an edge."""
    share, basis = film.wrap_finger_limit, film.basis_of("wrap_finger_limit")
    remark = f"(The limit of {100 * share:g} % for warmed wraps: {basis}.)"
    return Limits(stretch=film.stretch_limit, crowding=share, remark=remark)


def in_the_flat(flat: Flat, region: Region, folds: Mapping[int, Fold]) -> dict[int, Fixed]:
    """The folds with the places of their vertices in the flat."""
    return {
        id(edge): (flat.points_mm[edge_vertices(loop, i)], folds[id(edge)])
        for loop in region.loops
        for i, edge in enumerate(loop.edges)
        if id(edge) in folds
    }


def edge_vertices(loop: Loop, edge: int) -> IntArray:
    """(n,) int64: the vertices along one edge of a loop, both ends among them.

    An edge that is the whole loop ends at the vertex that it starts at.
    """
    mine = loop.edge_of == edge
    start = int(np.argmax(mine & ~np.roll(mine, 1)))
    places: IntArray = start + np.arange(int(mine.sum()) + 1)
    return loop.vertices[places % len(loop.vertices)]
