"""A zoo of meshes that tests share: tame ones with known measures, and awkward ones.

All are made by code, in millimetres, with faces counter-clockwise seen from outside (from +z for
open sheets) unless the name says otherwise.
"""

from collections.abc import Callable

import numpy as np
import trimesh

from layflat.base import FloatArray, IntArray
from layflat.surface import Edge, EdgeKind, Mesh, Panel


def grid_faces(rows: int, columns: int) -> IntArray:
    """The triangles of a grid of rows x columns points, numbered row by row."""
    number = np.arange(rows * columns).reshape(rows, columns)
    a, b = number[:-1, :-1].ravel(), number[1:, :-1].ravel()
    c, d = number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def level(x: FloatArray, y: FloatArray) -> FloatArray:
    """The height of a flat sheet."""
    return 0.0 * (x + y)


def sheet(
    count: int = 11,
    *,
    side_mm: float = 100.0,
    height: Callable[[FloatArray, FloatArray], FloatArray] = level,
    jitter: float = 0.0,
    seed: int = 0,
) -> Mesh:
    """A square sheet z = height(x, y), centred, of count x count points.

    Inner points are moved by up to *jitter* of the spacing, so that nothing lines up.
    """
    line = np.linspace(-side_mm / 2, side_mm / 2, count)
    x, y = np.meshgrid(line, line, indexing="ij")
    move = np.random.default_rng(seed).uniform(-jitter, jitter, (2, count, count))
    move[:, [0, -1], :] = 0
    move[:, :, [0, -1]] = 0
    x, y = np.stack([x, y]) + move * side_mm / (count - 1)
    return Mesh(np.stack([x, y, height(x, y)], -1).reshape(-1, 3), grid_faces(count, count))


def bowl(radius_mm: float) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """The height of the top of a sphere whose centre is the origin."""
    return lambda x, y: np.sqrt(radius_mm**2 - x**2 - y**2)


def saddle(radius_mm: float) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """The height of a saddle with that radius of curvature both ways."""
    return lambda x, y: (x**2 - y**2) / (2 * radius_mm)


def block(splits: int = 4) -> Mesh:
    """A block of 200 x 100 x 50 mm round the origin, each triangle split in four so many times."""
    mesh = trimesh.creation.box((200, 100, 50))
    for _ in range(splits):
        mesh = mesh.subdivide()
    return Mesh(mesh.vertices, mesh.faces)


def cylinder(radius_mm: float, height_mm: float, *, around: int, along: int) -> Mesh:
    """An open tube round the z axis, without end caps."""
    angle = np.arange(around) * 2 * np.pi / around
    z = np.linspace(0, height_mm, along)
    points = np.stack(
        [
            np.repeat(radius_mm * np.cos(angle), along),
            np.repeat(radius_mm * np.sin(angle), along),
            np.tile(z, around),
        ],
        1,
    )
    faces = grid_faces(around + 1, along) % (around * along)
    return Mesh(points, faces)


def sphere(radius_mm: float, *, splits: int = 3) -> Mesh:
    """An icosahedron split *splits* times, its points on the sphere."""
    phi = (1 + 5**0.5) / 2
    corners = [(0, s, t * phi) for s in (1, -1) for t in (1, -1)]
    points = np.array([np.roll(p, k) for p in corners for k in range(3)], float)
    side = np.linalg.norm(points[:, None] - points[None], axis=2)
    near = (side > 0) & (side < 2.1)
    triples = [
        (i, j, k)
        for i in range(12)
        for j in range(i + 1, 12)
        for k in range(j + 1, 12)
        if near[i, j] and near[j, k] and near[i, k]
    ]
    faces = np.array(triples)
    normal = np.cross(
        points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]]
    )
    inward = np.einsum("ij,ij->i", normal, points[faces[:, 0]]) < 0
    faces[inward] = faces[inward][:, ::-1]
    for _ in range(splits):
        points, faces = _quartered(points, faces)
    return Mesh(radius_mm * points / np.linalg.norm(points, axis=1)[:, None], faces)


def _quartered(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    ends, number = np.unique(sides, axis=0, return_inverse=True)
    middle = points[ends].mean(axis=1)
    ab, bc, ca = (number.reshape(-1, 3) + len(points)).T
    a, b, c = faces.T
    parts = [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
    return np.concatenate([points, middle]), np.concatenate([np.stack(p, 1) for p in parts])


def cube(side_mm: float = 100.0) -> Mesh:
    """A closed cube of 12 triangles."""
    points = side_mm * np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(points, np.array(faces))


def torus(*, around: int = 24, through: int = 12) -> Mesh:
    """A closed torus, radii 100 and 30 mm."""
    u = np.repeat(np.arange(around) * 2 * np.pi / around, through)
    v = np.tile(np.arange(through) * 2 * np.pi / through, around)
    ring = 100 + 30 * np.cos(v)
    points = np.stack([ring * np.cos(u), ring * np.sin(u), 30 * np.sin(v)], 1)
    i, j = np.divmod(np.arange(around * through), through)
    right = (i + 1) % around * through + j
    up = i * through + (j + 1) % through
    both = (i + 1) % around * through + (j + 1) % through
    here = i * through + j
    return Mesh(
        points, np.concatenate([np.stack([here, right, both], 1), np.stack([here, both, up], 1)])
    )


def handle_sheet() -> Mesh:
    """A torus with one triangle taken out: one rim, but a handle."""
    whole = torus()
    return Mesh(whole.vertices_mm, whole.faces[1:])


def moebius(*, around: int = 30) -> Mesh:
    """A strip with a half twist: one side only."""
    angle = np.repeat(np.arange(around) * 2 * np.pi / around, 2)
    across = np.tile([-15.0, 15.0], around)
    ring = 60 + across * np.cos(angle / 2)
    points = np.stack(
        [ring * np.cos(angle), ring * np.sin(angle), across * np.sin(angle / 2)], axis=1
    )
    faces = []
    for i in range(around):
        a, b = 2 * i, 2 * i + 1
        c, d = (a + 2, b + 2) if i < around - 1 else (1, 0)
        faces += [(a, c, d), (a, d, b)]
    return Mesh(points, np.array(faces))


def bow_tie() -> Mesh:
    """Two triangles that touch at one vertex only."""
    points = np.array([[0, 0, 0], [50, 20, 0], [50, -20, 0], [-50, 20, 0], [-50, -20, 0]], float)
    return Mesh(points, np.array([[0, 2, 1], [0, 3, 4]]))


def three_fins() -> Mesh:
    """Three triangles that share one edge."""
    points = np.array([[0, 0, 0], [0, 0, 50], [40, 0, 0], [-20, 35, 0], [-20, -35, 0]], float)
    return Mesh(points, np.array([[0, 1, 2], [0, 1, 3], [0, 1, 4]]))


def one_triangle() -> Mesh:
    """A single triangle with sides of 60, 80 and 100 mm."""
    return Mesh(np.array([[0, 0, 0], [80, 0, 0], [0, 60, 0]], float), np.array([[0, 1, 2]]))


def two_sheets() -> Mesh:
    """Two separate sheets of the same size."""
    one = sheet(4)
    return Mesh(
        np.concatenate([one.vertices_mm, one.vertices_mm + np.array([0, 0, 200])]),
        np.concatenate([one.faces, one.faces + len(one.vertices_mm)]),
    )


def without_faces(mesh: Mesh, centre: tuple[float, float, float], radius_mm: float) -> Mesh:
    """The mesh with a hole: the faces whose middle lies within *radius_mm* of *centre* are out."""
    middle = mesh.vertices_mm[mesh.faces].mean(axis=1)
    return Mesh(mesh.vertices_mm, mesh.faces[np.linalg.norm(middle - centre, axis=1) > radius_mm])


def ring(
    count: int, radius_mm: float, *, x: float = 0.0, y: float = 0.0, clockwise: bool = False
) -> FloatArray:
    """(count, 2) points round a circle, from an angle that lines up with nothing."""
    angle = 0.1234 + np.arange(count) * 2 * np.pi / count * (-1 if clockwise else 1)
    return np.stack([x + radius_mm * np.cos(angle), y + radius_mm * np.sin(angle)], axis=1)


def raised(
    flat: FloatArray, height: Callable[[FloatArray, FloatArray], FloatArray] = level
) -> FloatArray:
    """(k, 3) points of a sheet over (k, 2) places."""
    return np.column_stack([flat, height(flat[:, 0], flat[:, 1])])


def panel(
    points: FloatArray,
    *,
    parts: int = 1,
    openings: tuple[FloatArray, ...] = (),
    name: str = "test panel",
) -> Panel:
    """A panel whose outline runs through the points, in edges of equally many points each.

    Kinds go round through `gap`, `open`, `trim` and `inner`, names are "edge 1" and so on.
    """
    kinds = (EdgeKind.GAP, EdgeKind.OPEN, EdgeKind.TRIM, EdgeKind.INNER)
    edges = tuple(
        Edge(kinds[i % 4], part, f"edge {i + 1}")
        for i, part in enumerate(np.array_split(points, parts))
    )
    return Panel(name, edges, tuple((Edge(EdgeKind.TRIM, loop, "rim"),) for loop in openings))


def farthest(points: FloatArray, line: FloatArray) -> float:
    """The greatest distance of (k, 3) points from a closed polyline of (n, 3) points."""
    start, step = line, np.roll(line, -1, axis=0) - line
    share = np.einsum("kij,ij->ki", points[:, None] - start, step) / (step**2).sum(axis=1)
    near = start + np.clip(share, 0, 1)[..., None] * step
    return float(np.linalg.norm(points[:, None] - near, axis=2).min(axis=1).max())
