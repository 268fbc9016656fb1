"""Where laid film fingers: zones in which it would be pressed more than it can bear.

Film that is pressed gives way in fingers. From the principal log strains e1 >= e2 of the film,
flat to surface, the lesser principal stress of a film that stays flat is

    s = E (e2 + nu e1) / (1 - nu²)

and a film that lies flat up to a compression of *limit* (a fraction of its length, with nothing
pulling or pressing across) bears ``E ln(1 - limit)``, a negative stress. A triangle is *pressed*
where s is less than that. Pressed triangles that share a corner are of one zone.

The *compression* of a triangle is ``1 - exp(s / E)``: what pressing along one line alone would
take to reach its stress, so that it is compared with the limit directly. At a free edge nothing
pulls across, and it is the plain shortening, one less the lesser stretch. Of film laid on a length
ds across the fingers, ``ds / (1 - compression)`` is there and ``ds / (1 - limit)`` lies flat; the
difference is too much, and must go somewhere.
"""

import math
from dataclasses import dataclass

import numpy as np
import potpourri3d
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from layflat.base import FloatArray, IntArray, SettingError, frozen
from layflat.film import Flat
from layflat.fit.fingers_across import ZoneSurface, worst_lines
from layflat.surface import Mesh, boundary_loops

SPECK_MM2 = 25.0
"""Zones smaller than this are specks: dropped, and counted."""


@dataclass(frozen=True, eq=False)
class FingerZone:
    """One zone of fingers.

    Attributes:
        faces: (k,) int64, the pressed triangles, in increasing order.
        centre_mm: (3,) float64, a point of the zone on the surface, near its middle.
        direction_mm: (3,) float64, unit vector on the surface along the fingers at `centre_mm`,
            towards the nearest edge of the piece.
        flat_direction: (2,) float64, the same in the flat.
        depth_mm: how far from the nearest edge of the piece the zone reaches, on the surface.
        width_mm: the longest line across the fingers; along the edge, where they run towards it.
        excess_mm: the film too much on such lines, at the height where it is most.
        greatest: the greatest compression in it, as a fraction.
        ends_at_edge: whether it touches the edge of the piece.
        area_mm2: its area on the surface.
    """

    faces: IntArray
    centre_mm: FloatArray
    direction_mm: FloatArray
    flat_direction: FloatArray
    depth_mm: float
    width_mm: float
    excess_mm: float
    greatest: float
    ends_at_edge: bool
    area_mm2: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "faces", frozen(self.faces, np.int64))
        for name in ("centre_mm", "direction_mm", "flat_direction"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True)
class Fingers:
    """All zones of fingers of one piece.

    Attributes:
        zones: the deepest first.
        limit: the compression that was taken to lie flat, as a fraction.
        specks: zones that were dropped for being smaller than `SPECK_MM2`.
        specks_mm2: their area together.
    """

    zones: tuple[FingerZone, ...]
    limit: float
    specks: int
    specks_mm2: float


def finger_zones(flat: Flat, *, limit: float | None = None) -> tuple[FingerZone, ...]:
    """The zones of `find_fingers`, the deepest first."""
    return find_fingers(flat, limit=limit).zones


def find_fingers(flat: Flat, *, limit: float | None = None) -> Fingers:
    """Where the film of *flat*, as it lies on the surface, will finger.

    Args:
        flat: a piece on its surface, flattened or laid.
        limit: the greatest compression that lies flat, as a fraction; the film's own
            `finger_limit` if None.

    Raises:
        SettingError: *limit* is not 0 to below 1.
    """
    limit = flat.film.finger_limit if limit is None else limit
    if not 0.0 <= limit < 1.0:
        raise SettingError(
            f"The finger limit is {limit:g}; it is a fraction, at least 0 and below 1 "
            "(0.01 is 1 %)."
        )
    pressed = np.flatnonzero(compression(flat) > limit)
    if not len(pressed):
        return Fingers((), limit, 0, 0.0)
    areas = flat.mesh.face_areas_mm2[pressed]
    zone_of = parts_of(flat.mesh.faces[pressed])
    zone_area = np.bincount(zone_of, areas)
    small = zone_area < SPECK_MM2
    field = _Field.of(flat, limit)
    zones = [field.zone(pressed[zone_of == z]) for z in np.flatnonzero(~small)]
    zones.sort(key=lambda zone: (-zone.depth_mm, -zone.excess_mm))
    return Fingers(tuple(zones), limit, int(small.sum()), float(zone_area[small].sum()))


def compression(flat: Flat) -> FloatArray:
    """(m,) float64: the compression ``1 - exp(s / E)`` of each triangle; negative where pulled."""
    nu = flat.film.poisson_ratio
    e1, e2 = np.log(flat.strain.greatest), np.log(flat.strain.least)
    return np.asarray(-np.expm1((e2 + nu * e1) / (1.0 - nu * nu)))


def parts_of(faces: IntArray) -> IntArray:
    """(k,) a number, from 0, for each set of triangles that hang together.

    By corners, not by sides: where cells are split along one diagonal, strain differs a little
    between their halves, and the border of a zone is a row of teeth.
    """
    count = int(faces.max()) + 1
    rows, columns = faces[:, :2].ravel(), faces[:, 1:].ravel()
    graph = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
    of_vertex = connected_components(graph, directed=False)[1]
    return np.asarray(np.unique(of_vertex[faces[:, 0]], return_inverse=True)[1], dtype=np.int64)


def edge_distance_mm(mesh: Mesh) -> FloatArray:
    """(n,) float64: how far each vertex lies from the nearest edge of the piece, on the surface.

    Fast marching (R. Kimmel, J. A. Sethian, Computing geodesic paths on manifolds, Proc. Natl.
    Acad. Sci. 95 (1998) 8431-8435, from memory), exact next to a straight edge and about a
    hundredth off deep inside.
    """
    loops = boundary_loops(mesh.faces)
    curves: list[list[tuple[int, list[float]]]] = [
        [(int(v), []) for v in np.append(loop, loop[0])] for loop in loops
    ]
    solver = potpourri3d.MeshFastMarchingDistanceSolver(mesh.vertices_mm, mesh.faces)
    return np.asarray(solver.compute_distance(curves), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Field:
    """What every triangle of a piece says about fingers."""

    flat: Flat
    compression: FloatArray
    excess: FloatArray
    along: FloatArray
    across: FloatArray
    from_edge: FloatArray

    @staticmethod
    def of(flat: Flat, limit: float) -> "_Field":
        squeezed = compression(flat)
        jacobian, normal = _derivative(flat)
        along = _unit(np.einsum("mij,mj->mi", jacobian, flat.strain.direction))
        return _Field(
            flat=flat,
            compression=squeezed,
            excess=1.0 / (1.0 - squeezed) - 1.0 / (1.0 - limit),
            along=along,
            across=np.cross(normal, along),
            from_edge=edge_distance_mm(flat.mesh),
        )

    def zone(self, faces: IntArray) -> FingerZone:
        """The zone of these pressed *faces*."""
        mesh = self.flat.mesh
        corners = mesh.vertices_mm[mesh.faces[faces]]
        from_edge = self.from_edge[mesh.faces[faces]]
        areas = mesh.face_areas_mm2[faces]
        weights = areas * self.excess[faces]
        middles = corners.mean(axis=1)
        depth = float(from_edge.mean(axis=1).max())
        centroid = weights @ middles / weights.sum()
        at = int(np.argmin(np.linalg.norm(middles - centroid, axis=1)))
        near = np.linalg.norm(middles - middles[at], axis=1) <= max(depth, math.sqrt(areas[at]))
        flat_direction = self._mean_direction(faces[near], weights[near])
        direction = self._to_edge(int(faces[at]), flat_direction)
        surface = ZoneSurface(mesh.faces[faces], corners, self.across[faces], self.excess[faces])
        along_flat = self.flat.points_mm[mesh.faces[faces]] @ flat_direction
        # Lines at one distance from the edge, and straight lines in the flat: the first are across
        # fingers that run towards the edge, the second across any others.
        by_depth, by_flat = worst_lines(surface, from_edge), worst_lines(surface, along_flat)
        return FingerZone(
            faces=faces,
            centre_mm=middles[at],
            direction_mm=direction[0],
            flat_direction=direction[1],
            depth_mm=depth,
            width_mm=max(by_depth[0], by_flat[0]),
            excess_mm=max(by_depth[1], by_flat[1]),
            greatest=float(self.compression[faces].max()),
            ends_at_edge=bool((from_edge == 0.0).any()),
            area_mm2=float(areas.sum()),
        )

    def _mean_direction(self, faces: IntArray, weights: FloatArray) -> FloatArray:
        """The mean of directions without a sense, in the flat: that of their doubled angles."""
        along = self.flat.strain.direction[faces]
        doubled = weights @ (along[:, 0] + 1j * along[:, 1]) ** 2
        half = 0.5 * np.angle(doubled)
        return np.array((np.cos(half), np.sin(half)))

    def _to_edge(self, face: int, flat_direction: FloatArray) -> tuple[FloatArray, FloatArray]:
        """*flat_direction* on the surface and in the flat, turned towards the edge at *face*."""
        jacobian, _ = _derivative(self.flat, np.array([face]))
        on_surface = _unit(jacobian @ flat_direction)[0]
        ids = self.flat.mesh.faces[face]
        corner, depth = self.flat.points_mm[ids], self.from_edge[ids]
        slope = np.linalg.solve(corner[1:] - corner[0], depth[1:] - depth[0])
        sense = -1.0 if slope @ flat_direction > 0.0 else 1.0
        return sense * on_surface, sense * flat_direction


def _derivative(flat: Flat, faces: IntArray | None = None) -> tuple[FloatArray, FloatArray]:
    """(k, 3, 2) the map from the flat to the surface, and (k, 3) the normals, per triangle."""
    ids = flat.mesh.faces if faces is None else flat.mesh.faces[faces]
    corner, point = flat.mesh.vertices_mm[ids], flat.points_mm[ids]
    on_surface = np.stack((corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=2)
    in_flat = np.stack((point[:, 1] - point[:, 0], point[:, 2] - point[:, 0]), axis=2)
    normal = _unit(np.cross(on_surface[:, :, 0], on_surface[:, :, 1]))
    return on_surface @ np.linalg.inv(in_flat), normal


def _unit(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


def finger_sentence(zone: FingerZone) -> str:
    """One zone in words."""
    width, depth = f"{zone.width_mm:.0f} mm", f"{zone.depth_mm:.0f} mm"
    where = f"a zone {width} wide inside the piece, as far as {depth} from its edge"
    if zone.ends_at_edge:
        where = f"a zone {width} along the edge and {depth} deep"
    return f"Fingers: {where}; {zone.excess_mm:.1f} mm too much film."


def finger_sentences(fingers: Fingers) -> tuple[str, ...]:
    """All zones in words, the deepest first, and what was dropped."""
    sentences = [finger_sentence(zone) for zone in fingers.zones]
    if fingers.specks:
        specks = "1 speck" if fingers.specks == 1 else f"{fingers.specks} specks"
        sentences.append(
            f"{specks} of pressed film smaller than {SPECK_MM2:g} mm², "
            f"{fingers.specks_mm2:.0f} mm² in all, left out."
        )
    return tuple(sentences)
