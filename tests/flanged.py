"""Metal with a flange that is known: a plate, straight or with a round or hollow edge."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface import Mesh

_INSIDE_MM = 30.0
_LONG_MM = 200.0


@dataclass(frozen=True, eq=False)
class Metal:
    """A plate in the plane z = 0, seen from above, with a flange folded down.

    Attributes:
        mesh: plate and flange.
        edge: (k, 3) float64, the edge between them, as it was without noise, material on its left.
        flange: (m,) bool, the triangles of the flange.
    """

    mesh: Mesh
    edge: FloatArray
    flange: np.ndarray[tuple[int], np.dtype[np.bool_]]

    def without_flange(self, start: float, end: float) -> "Metal":
        """The same without the flange between two shares of its length in x."""
        x = self.mesh.vertices_mm[self.mesh.faces].mean(axis=1)[:, 0]
        low, size = self.edge[:, 0].min(), np.ptp(self.edge[:, 0])
        gone = self.flange & (x >= low + start * size) & (x <= low + end * size)
        mesh = Mesh(self.mesh.vertices_mm, self.mesh.faces[~gone])
        return Metal(mesh, self.edge, self.flange[~gone])

    def shuffled(self, *, seed: int) -> "Metal":
        """The same with vertices and triangles numbered otherwise."""
        random = np.random.default_rng(seed)
        place = random.permutation(len(self.mesh.vertices_mm))
        vertices = np.empty_like(self.mesh.vertices_mm)
        vertices[place] = self.mesh.vertices_mm
        order = random.permutation(len(self.mesh.faces))
        faces: IntArray = np.roll(place[self.mesh.faces[order]], 1, axis=1)
        return Metal(Mesh(vertices, faces), self.edge, self.flange[order])


def flanged(
    *,
    angle_deg: float,
    depth_mm: float,
    radius_mm: float | None = None,
    noise_mm: float = 0.0,
    seed: int = 0,
    spacing_mm: float = 2.5,
) -> Metal:
    """A plate with a flange.

    Args:
        angle_deg: how far the flange turns from the plate, downwards.
        depth_mm: of the flange.
        radius_mm: of the edge; negative where it is hollow; None is straight.
        noise_mm: standard deviation along z and outward of every vertex.
        seed: of the noise.
        spacing_mm: of the vertices.
    """
    fold = np.radians(angle_deg)
    inside = -np.arange(0.0, _INSIDE_MM, spacing_mm)[::-1]
    rows = np.concatenate(
        (inside, np.linspace(0.0, depth_mm, max(int(np.ceil(depth_mm / spacing_mm)), 1) + 1)[1:])
    )
    out = np.where(rows > 0.0, rows * np.cos(fold), rows)
    down = np.where(rows > 0.0, rows * np.sin(fold), 0.0)
    along = np.arange(0.0, _LONG_MM + spacing_mm, spacing_mm)
    if radius_mm is None:
        grid = [np.column_stack((along, 0.0 * along - o, 0.0 * along - d))
                for o, d in zip(out, down, strict=True)]  # fmt: skip
    else:
        # The edge runs towards +x; outward is -y. A round edge is the lower half of a circle.
        turn = (along - 0.5 * _LONG_MM) / abs(radius_mm)
        sign = np.sign(radius_mm)
        grid = [
            np.column_stack(
                (
                    (abs(radius_mm) + sign * o) * np.sin(turn),
                    -sign * (abs(radius_mm) + sign * o) * np.cos(turn),
                    0.0 * turn - d,
                )
            )
            for o, d in zip(out, down, strict=True)
        ]
    points = np.array(grid)
    count = points.shape[1]
    index = np.arange(points.shape[0] * count).reshape(points.shape[:2])
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    faces = np.concatenate(
        (np.stack((a, b, c), axis=-1).reshape(-1, 3), np.stack((a, c, d), axis=-1).reshape(-1, 3))
    )
    row = np.tile(np.repeat(np.arange(points.shape[0] - 1), count - 1), 2)
    edge = points[len(inside) - 1].copy()
    random = np.random.default_rng(seed)
    noise = random.normal(0.0, 1.0, points.shape) * noise_mm / np.sqrt(2.0) * [0.0, 1.0, 1.0]
    mesh = Mesh((points + noise).reshape(-1, 3), faces)
    return Metal(mesh, edge, row >= len(inside) - 1)


def stations(metal: Metal) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Stations along the edge, away from its ends, its direction there, and the plate's normal."""
    tangent = np.gradient(metal.edge, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    inner = slice(4, -4)
    up = np.tile([0.0, 0.0, 1.0], (len(metal.edge), 1))
    return metal.edge[inner], tangent[inner], up[inner]
