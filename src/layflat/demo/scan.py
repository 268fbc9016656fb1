"""A scan of a body as a scanner would hand it over: denser, noisy, and with the usual faults."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.demo.body import Design, body_mesh, mirror_field
from layflat.demo.trim import compact
from layflat.surface import Mesh, edge_table

_SMALL = 7.0
"""The rim of a small hole is at most this many spacings long: at most 115 mm, so it is filled."""


@dataclass(frozen=True, eq=False)
class ScanLike:
    """A scan-like mesh, and what was planted in it.

    Attributes:
        mesh: in mm.
        noise_mm: standard deviation along the normals.
        small_holes: middles (k, 3) of the holes that are small enough to be filled.
        big_holes: middles (k, 3) of those that are not.
        planted: how many of each fault: small holes, big holes, doubled vertices, flipped
            faces, stray shells.
    """

    mesh: Mesh
    noise_mm: float
    small_holes: FloatArray
    big_holes: FloatArray
    planted: Mapping[str, int]

    def __post_init__(self) -> None:
        object.__setattr__(self, "small_holes", frozen(self.small_holes).reshape(-1, 3))
        object.__setattr__(self, "big_holes", frozen(self.big_holes).reshape(-1, 3))


def scan_like(
    design: Design,
    *,
    seed: int,
    spacing_mm: float,
    noise_mm: float = 0.1,
    small_holes: int = 7,
    strays: int = 12,
) -> ScanLike:
    """A scan-like mesh of *design*; the same arguments give the same mesh.

    Its triangles are others than the clean mesh's: another grid, every inner vertex moved along
    the skin, then moved along its normal by Gaussian noise. Two big holes lie in the roof.

    Args:
        design: the body.
        seed: of all that is random.
        spacing_mm: about the length of the triangles' sides.
        noise_mm: standard deviation of the noise along the normals.
        small_holes: how many single-vertex holes are left.
        strays: how many stray shells float about.
    """
    random = np.random.default_rng(seed)
    clean = body_mesh(design, spacing_mm=spacing_mm)
    points, faces = _jittered(clean, random, 0.12 * spacing_mm)
    rim = _rim(faces)
    points = points + random.normal(0.0, noise_mm, (len(points), 1)) * _normals(points, faces)
    height = points[:, 2].max()
    length = np.ptp(points[:, 0])
    roof = [[-0.03 * length, 120.0, height], [-0.12 * length, -160.0, height]]
    big = points[[int(np.argmin(((points - spot) ** 2).sum(axis=1))) for spot in roof]]
    reach = np.min([np.linalg.norm(points - middle, axis=1) for middle in big], axis=0)
    gone = (reach < 95.0)[faces].any(axis=1)
    left = np.stack([points[:, 0], np.abs(points[:, 1]), points[:, 2]], axis=1)
    on_body = mirror_field(design)(left) > 5 * spacing_mm
    inner = np.setdiff1d(np.flatnonzero((reach > 400.0) & on_body), rim)
    fans = random.choice(inner, size=small_holes, replace=False)
    fans = fans[_apart(points[fans], 6 * spacing_mm)]
    fans = fans[_fan_rims_mm(points, faces)[fans] < _SMALL * spacing_mm]
    gone |= np.isin(faces, fans).any(axis=1)
    holes = points[fans]
    points, faces = compact(points, faces[~gone])
    points, faces, doubled = _unmerged(points, faces)
    flipped = random.random(len(faces)) < 0.015
    faces = np.where(flipped[:, None], faces[:, ::-1], faces)
    points, faces = _with_strays(points, faces, random, strays)
    order = random.permutation(len(faces))
    planted = {
        "small holes": len(fans),
        "big holes": len(big),
        "doubled vertices": doubled,
        "flipped faces": int(flipped.sum()),
        "stray shells": strays,
    }
    return ScanLike(
        mesh=Mesh(points, faces[order]),
        noise_mm=noise_mm,
        small_holes=holes,
        big_holes=big,
        planted=planted,
    )


def _normals(points: FloatArray, faces: IntArray) -> FloatArray:
    a, b, c = (points[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    total = np.zeros_like(points)
    for corner in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(
                faces[:, corner], weights=cross[:, axis], minlength=len(points)
            )
    unit: FloatArray = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-30)
    return unit


def _rim(faces: IntArray) -> IntArray:
    table = edge_table(faces)
    return np.unique(table.ends[table.count == 1])


def _fan_rims_mm(points: FloatArray, faces: IntArray) -> FloatArray:
    """How long the rim (n,) of the hole is that each vertex would leave."""
    far = np.linalg.norm(points[faces[:, [1, 2, 0]]] - points[faces[:, [2, 0, 1]]], axis=2)
    total: FloatArray = np.bincount(faces.ravel(), far.ravel(), len(points)).astype(np.float64)
    return total


def _jittered(
    mesh: Mesh, random: np.random.Generator, reach_mm: float
) -> tuple[FloatArray, IntArray]:
    """Every inner vertex moved along the skin: towards a random mix of its neighbours."""
    points, faces = mesh.vertices_mm.copy(), mesh.faces
    move = random.normal(0.0, reach_mm, points.shape)
    normal = _normals(points, faces)
    move -= np.einsum("ij,ij->i", move, normal)[:, None] * normal
    size = np.linalg.norm(move, axis=1, keepdims=True)
    # Short edges (the fine mirrors, the rims) bear only short moves.
    edge = np.full(len(points), np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        length = np.linalg.norm(points[faces[:, i]] - points[faces[:, j]], axis=1)
        np.minimum.at(edge, faces[:, i], length)
        np.minimum.at(edge, faces[:, j], length)
    limit = np.minimum(reach_mm, 0.15 * edge)[:, None]
    move *= np.minimum(1.0, limit / np.maximum(size, 1e-12))
    move[_rim(faces)] = 0.0
    return points + move, np.array(faces)


def _apart(points: FloatArray, distance_mm: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which points are further than *distance_mm* from all before them."""
    gaps = np.linalg.norm(points[:, None] - points[None], axis=2)
    far: np.ndarray[tuple[int], np.dtype[np.bool_]] = ~np.tril(gaps < distance_mm, k=-1).any(axis=1)
    return far


def _unmerged(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, int]:
    """Strips across the body, as a scanner takes them, that share no vertex with the next."""
    middle = points[faces].mean(axis=1)[:, 0]
    strip = np.floor((middle - points[:, 0].min()) / 640.0).astype(np.int64)
    key = faces + strip[:, None] * len(points)
    used, inverse = np.unique(key, return_inverse=True)
    return points[used % len(points)], inverse.reshape(-1, 3), len(used) - len(points)


def _with_strays(
    points: FloatArray, faces: IntArray, random: np.random.Generator, count: int
) -> tuple[FloatArray, IntArray]:
    """Small tetrahedra that float beside the body."""
    low, high = points.min(axis=0), points.max(axis=0)
    corners = np.array([[1, 1, 1], [-1, -1, 1], [-1, 1, -1], [1, -1, -1]], dtype=np.float64)
    sides = np.array([[0, 1, 3], [0, 2, 1], [0, 3, 2], [1, 2, 3]])
    for _ in range(count):
        place = random.uniform(low, high)
        place[1] = np.sign(place[1]) * (high[1] + random.uniform(40.0, 160.0))
        shell = place + corners * random.uniform(3.0, 11.0)
        faces = np.vstack([faces, sides + len(points)])
        points = np.vstack([points, shell])
    return points, faces
