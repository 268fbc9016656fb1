"""The floor that a vehicle was scanned on: found as a plane, and cut off.

The plane is found by random trials (Fischler and Bolles, "Random sample consensus", Commun. ACM
24(6), 1981) and then fitted by least squares to what lies in it. It is the floor where nearly all
else lies over it, on the side that its triangles face; the roof of a vehicle, which has its body
on the other side, is none.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.mesh import Mesh
from layflat.surface.plane import Plane, plane_through
from layflat.surface.samples import Samples
from layflat.surface.topology import compact, edge_table, face_components, split_fans

LEAST_FLOOR_SHARE = 0.03
"""A plane with less of the scan's area is not taken for the floor. Our own choice."""

DUST_SHARE = 1e-3
"""A piece with less of the largest one's area is dust. Our own choice."""

MOST_RMS_MM = 3.0
"""What lies farther than this from its plane on the whole is curved, no floor. Our own choice."""

MOST_WITHIN_MM = 300.0

_TRIALS = 600
_TRIED = 3000
_REACH_MM = 10.0
_SIDE = 0.9
"""The cosine between normals of places in one plane."""
_BELOW = 0.02
_ROUNDS = 6
_LISTED = 20


@dataclass(frozen=True)
class Floor:
    """A floor that was found.

    Attributes:
        plane: its normal points up.
        share: how much of the scan's area lies in it, 0 to 1.
        rms_mm: how far that lies from the plane.
    """

    plane: Plane
    share: float
    rms_mm: float


def find_floor(samples: Samples, *, seed: int = 0) -> Floor | None:
    """The floor of a scan, or None where the scan shows none.

    Args:
        samples: places on the scan, triangles facing outward.
        seed: of the trials; the same gives the same floor.
    """
    rng = np.random.default_rng(seed)
    count = min(_TRIED, len(samples))
    some = rng.permutation(len(samples))[:count]
    points, normals = samples.points_mm[some], samples.normals[some]
    best, most = None, LEAST_FLOOR_SHARE * count
    for first in rng.integers(0, count, _TRIALS):
        alike = np.flatnonzero(normals @ normals[first] > _SIDE)
        if len(alike) <= most:
            continue
        second, third = rng.choice(alike, 2)
        across = np.cross(points[second] - points[first], points[third] - points[first])
        size = float(np.linalg.norm(across))
        if size < 1.0:
            continue
        across *= np.sign(across @ normals[first]) / size
        heights = (points - points[first]) @ across
        if (heights < -_REACH_MM).mean() > _BELOW:
            continue
        inside = int(((np.abs(heights) < _REACH_MM) & (normals @ across > _SIDE)).sum())
        if inside > most:
            best, most = Plane(across, float(across @ points[first])), inside
    return None if best is None else _fitted(samples, best)


def _fitted(samples: Samples, plane: Plane) -> Floor | None:
    """The plane fitted to what lies in it, closer from round to round."""
    reach = _REACH_MM
    for _ in range(_ROUNDS):
        heights = plane.heights_mm(samples.points_mm)
        inside = (np.abs(heights) < reach) & (samples.normals @ plane.normal > _SIDE)
        if int(inside.sum()) < 3:
            return None
        fitted = plane_through(samples.points_mm[inside])
        plane = fitted if fitted.normal @ plane.normal > 0 else fitted.turned()
        heights = plane.heights_mm(samples.points_mm[inside])
        # Three standard deviations, as the median of what lies inside says them.
        reach = min(reach, max(3 * 1.4826 * float(np.median(np.abs(heights))), 0.1))
    share = float(inside.mean())
    rms = float(np.sqrt(np.mean(heights**2)))
    if share < LEAST_FLOOR_SHARE or rms > MOST_RMS_MM:
        return None
    return Floor(plane, share, rms)


@dataclass(frozen=True)
class Removed:
    """A piece that was taken away.

    Attributes:
        kind: `floor`, or `dust` for what then hung together with nothing.
        area_mm2: its area.
        triangles: how many it has.
        at_mm: the middle of the box round it.
        size_mm: the sides of that box.
    """

    kind: str
    area_mm2: float
    triangles: int
    at_mm: tuple[float, float, float]
    size_mm: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class FloorCut:
    """A scan without its floor.

    Attributes:
        mesh: what is left; manifold if the scan was.
        kept: (m',) int64, the old number of each of its triangles.
        removed: the largest pieces taken away, the largest first, at most twenty.
        pieces: how many pieces were taken away in all.
        removed_mm2: their area.
    """

    mesh: Mesh
    kept: np.ndarray[tuple[int], np.dtype[np.int64]]
    removed: tuple[Removed, ...]
    pieces: int
    removed_mm2: float


def cut_floor(
    mesh: Mesh, floor: Plane | None, *, within_mm: float, dust_share: float = DUST_SHARE
) -> FloorCut:
    """*mesh* without the triangles that reach within *within_mm* of the floor or below it.

    Args:
        mesh: the scan.
        floor: its normal points up; None cuts nothing but dust.
        within_mm: how far over the floor triangles are taken away whole, 0 to 300 mm.
        dust_share: what then is a piece of its own with less than this share of the largest
            piece's area goes, too.

    Raises:
        MeshError: the distance is out of range, or nothing would be left.
    """
    if not 0.0 <= within_mm <= MOST_WITHIN_MM:
        raise MeshError(
            f"The floor is cut {within_mm:g} mm over its plane; choose 0 to {MOST_WITHIN_MM:g} mm."
        )
    low = np.zeros(len(mesh.faces), np.bool_)
    if floor is not None:
        under = floor.heights_mm(mesh.vertices_mm) <= within_mm
        low = np.asarray(under[mesh.faces].sum(axis=1) > 0)
    over = np.flatnonzero(~low)
    if not len(over):
        raise MeshError(
            f"Within {within_mm:g} mm of the floor lies all of the scan; choose less, or set the "
            "floor by three points."
        )
    piece = face_components(edge_table(mesh.faces[over]))
    area = np.bincount(piece, mesh.face_areas_mm2[over])
    dusty = (area < dust_share * area.max())[piece]
    found = [*_pieces(mesh, np.flatnonzero(low), "floor"), *_pieces(mesh, over[dusty], "dust")]
    found.sort(key=lambda item: -item.area_mm2)
    kept = over[~dusty]
    gone = np.ones(len(mesh.faces), np.bool_)
    gone[kept] = False
    faces, used = _parted(mesh.faces[kept], mesh.faces[gone])
    return FloorCut(
        Mesh(mesh.vertices_mm[used], faces),
        kept,
        tuple(found[:_LISTED]),
        len(found),
        float(sum(item.area_mm2 for item in found)),
    )


def _parted(faces: IntArray, gone: IntArray) -> tuple[IntArray, IntArray]:
    """Faces numbered anew, with a vertex of its own for each fan that the cut has left at one.

    Only at vertices of the faces that are *gone* can one fan have become several.

    Returns:
        (m, 3) faces, and (k,) the old number of each vertex.
    """
    count = int(max(faces.max(initial=-1), gone.max(initial=-1))) + 1
    at_cut = np.zeros(count, np.bool_)
    at_cut[gone] = True
    beside = np.flatnonzero(at_cut[faces].any(axis=1))
    if not len(beside):
        return compact(faces)
    fans, source = split_fans(faces[beside])
    later = np.r_[False, source[1:] == source[:-1]] & at_cut[source]
    number = source.copy()
    number[later] = count + np.arange(int(later.sum()))
    faces = faces.copy()
    faces[beside] = number[fans]
    faces, used = compact(faces)
    return faces, np.r_[np.arange(count), source[later]][used]


def _pieces(
    mesh: Mesh, which: np.ndarray[tuple[int], np.dtype[np.int64]], kind: str
) -> list[Removed]:
    """The faces *which*, piece by piece."""
    if not len(which):
        return []
    piece = face_components(edge_table(mesh.faces[which]))
    order = np.argsort(piece, kind="stable")
    found = []
    for part in np.split(which[order], np.flatnonzero(np.diff(piece[order])) + 1):
        points = mesh.vertices_mm[mesh.faces[part]].reshape(-1, 3)
        found.append(
            Removed(
                kind,
                float(mesh.face_areas_mm2[part].sum()),
                len(part),
                _triple(0.5 * (points.min(axis=0) + points.max(axis=0))),
                _triple(np.ptp(points, axis=0)),
            )
        )
    return found


def _triple(values: FloatArray) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z
