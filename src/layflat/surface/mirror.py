"""The plane that a vehicle's left and right mirror each other in, and how well they do.

Planes are tried all round and the best are refined: places are mirrored, matched with the nearest
of the scan, and the plane is moved so that they lie in its surface (iterative closest points with
distances to tangent planes: Chen and Medioni, "Object modelling by registration of multiple range
images", Image Vis. Comput. 10(3), 1992). The worst matches of each round do not count (Chetverikov
and others, "The trimmed iterative closest point algorithm", ICPR 2002). Mirroring a shape and
registering it with itself finds its plane of symmetry: Combès and others, "Automatic symmetry plane
estimation of bilateral objects in point clouds", CVPR 2008.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from layflat.base import FloatArray, MeshError, frozen
from layflat.surface.locate import locate
from layflat.surface.mesh import Mesh
from layflat.surface.plane import Plane
from layflat.surface.samples import Samples

MATCHED_MM = 4.0
"""Mirrored places count as matched within this distance of the surface. Our own choice."""

_TRIMMED = 0.7
"""The share of the matches that count when a plane is refined."""
_SAME_SIDE = 0.8
_COARSE, _MIDDLING, _FINE = 400, 1000, 6000
_SPARSE = 3000
_REFINED = 5
_APART = np.cos(np.radians(12.0))
_ROUNDS = 20
_STILL = 1e-7


@dataclass(frozen=True)
class Mirror:
    """A plane of symmetry.

    Attributes:
        plane: the plane.
        share: how many of the scan's places have a counterpart within 4 mm, 0 to 1.
        rms_mm: how far those lie from it.
    """

    plane: Plane
    share: float
    rms_mm: float


class MirrorSearch:
    """Looks for planes of symmetry of one set of places.

    Args:
        samples: places on the scan without its floor.
    """

    def __init__(self, samples: Samples) -> None:
        if len(samples) < _COARSE // 5:
            raise MeshError("Without its floor the scan has too little surface to be aligned.")
        self.samples = samples
        self._tree = cKDTree(samples.points_mm)
        self._sparse = cKDTree(self._some(_SPARSE).points_mm)
        size = np.ptp(samples.points_mm, axis=0)
        self._far = 0.05 * float(np.linalg.norm(size))

    def candidates(self, up: FloatArray | None) -> list[Plane]:
        """Planes to try: those of the principal axes, and all round in even steps.

        Args:
            up: (3,) the direction up, which the plane holds; None where it is not known.
        """
        points = self.samples.points_mm
        axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
        if up is None:
            directions = np.concatenate([axes, _hemisphere(160)])
        else:
            across = axes - (axes @ up)[:, None] * up
            across = across[np.linalg.norm(across, axis=1) > 0.3]
            first = np.cross(up, np.eye(3)[np.abs(up).argmin()])
            first /= np.linalg.norm(first)
            angle = np.arange(48) * np.pi / 48
            second = np.cross(up, first)
            directions = np.concatenate(
                [across, np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second]
            )
        found: list[Plane] = []
        for normal in directions:
            along = points @ (normal / np.linalg.norm(normal))
            low, high = np.quantile(along, (0.01, 0.99))
            found += [
                Plane(normal / np.linalg.norm(normal), float(offset))
                for offset in (np.median(along), 0.5 * (low + high))
            ]
        return found

    def best(self, tried: Sequence[Plane]) -> list[Mirror]:
        """The distinct planes that mirror the scan best, refined, the best first."""
        score = np.array([self._misfit(plane) for plane in tried])
        chosen: list[Plane] = []
        for i in np.argsort(score, kind="stable"):
            if all(abs(tried[i].normal @ plane.normal) < _APART for plane in chosen):
                chosen.append(tried[i])
            if len(chosen) == _REFINED:
                break
        found: list[Mirror] = []
        for plane in chosen:
            refined = self.judged(self.refined(plane, count=_MIDDLING))
            if all(abs(refined.plane.normal @ item.plane.normal) < _APART for item in found):
                found.append(refined)
        return sorted(found, key=lambda item: -item.share)

    def _some(self, count: int) -> Samples:
        every = max(1, len(self.samples) // count)
        return Samples(self.samples.points_mm[::every], self.samples.normals[::every])

    def _misfit(self, plane: Plane) -> float:
        """The mean distance from mirrored places to the scan, far ones all counting alike."""
        # A few places serve: in the hollow of a shell many are as near, and looking takes long.
        gaps = self._sparse.query(
            plane.mirrored(self._some(_COARSE).points_mm), distance_upper_bound=self._far
        )[0]
        return float(np.minimum(gaps, self._far).mean())

    def refined(self, plane: Plane, *, count: int = _FINE) -> Plane:
        """The plane moved to where places and their mirrored counterparts agree best."""
        some = self._some(count)
        for _ in range(_ROUNDS):
            off, slope, weight = self._matched(plane, some)
            if int(weight.sum()) < 10:
                return plane
            a = slope[weight]
            step = np.linalg.lstsq(a, -off[weight], rcond=1e-9)[0]
            first, second = _across(plane.normal)
            normal = plane.normal + step[0] * first + step[1] * second
            plane = Plane(normal, plane.offset_mm + step[2])
            if np.abs(step[:2]).max() < _STILL and abs(step[2]) < 1e3 * _STILL:
                break
        return plane

    def _matched(
        self, plane: Plane, some: Samples
    ) -> tuple[FloatArray, FloatArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
        """Distances to tangent planes, their slopes by the plane's three freedoms, what counts."""
        points = plane.mirrored(some.points_mm)
        normals = some.normals - 2.0 * (some.normals @ plane.normal)[:, None] * plane.normal
        there, off, gap = self._nearest(points)
        alike = np.einsum("ij,ij->i", there, normals) > _SAME_SIDE
        worth = np.where(alike, gap, np.inf)
        most = float(np.quantile(worth[alike], _TRIMMED)) if alike.any() else 0.0
        height = plane.heights_mm(some.points_mm)
        facing = there @ plane.normal
        first, second = _across(plane.normal)
        slope = np.stack(
            [
                -2.0 * (some.points_mm @ axis) * facing - 2.0 * height * (there @ axis)
                for axis in (first, second)
            ]
            + [2.0 * facing],
            axis=1,
        )
        return off, slope, worth <= most

    def _nearest(self, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The normals at the nearest places, distances to their planes, and to the places.

        What is too far away has no normal and an infinite distance.
        """
        gap, at = self._tree.query(points, distance_upper_bound=self._far)
        gap, at = np.asarray(gap, np.float64), np.asarray(at, np.int64)
        near = np.isfinite(gap)
        there, off = np.zeros_like(points), np.full(len(points), np.inf)
        there[near] = self.samples.normals[at[near]]
        away = points[near] - self.samples.points_mm[at[near]]
        off[near] = np.einsum("ij,ij->i", there[near], away)
        return there, off, gap

    def judged(self, plane: Plane) -> Mirror:
        """How well a plane mirrors the scan."""
        some = self._some(_FINE)
        points = plane.mirrored(some.points_mm)
        normals = some.normals - 2.0 * (some.normals @ plane.normal)[:, None] * plane.normal
        there, off, gap = self._nearest(points)
        off = np.abs(off)
        good = np.einsum("ij,ij->i", there, normals) > _SAME_SIDE
        good &= (off <= MATCHED_MM) & (gap <= self._far)
        rms = float(np.sqrt(np.mean(off[good] ** 2))) if good.any() else float("inf")
        return Mirror(plane, float(good.mean()), rms)


def _hemisphere(count: int) -> FloatArray:
    """(k, 3) directions spread evenly over half a sphere, on a golden spiral."""
    height = (np.arange(count) + 0.5) / count
    angle = np.arange(count) * np.pi * (3.0 - np.sqrt(5.0))
    wide = np.sqrt(1.0 - height**2)
    return np.stack([wide * np.cos(angle), wide * np.sin(angle), height], axis=1)


def _across(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two directions that are square to the normal and to each other."""
    first = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)


@dataclass(frozen=True, eq=False)
class MirrorCheck:
    """Left against right.

    Attributes:
        off_mm: (n,) float64, for each vertex how far it stands out over the mirrored other side,
            negative where it lies below that; NaN where the other side has no counterpart.
        share: of the area with a counterpart, 0 to 1.
        rms_mm: of these distances, by area.
        worst_mm: the greatest of them, with its sign.
        worst_at_mm: where.
    """

    off_mm: FloatArray
    share: float
    rms_mm: float
    worst_mm: float
    worst_at_mm: tuple[float, float, float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "off_mm", frozen(self.off_mm))


def mirror_check(mesh: Mesh, plane: Plane, *, reach_mm: float = 30.0) -> MirrorCheck:
    """How far each vertex of *mesh* lies from its counterpart on the other side.

    Args:
        mesh: the scan without its floor.
        plane: of symmetry.
        reach_mm: what is farther away has no counterpart.

    Raises:
        MeshError: no place has a counterpart.
    """
    normals = np.zeros_like(mesh.vertices_mm)
    corners = mesh.vertices_mm[mesh.faces]
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.zeros(len(normals))
    for i in range(3):
        np.add.at(normals, mesh.faces[:, i], facing)
        np.add.at(area, mesh.faces[:, i], mesh.face_areas_mm2 / 3)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    points = plane.mirrored(mesh.vertices_mm)
    found = locate(mesh, points)
    there = facing[found.faces]
    there = there / np.maximum(np.linalg.norm(there, axis=1, keepdims=True), 1e-300)
    mirrored = normals - 2.0 * (normals @ plane.normal)[:, None] * plane.normal
    side = np.einsum("ij,ij->i", points - found.points_mm, there)
    good = (found.distances_mm <= reach_mm) & (np.einsum("ij,ij->i", there, mirrored) > 0.5)
    # Next to a rim the nearest place is the rim itself, off to the side.
    good &= found.distances_mm <= np.abs(side) + 1.0
    if not good.any() or area[good].sum() <= 0:
        raise MeshError("Left and right have nothing in common; set the middle by two points.")
    off = np.where(good, np.copysign(found.distances_mm, side), np.nan)
    worst = int(np.nanargmax(np.abs(off)))
    x, y, z = mesh.vertices_mm[worst].tolist()
    return MirrorCheck(
        off,
        float(area[good].sum() / area.sum()),
        float(np.sqrt((area[good] * off[good] ** 2).sum() / area[good].sum())),
        float(off[worst]),
        (x, y, z),
    )
