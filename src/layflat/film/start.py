"""Flat shapes to start from.

Two of them. The *conformal* start keeps angles and has one scale along the whole boundary; of
all conformal maps it is the one whose scales differ least (Chebyshev and Grave; J. Milnor, A
Problem in Cartography, Amer. Math. Monthly 76 (1969) 1101-1112). The scale is found from the
curvature (one linear system), the boundary is laid out from its curvature under that scale, and
the inside follows harmonically (after R. Sawhney, K. Crane, Boundary First Flattening, ACM
Trans. Graph. 37 (2017), from memory). On a coarse or a strongly curved mesh it may turn some
triangles over.

The *Tutte* start cannot: with the boundary on a circle and every other vertex at the mean of its
neighbours, no triangle is inverted (W. T. Tutte, How to draw a graph, Proc. London Math. Soc. 13
(1963) 743-767). Its distortion is great, so that the descent from it is longer.

Both need a disc: openings are closed by a fan of virtual triangles round a virtual vertex each.
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from layflat.base import FloatArray, IntArray
from layflat.film.factor import Factor
from layflat.film.frames import ComplexArray, frames_of
from layflat.surface import Mesh, angle_defects


@dataclass(frozen=True, eq=False)
class Disc:
    """A region with its openings closed, so that it is a disc.

    Attributes:
        vertices_mm: (N, 3) float64: the region's vertices, then one for each opening.
        faces: (M, 3) int64: the region's triangles, then the fans.
        rim: (k,) int64: the outer boundary in order, material on the left.
    """

    vertices_mm: FloatArray
    faces: IntArray
    rim: IntArray

    @property
    def inner(self) -> NDArray[np.bool_]:
        """(N,) bool: the vertices that are not on the rim."""
        mask = np.ones(len(self.vertices_mm), dtype=bool)
        mask[self.rim] = False
        return mask


def closed_disc(mesh: Mesh, loops: list[IntArray]) -> Disc:
    """*mesh* with a fan in each boundary loop but the longest, which becomes the rim."""
    lengths = [_loop_length(mesh.vertices_mm[loop]) for loop in loops]
    outer = int(np.argmax(lengths))
    vertices, faces = [mesh.vertices_mm], [mesh.faces]
    hub = len(mesh.vertices_mm)
    for i, loop in enumerate(loops):
        if i == outer:
            continue
        vertices.append(mesh.vertices_mm[loop].mean(axis=0, keepdims=True))
        # The boundary runs with the material on its left, so the fan runs against it.
        faces.append(np.column_stack((np.roll(loop, -1), loop, np.full(len(loop), hub))))
        hub += 1
    return Disc(np.concatenate(vertices), np.concatenate(faces), loops[outer])


def conformal_start(disc: Disc) -> ComplexArray:
    """(N,) complex: a conformal map with one scale on the whole rim, up to discretisation."""
    frames = frames_of(disc.vertices_mm, disc.faces)
    laplacian = frames.laplacian()
    n = frames.vertex_count
    defects = angle_defects(Mesh(disc.vertices_mm, disc.faces))
    inner = np.flatnonzero(disc.inner)
    inner_rows = laplacian[inner, :]
    factor = Factor(inner_rows[:, inner].tocsc())
    # The logarithm of the scale: its Laplacian takes up the curvature, and it is 0 on the rim.
    log_scale = np.zeros(n)
    log_scale[inner] = factor.solve(-defects[inner])
    turning = defects[disc.rim] + (laplacian @ log_scale)[disc.rim]
    points = np.zeros(n, dtype=np.complex128)
    points[disc.rim] = _laid_out(disc.vertices_mm[disc.rim], turning)
    points[inner] = factor.solve_complex(np.asarray(inner_rows @ -points))
    return points


def tutte_start(disc: Disc) -> ComplexArray:
    """(N,) complex: the rim on a circle, each other vertex at the mean of its neighbours."""
    n = len(disc.vertices_mm)
    sides = np.concatenate([disc.faces[:, [i, (i + 1) % 3]] for i in range(3)])
    pairs = np.concatenate((sides, sides[:, ::-1]))
    ones = np.ones(len(pairs))
    joined = sp.coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(n, n)).tocsr()
    joined.data[:] = 1.0
    laplacian = sp.diags_array(joined.sum(axis=1)) - joined
    rim = disc.vertices_mm[disc.rim]
    along = np.cumsum(_sides(rim))
    points = np.zeros(n, dtype=np.complex128)
    points[disc.rim] = along[-1] / (2.0 * np.pi) * np.exp(2j * np.pi * along / along[-1])
    inner = np.flatnonzero(disc.inner)
    inner_rows = laplacian.tocsr()[inner, :]
    points[inner] = Factor(inner_rows[:, inner].tocsc()).solve_complex(
        np.asarray(inner_rows @ -points)
    )
    return points


def _laid_out(rim_mm: FloatArray, turning: FloatArray) -> ComplexArray:
    """A closed polygon with the sides of *rim_mm*, turning by *turning* at its corners.

    The sides are changed by as little as closes it (least squares over relative changes).
    """
    lengths = _sides(rim_mm)
    headings = np.exp(1j * np.cumsum(turning))
    across = np.column_stack((headings.real, headings.imag))
    gap = across.T @ lengths
    lengths = lengths - lengths * (across @ np.linalg.solve(across.T * lengths @ across, gap))
    return np.asarray(np.concatenate(([0.0], np.cumsum(lengths * headings)[:-1])))


def _sides(loop_mm: FloatArray) -> FloatArray:
    """(k,) lengths from each point of a loop to the next."""
    return np.asarray(np.linalg.norm(np.roll(loop_mm, -1, axis=0) - loop_mm, axis=1))


def _loop_length(loop_mm: FloatArray) -> float:
    return float(_sides(loop_mm).sum())
