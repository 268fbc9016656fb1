"""The mirroring that takes one panel onto another: found in closed form, then refined.

Both outlines are sampled at equal steps, one of them the other way round. For each of the cyclic
shifts the best mirroring of one onto the other is closed (a singular value decomposition of 3 by 3;
W. Kabsch, Acta Cryst. A 32 (1976) 922-923, with the determinant kept at -1; from memory). The best
few are refined by Gauss-Newton on the distances of points from the other's surface and of outlines
from the other's outline, both ways alike, with little weight on what stands out (Huber's): all of
them on few points, and the one that is taken on many.
"""

from dataclasses import dataclass

import igl
import numpy as np

from layflat.base import FloatArray, MeshError, frozen
from layflat.surface import Mesh, Region, locate

_SAMPLES = 180
_STARTS = 4
_STEPS = 40
_MOST_POINTS, _FEW_POINTS = 4000, 400
_STILL_MM, _STILL_RAD = 1e-8, 1e-11
"""Smaller steps change nothing; the next one would be far smaller still."""
_SHRINKS, _STALLS = 0.99, 3
"""So many steps one after the other that are no smaller than the one before go round in a ring."""
_ALIKE, _NOTHING_MM2 = 2.0, 1e-6
"""Misfits within this factor, or both below this mean square, tell two mirrorings not apart."""


@dataclass(frozen=True, eq=False)
class Mirroring:
    """A mirroring x to ``turn @ x + shift_mm``, and the plane that it belongs to.

    Attributes:
        turn: (3, 3) float64, orthogonal with determinant -1.
        shift_mm: (3,) float64.
    """

    turn: FloatArray
    shift_mm: FloatArray

    def __post_init__(self) -> None:
        for name in ("turn", "shift_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def of(self, points_mm: FloatArray) -> FloatArray:
        """The images of (k, 3) points."""
        return np.asarray(points_mm @ self.turn.T + self.shift_mm)

    def of_mesh(self, mesh: Mesh) -> Mesh:
        """The image of a mesh, its faces turned so that it faces outward again."""
        return Mesh(self.of(mesh.vertices_mm), mesh.faces[:, ::-1])

    @property
    def back(self) -> "Mirroring":
        """The mirroring that undoes this one."""
        return Mirroring(self.turn.T, -self.turn.T @ self.shift_mm)

    @property
    def normal(self) -> FloatArray:
        """(3,) float64: the unit normal of the mirror plane, its greatest component positive."""
        values, vectors = np.linalg.eig(self.turn)
        found = np.real(vectors[:, int(np.abs(values + 1.0).argmin())])
        found = found / np.linalg.norm(found)
        return np.asarray(found * np.sign(found[int(np.abs(found).argmax())]))

    @property
    def offset_mm(self) -> float:
        """How far along the normal the mirror plane lies from the origin."""
        return 0.5 * float(self.normal @ self.shift_mm)

    @property
    def twist(self) -> float:
        """How far the image is turned about the normal beside being mirrored, in radians."""
        return float(np.arccos(np.clip(0.5 * (np.trace(self.turn) + 1.0), -1.0, 1.0)))

    def glide_mm(self, point_mm: FloatArray) -> float:
        """How far the image of a point lies from its image in the plane alone."""
        normal = self.normal
        plain = point_mm - 2.0 * (normal @ point_mm - self.offset_mm) * normal
        return float(np.linalg.norm(self.of(point_mm[None])[0] - plain))


def find_mirroring(left: Region, right: Region) -> Mirroring:
    """The mirroring that takes *left* as closely as possible onto *right*.

    A panel that is its own mirror image goes onto the other in more ways than one. Of those that
    fit alike the one that is nearest to a plain mirror plane is taken.

    Raises:
        MeshError: a panel has no outline.
    """
    starts = _starts(_outline(left), _outline(right))
    few = _Side(left, _FEW_POINTS), _Side(right, _FEW_POINTS)
    refined = [_refined(start, *few) for start in starts]
    least = min(misfit for _, misfit in refined)
    middle = left.mesh.vertices_mm.mean(axis=0)
    span = float(np.ptp(left.mesh.vertices_mm, axis=0).max())
    alike = [item for item, misfit in refined if misfit <= _ALIKE * least + _NOTHING_MM2]
    taken = min(alike, key=lambda item: item.glide_mm(middle) + span * item.twist)
    return _refined(taken, _Side(left, _MOST_POINTS), _Side(right, _MOST_POINTS))[0]


def outline_segments(region: Region) -> FloatArray:
    """(s, 2, 3) float64: the segments of all boundary loops."""
    rings = [region.mesh.vertices_mm[loop.vertices] for loop in region.loops]
    return np.concatenate([np.stack((ring, np.roll(ring, -1, axis=0)), axis=1) for ring in rings])


def nearest_on_segments(points: FloatArray, segments: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The (k, 3) nearest places on (s, 2, 3) segments, and the (k, 3) directions there."""
    ends = np.ascontiguousarray(segments.reshape(-1, 3))
    each = np.arange(len(ends)).reshape(-1, 2)
    _, found, places = igl.point_mesh_squared_distance(np.ascontiguousarray(points), ends, each)
    along = (segments[:, 1] - segments[:, 0])[np.atleast_1d(found)]
    size = np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-300)
    return np.asarray(places).reshape(-1, 3), along / size


def vertex_areas(mesh: Mesh) -> FloatArray:
    """(n,) float64: a third of the area of the triangles round each vertex, mm²."""
    shares = np.repeat(mesh.face_areas_mm2 / 3.0, 3)
    areas = np.bincount(mesh.faces.reshape(-1), shares, minlength=len(mesh.vertices_mm))
    return areas.astype(np.float64)


def face_normals(mesh: Mesh) -> FloatArray:
    """(m, 3) float64: unit normals of the triangles, 0 for one without area."""
    a, b, c = (mesh.vertices_mm[mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None])


def _outline(region: Region) -> FloatArray:
    """(_SAMPLES, 3): the outer loop at equal steps along it."""
    if not region.loops or len(region.loops[0].vertices) < 3:
        raise MeshError("A panel without an outline cannot be compared with its mirror image.")
    ring = region.mesh.vertices_mm[region.loops[0].vertices]
    closed = np.vstack((ring, ring[:1]))
    at = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    steps = at[-1] * np.arange(_SAMPLES) / _SAMPLES
    return np.stack([np.interp(steps, at, closed[:, i]) for i in range(3)], axis=1)


def _starts(left: FloatArray, right: FloatArray) -> list[Mirroring]:
    """The best mirrorings by outlines alone, one for each of the best shifts apart."""
    turned = left[::-1]
    order = (np.arange(_SAMPLES)[None] + np.arange(_SAMPLES)[:, None]) % _SAMPLES
    shifted = turned[order]
    middles = shifted.mean(axis=1), right.mean(axis=0)
    spread = np.einsum("sij,ik->sjk", shifted - middles[0][:, None], right - middles[1])
    u, _, vt = np.linalg.svd(spread)
    sign = -np.sign(np.linalg.det(u @ vt))
    u[:, :, 2] *= sign[:, None]
    turns = np.einsum("sji,skj->sik", vt, u)
    off = np.einsum("sij,skj->ski", turns, shifted - middles[0][:, None]) + middles[1] - right
    misfit = np.sum(off**2, axis=(1, 2))
    least = (misfit <= np.roll(misfit, 1)) & (misfit <= np.roll(misfit, -1))
    best = np.flatnonzero(least)[np.argsort(misfit[least], kind="stable")][:_STARTS]
    return [
        Mirroring(turns[i], middles[1] - turns[i] @ middles[0][i])
        for i in best
        if misfit[i] <= 4.0 * misfit[best[0]] + 1.0
    ]


def _refined(start: Mirroring, left: "_Side", right: "_Side") -> tuple[Mirroring, float]:
    """Gauss-Newton from *start*: the mirroring, and the mean of the robust misfits."""
    turn, shift = start.turn, start.shift_mm
    misfit, before, stalls = np.inf, np.inf, 0
    for _ in range(_STEPS):
        now = Mirroring(turn, shift)
        rows, offs, weights = _residuals(now, left, right)
        limit = 3.0 * 1.4826 * float(np.median(np.abs(offs))) + 1e-12
        kept = np.minimum(1.0, limit / np.maximum(np.abs(offs), 1e-300))
        misfit = float(np.sum(weights * kept * offs**2))
        root = np.sqrt(weights * kept)
        best = np.linalg.lstsq(rows * root[:, None], -offs * root, rcond=None)[0]
        step = best.astype(np.float64)
        small = _turn_of(step[:3])
        middle = now.of(left.points.mean(axis=0)[None])[0]
        turn, shift = small @ turn, small @ (shift - middle) + middle + step[3:]
        size = float(np.abs(step[3:]).max())
        stalls = stalls + 1 if size > _SHRINKS * before else 0
        before = size
        is_still = size < _STILL_MM and np.abs(step[:3]).max() < _STILL_RAD
        if is_still or stalls == _STALLS:
            break
    return Mirroring(turn, shift), misfit


class _Side:
    """What the refinement needs of one panel."""

    def __init__(self, region: Region, most_points: int) -> None:
        mesh = region.mesh
        every = max(1, len(mesh.vertices_mm) // most_points)
        self.mesh = mesh
        self.points = mesh.vertices_mm[::every]
        areas = vertex_areas(mesh)[::every]
        self.weights = areas / areas.sum()
        self.normals = face_normals(mesh)
        self.segments = outline_segments(region)
        sides = np.linalg.norm(self.segments[:, 1] - self.segments[:, 0], axis=1)
        self.rim = self.segments.mean(axis=1)
        self.rim_weights = sides / sides.sum()


def _residuals(
    at: Mirroring, left: _Side, right: _Side
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rows of the linear problem for a small turn about the image's middle and a small shift.

    Points of *left* go by the mirroring onto *right*; points of *right* go back by it, and what
    is off there is turned into *right*'s space, so that both ways count alike.
    """
    middle = at.of(left.points.mean(axis=0)[None])[0]
    rows: list[FloatArray] = []
    offs: list[FloatArray] = []
    weights: list[FloatArray] = []

    def add(where: FloatArray, off: FloatArray, across: FloatArray, weight: FloatArray) -> None:
        rows.append(np.hstack((np.cross(where - middle, across), across)))
        offs.append(np.einsum("ij,ij->i", off, across))
        weights.append(weight)

    back = at.back
    for one, other, there, sign in ((left, right, at, 1.0), (right, left, back, -1.0)):
        for points, weight, on_rim in (
            (one.points, one.weights, False),
            (one.rim, one.rim_weights, True),
        ):
            image = there.of(points)
            if on_rim:
                places, along = nearest_on_segments(image, other.segments)
                frames = _across(along)
            else:
                found = locate(other.mesh, image)
                places, frames = found.points_mm, other.normals[found.faces][:, None]
            # The moving one of the two points, in the space of *right*.
            moving = image if sign > 0 else at.of(places)
            off = image - places if sign > 0 else at.of(places) - points
            for i in range(frames.shape[1]):
                across = frames[:, i] if sign > 0 else frames[:, i] @ at.turn.T
                add(moving, off, across, weight)
    return np.concatenate(rows), np.concatenate(offs), np.concatenate(weights)


def _across(along: FloatArray) -> FloatArray:
    """(k, 2, 3): two unit vectors square to each of (k, 3) directions and to each other."""
    helper = np.eye(3)[np.abs(along).argmin(axis=1)]
    first = np.cross(along, helper)
    first /= np.maximum(np.linalg.norm(first, axis=1), 1e-300)[:, None]
    return np.stack((first, np.cross(along, first)), axis=1)


def _turn_of(vector: FloatArray) -> FloatArray:
    """(3, 3): the rotation by a small vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(0.5 * angle / np.pi) ** 2
    return np.asarray(np.eye(3) + first * cross + second * cross @ cross)
