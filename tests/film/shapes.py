"""Surfaces that tests flatten: each with a shape that one can check by hand."""

from collections.abc import Callable

import numpy as np

from layflat.base import FloatArray
from layflat.film import Film
from layflat.surface import Mesh

Height = Callable[[FloatArray, FloatArray], FloatArray]


def film_of(*, poisson_ratio: float = 0.45) -> Film:
    return Film(
        name="test film",
        thickness_um=200.0,
        youngs_modulus_mpa=20.0,
        poisson_ratio=poisson_ratio,
        stretch_limit=0.05,
        finger_limit=0.01,
        one_direction=False,
    )


def sheet(rows: FloatArray) -> Mesh:
    """The mesh of a grid of points (k, n, 3), each cell split along the same diagonal."""
    k, n = rows.shape[:2]
    ids = np.arange(k * n).reshape(k, n)
    a, b, c, d = ids[:-1, :-1], ids[1:, :-1], ids[1:, 1:], ids[:-1, 1:]
    lower = np.stack((a, b, c), axis=-1).reshape(-1, 3)
    upper = np.stack((a, c, d), axis=-1).reshape(-1, 3)
    return Mesh(rows.reshape(-1, 3), np.concatenate((lower, upper)))


def graph(height: Height, *, width: float, depth: float, across: int, along: int) -> Mesh:
    """The surface z = height(x, y) over a rectangle round the origin."""
    x, y = np.meshgrid(
        np.linspace(-width / 2, width / 2, across),
        np.linspace(-depth / 2, depth / 2, along),
        indexing="ij",
    )
    return sheet(np.stack((x, y, height(x, y) + 0.0 * x), axis=-1))


def level(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.zeros_like(x + y)


def wave(x: FloatArray, y: FloatArray) -> FloatArray:
    """Bent in x alone, so that it unrolls without strain."""
    return 40 * np.sin(x / 200) + 0 * y


def car_like(across: int = 30, along: int = 24) -> Mesh:
    """A panel of the size of a hood: doubly curved, with two creases, nowhere symmetric."""
    return graph(car_like_height, width=1400, depth=1100, across=across, along=along)


def car_like_height(x: FloatArray, y: FloatArray) -> FloatArray:
    crown = -(x**2) / 4000 - y**2 / 3000 + 60 * np.cos(x / 250) * np.cos(y / 300)
    creases = 25 * np.exp(-(((np.abs(y) - 300) / 60) ** 2)) * (1 + x / 1400)
    return crown + creases + 5 * np.sin(x / 300 + y / 200)


def disc(rings: int, *, radius: float = 1.0, power: float = 1.0) -> Mesh:
    """A flat disc of rings of triangles, six more in each; *power* below 1 crowds the rim."""
    points, faces = [np.zeros((1, 3))], []
    first = 0
    for ring in range(1, rings + 1):
        angle = 2 * np.pi * np.arange(6 * ring) / (6 * ring)
        r = radius * (ring / rings) ** power
        points.append(np.column_stack((r * np.cos(angle), r * np.sin(angle), 0 * angle)))
        start = first + max(1, 6 * (ring - 1))
        faces += _ring_faces(first, max(1, 6 * (ring - 1)), start, 6 * ring, ring)
        first = start
    return Mesh(np.concatenate(points), np.array(faces))


def _ring_faces(
    inner: int, inner_count: int, outer: int, outer_count: int, ring: int
) -> list[tuple[int, int, int]]:
    faces = []
    for sector in range(6):
        for i in range(ring):
            o0 = outer + (sector * ring + i) % outer_count
            o1 = outer + (sector * ring + i + 1) % outer_count
            i0 = inner + (sector * (ring - 1) + i) % inner_count
            faces.append((o0, o1, i0))
            if i < ring - 1:
                i1 = inner + (sector * (ring - 1) + i + 1) % inner_count
                faces.append((o1, i1, i0))
    return faces


def cap(rings: int, *, angle: float, radius: float, power: float = 1.0) -> Mesh:
    """A spherical cap of angular radius *angle*: meridians of a disc laid along the sphere."""
    flat = disc(rings, power=power)
    x, y = flat.vertices_mm[:, 0], flat.vertices_mm[:, 1]
    r = np.hypot(x, y)
    ratio = np.sin(angle * r) / np.where(r > 0, r, 1.0)
    height = np.cos(angle * r)
    return Mesh(radius * np.column_stack((ratio * x, ratio * y, height)), flat.faces)


def ring(height: Height, *, inner: float, outer: float, around: int = 40, across: int = 8) -> Mesh:
    """The surface z = height(x, y) over an annulus."""
    angle = np.linspace(0, 2 * np.pi, around + 1)
    r = np.linspace(outer, inner, across)
    angles, radii = np.meshgrid(angle, r, indexing="ij")
    x, y = radii * np.cos(angles), radii * np.sin(angles)
    return welded(sheet(np.stack((x, y, height(x, y) + 0.0 * x), axis=-1)), around, across)


def welded(mesh: Mesh, around: int, across: int) -> Mesh:
    """A sheet of (around + 1) × across points whose last column is its first."""
    faces = mesh.faces % (around * across)
    return Mesh(mesh.vertices_mm[: around * across], faces)


def moved(mesh: Mesh, *, seed: int = 7) -> Mesh:
    """*mesh* turned and shifted at random."""
    random = np.random.default_rng(seed)
    turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    return Mesh(mesh.vertices_mm @ turn.T + random.normal(size=3) * 500, mesh.faces)


def distances(points: FloatArray) -> FloatArray:
    """All distances between every seventh of the points: the shape without its pose."""
    some = points[::7]
    return np.linalg.norm(some[:, None] - some[None], axis=-1)
