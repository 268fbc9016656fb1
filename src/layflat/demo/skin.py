"""The skin of a field as a mesh of quads: found on a grid, then relaxed along the skin.

The first mesh has one vertex per grid cell that the skin crosses (the dual mesh of S. Gibson,
*Constrained elastic surface nets*, 1998). Every vertex is then moved towards the middle of
its neighbours and dropped back onto the skin, so that the quads become even and the vertices
lie on the skin to about a micrometre. Only the half y >= 0 is computed; the other is its image.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from layflat.base import FloatArray, IntArray
from layflat.demo.fields import Field, drop, gradient

BoolArray = NDArray[np.bool_]

_COARSE = 4


@dataclass(frozen=True, eq=False)
class Grid:
    """Where the skin is looked for: node positions along each axis, in mm, growing.

    For a symmetric half, `y` starts with one negative node and its mirror image.
    """

    x: FloatArray
    y: FloatArray
    z: FloatArray


def graded(low: float, high: float, spacing: list[tuple[float, float]]) -> FloatArray:
    """Nodes from *low* to *high* whose spacing follows (position, spacing) pairs between them."""
    place, size = np.array(spacing).T
    dense = np.linspace(low, high, 4000)
    count = np.concatenate([[0.0], np.cumsum(np.diff(dense) / np.interp(dense[1:], place, size))])
    return np.interp(np.arange(0.0, count[-1] + 1.0), count, dense)


def half_grid(x: FloatArray, y: FloatArray, z: FloatArray) -> Grid:
    """A grid for the half y >= 0; *y* are nodes from 0, which are moved to straddle the middle."""
    first = 0.5 * (y[1] - y[0])
    return Grid(x=x, y=np.concatenate([[-first], y[:-1] + first]), z=z)


def quads_of(
    field: Field, grid: Grid, *, relax: int = 12, half: bool = True
) -> tuple[FloatArray, IntArray]:
    """The skin's vertices (n, 3) and quads (m, 4), counter-clockwise from outside.

    Args:
        field: negative inside, about the distance in mm near the skin.
        grid: where it is looked for.
        relax: rounds of evening out.
        half: whether the first cell layer in y is the middle plane; those vertices stay on it.
    """
    inside = _plain(_inside(field, grid))
    points, quads, middle = _dual(inside, grid)
    middle &= half
    points[middle, 1] = 0.0
    if half:
        quads = quads[~(middle[quads].all(axis=1))]
    points = drop(field, points, steps=4)
    points[middle, 1] = 0.0
    blur = _neighbour_mean(len(points), quads, middle)
    for _ in range(relax):
        normal = gradient(field, points)
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
        move = blur @ points - points
        move -= np.einsum("ij,ij->i", move, normal)[:, None] * normal
        points = drop(field, points + 0.7 * move, steps=1)
        points[middle, 1] = 0.0
    points = drop(field, points, steps=3)
    points[middle, 1] = 0.0
    return points, quads


def mirrored(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The half y >= 0 with its image; vertices on the middle plane (y = 0) are shared."""
    apart = points[:, 1] != 0.0
    image = np.arange(len(points))
    image[apart] = len(points) + np.arange(apart.sum())
    both = np.vstack([points, points[apart] * np.array([1.0, -1.0, 1.0])])
    return both, np.vstack([faces, image[faces][:, ::-1]])


def triangles_of(points: FloatArray, quads: IntArray) -> IntArray:
    """Two triangles (2 m, 3) for each quad, split along its shorter diagonal."""
    a, b, c, d = (points[quads[:, i]] for i in range(4))
    first = ((a - c) ** 2).sum(axis=1) <= ((b - d) ** 2).sum(axis=1)
    split = np.where(
        first[:, None, None], quads[:, [[0, 1, 2], [0, 2, 3]]], quads[:, [[0, 1, 3], [1, 2, 3]]]
    )
    return split.reshape(-1, 3)


def _inside(field: Field, grid: Grid) -> BoolArray:
    """Whether each node lies inside, by value where the skin may be near, by region elsewhere."""
    axes = (grid.x, grid.y, grid.z)
    shape = tuple(len(axis) for axis in axes)
    picks = [np.unique(np.append(np.arange(0, n, _COARSE), n - 1)) for n in shape]
    coarse = np.meshgrid(
        *[axis[pick] for axis, pick in zip(axes, picks, strict=True)], indexing="ij"
    )
    values = field(np.stack(coarse, axis=-1).reshape(-1, 3)).reshape(coarse[0].shape)
    nearest = [
        np.searchsorted(0.5 * (pick[1:] + pick[:-1]), np.arange(n))
        for pick, n in zip(picks, shape, strict=True)
    ]
    spread = values[np.ix_(*nearest)]
    # A node is at most half a coarse cell from its nearest: 0.87 of its side, with some to spare.
    reach = 1.3 * _COARSE * max(float(np.diff(axis).max()) for axis in axes)
    inside = spread < 0
    near = np.abs(spread) < reach
    at = np.nonzero(near)
    nodes = np.stack([axis[index] for axis, index in zip(axes, at, strict=True)], axis=1)
    inside[at] = field(nodes) < 0
    known: BoolArray = inside
    return known


def _plain(inside: BoolArray) -> BoolArray:
    """Fill grid squares whose inner nodes lie across from each other.

    The skin would touch itself there, at an edge with four quads.
    """
    inside = inside.copy()
    for _ in range(20):
        changed = False
        for first, second in ((0, 1), (0, 2), (1, 2)):
            view = np.moveaxis(inside, (first, second), (0, 1))
            a, b, c, d = view[:-1, :-1], view[1:, :-1], view[:-1, 1:], view[1:, 1:]
            crossed = (a == d) & (b == c) & (a != b)
            if crossed.any():
                changed = True
                for corner in (a, b, c, d):
                    corner |= crossed
        if not changed:
            break
    return inside


def _dual(inside: BoolArray, grid: Grid) -> tuple[FloatArray, IntArray, BoolArray]:
    """One vertex per mixed cell at its middle, one quad per grid edge that leaves the solid."""
    corners = np.zeros(tuple(n - 1 for n in inside.shape), dtype=np.int64)
    for i in (0, 1):
        for j in (0, 1):
            for k in (0, 1):
                corners += inside[
                    i : inside.shape[0] - 1 + i,
                    j : inside.shape[1] - 1 + j,
                    k : inside.shape[2] - 1 + k,
                ]
    mixed = (corners > 0) & (corners < 8)
    number = np.cumsum(mixed.ravel()).reshape(mixed.shape) - 1
    at = np.nonzero(mixed)
    centres = [0.5 * (axis[:-1] + axis[1:]) for axis in (grid.x, grid.y, grid.z)]
    points = np.stack([centre[index] for centre, index in zip(centres, at, strict=True)], axis=1)
    quads = []
    for axis in range(3):
        first, second = (axis + 1) % 3, (axis + 2) % 3
        here = np.moveaxis(inside, (axis, first, second), (0, 1, 2))
        cell = np.moveaxis(number, (axis, first, second), (0, 1, 2))
        leaves = here[:-1] & ~here[1:]
        enters = ~here[:-1] & here[1:]
        for change, order in ((leaves, (0, 1, 2, 3)), (enters, (3, 2, 1, 0))):
            a, b, c = np.nonzero(change[:, 1:-1, 1:-1])
            ring = (cell[a, b, c], cell[a, b + 1, c], cell[a, b + 1, c + 1], cell[a, b, c + 1])
            quads.append(np.stack([ring[o] for o in order], axis=1))
    return points, np.vstack(quads), at[1] == 0


def _neighbour_mean(count: int, quads: IntArray, middle: BoolArray) -> sparse.csr_array:
    """The matrix that gives each vertex the mean of its neighbours; the middle plane stays."""
    start = quads.ravel()
    end = np.roll(quads, -1, axis=1).ravel()
    rows, columns = np.concatenate([start, end]), np.concatenate([end, start])
    link = sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    link.data[:] = 1.0
    row = np.repeat(np.arange(count), np.diff(link.indptr))
    link.data[middle[row] & ~middle[link.indices]] = 0.0
    total = np.maximum(np.asarray(link.sum(axis=1)), 1e-12)
    return sparse.csr_array(sparse.diags_array(1.0 / total) @ link)
