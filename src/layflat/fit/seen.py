"""What of a panel is seen, and where it is creased: where a cut or a seam shows least.

*Visibility* goes by where a place of the panel faces, how high above the ground it lies, and how
near it is to an edge that something covers or to a dark opening. It is a ranking for choosing
between places, not optics: the figures in `Sight` are common practice, no source.

A *crease* is where the surface bends sharply along a line. The bending is that of D. Cohen-Steiner,
J.-M. Morvan, Restricted Delaunay triangulations and normal cycle, Proc. 19th Symp. Comput. Geom.
(2003) 312-321 (from memory): round a place, the turns of the mesh's edges times their lengths, as a
tensor along the edges, per area. Its greater eigenvalue is the greater curvature, exact for a
cylinder; its window averages over a scan's noise, whose turns have both signs.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import KDTree

from layflat.base import FloatArray, SettingError
from layflat.fit.wraps import vertex_normals
from layflat.surface import EdgeKind, Mesh, Prepared, Region, edge_table

CREASE_RADIUS_MM = 10.0
"""A bend as sharp as this is a full crease."""

SMOOTH = 0.1
"""Bends of less than this part of a full crease's curvature are smooth."""

CREASE_WINDOW_MM = 8.0
"""Bending is averaged over this distance round a place, or its own triangles if they are larger."""

_SAMPLE_MM = 1.0


@dataclass(frozen=True, kw_only=True)
class Sight:
    """How well places of a car are seen. All figures: common practice, no source.

    Attributes:
        hidden_mm: so near to a gap, to trim or to an opening nothing is seen.
        clear_mm: from this distance on such an edge hides nothing.
        under: what is left of full sight where the surface faces down by `under_deg` or more.
        under_deg: see `under`; between level and this it falls evenly.
        level_above_eyes: what is left where the surface faces straight up at the height of the
            eyes or above.
        eyes_mm: height of the eyes of a person who stands beside the car, above the ground.
        level_low_mm: surfaces that face up are in full sight up to this height.
        backward: what is left where the surface faces straight back.

    Raises:
        SettingError: a share is not 0 to 1, or a distance or height is out of order.
    """

    hidden_mm: float = 2.0
    clear_mm: float = 8.0
    under: float = 0.1
    under_deg: float = 30.0
    level_above_eyes: float = 0.3
    eyes_mm: float = 1600.0
    level_low_mm: float = 1100.0
    backward: float = 0.9

    def __post_init__(self) -> None:
        for name in ("under", "level_above_eyes", "backward"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1.0:
                raise SettingError(f"“{name}” of sight is {value:g}; it is a share from 0 to 1.")
        if not 0.0 <= self.hidden_mm < self.clear_mm:
            raise SettingError(
                f"Edges hide {self.hidden_mm:g} mm and leave clear {self.clear_mm:g} mm; the first "
                "must be at least 0 and less than the second."
            )
        if not self.level_low_mm < self.eyes_mm:
            raise SettingError("The height of the eyes must be above that of low level surfaces.")
        if not 0.0 < self.under_deg <= 90.0:
            raise SettingError("“under_deg” of sight must be above 0 and at most 90.")


def visibility(
    region: Region,
    *,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0),
    body: Mesh | Prepared | None = None,
    sight: Sight | None = None,
) -> FloatArray:
    """(n,) float64: how well each vertex of *region* is seen, 0 hidden to 1 in full sight.

    Args:
        region: the panel.
        up, forward: unit vectors of the body.
        body: the whole body: its lowest point is the ground. Without it heights are not known,
            and surfaces that face up are in full sight.
        sight: the figures.
    """
    sight = Sight() if sight is None else sight
    normals = vertex_normals(region.mesh)
    rise = normals @ np.asarray(up)
    seen = np.interp(rise, [-np.sin(np.radians(sight.under_deg)), 0.0], [sight.under, 1.0])
    if body is not None:
        mesh = body.mesh if isinstance(body, Prepared) else body
        ground = float((mesh.vertices_mm @ np.asarray(up)).min())
        height = region.mesh.vertices_mm @ np.asarray(up) - ground
        level = np.interp(
            height, [sight.level_low_mm, sight.eyes_mm], [1.0, sight.level_above_eyes]
        )
        seen = seen * (1.0 - (1.0 - level) * np.clip(rise, 0.0, 1.0) ** 2)
    back = np.clip(-(normals @ np.asarray(forward)), 0.0, 1.0)
    seen = seen * (1.0 - (1.0 - sight.backward) * back)
    seen = seen * np.interp(_from_covered(region), [sight.hidden_mm, sight.clear_mm], [0.0, 1.0])
    return np.asarray(np.clip(seen, 0.0, 1.0))


def _from_covered(region: Region) -> FloatArray:
    """(n,) float64: how far each vertex is from the nearest gap, trim or opening, in space."""
    near = [np.zeros((0, 3))]
    for number, loop in enumerate(region.loops):
        start = region.mesh.vertices_mm[loop.vertices]
        step = np.roll(start, -1, axis=0) - start
        covered = [
            number > 0 or loop.edges[edge].kind in (EdgeKind.GAP, EdgeKind.TRIM)
            for edge in loop.edge_of
        ]
        for place, along in zip(start[covered], step[covered], strict=True):
            count = int(np.linalg.norm(along) / _SAMPLE_MM) + 2
            near.append(place + np.linspace(0.0, 1.0, count)[:, None] * along)
    points = np.concatenate(near)
    if not len(points):
        return np.full(len(region.mesh.vertices_mm), np.inf)
    return np.asarray(KDTree(points).query(region.mesh.vertices_mm)[0])


def creases(
    mesh: Mesh,
    *,
    radius_mm: float = CREASE_RADIUS_MM,
    window_mm: float = CREASE_WINDOW_MM,
) -> FloatArray:
    """(n,) float64: how sharply the surface is creased at each vertex, 0 smooth to 1 sharp.

    Args:
        mesh: manifold and oriented.
        radius_mm: a bend of this radius is a full crease.
        window_mm: bending is averaged over this distance.

    Raises:
        SettingError: a length is not above 0.
    """
    if not (radius_mm > 0.0 and window_mm > 0.0):
        raise SettingError("The radius and the window of creases must be more than 0 mm.")
    points, count = mesh.vertices_mm, len(mesh.vertices_mm)
    table = edge_table(mesh.faces)
    side = np.flatnonzero((table.mate >= 0) & table.forward)
    along = points[table.ends[table.edge_of[side], 1]] - points[table.ends[table.edge_of[side], 0]]
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    normals = _face_normals(mesh)
    left, right = normals[side // 3], normals[table.mate[side] // 3]
    # The turn from the left triangle to the right one, about their edge; positive where hollow.
    turn = np.arctan2(
        np.einsum("ij,ij->i", np.cross(left, right), along), np.einsum("ij,ij->i", left, right)
    )
    tensor = (turn * length)[:, None, None] * along[:, :, None] * along[:, None, :]
    total = np.zeros((count, 9))
    for end in range(2):
        np.add.at(total, table.ends[table.edge_of[side], end], 0.5 * tensor.reshape(-1, 9))
    area = np.zeros(count)
    for corner in range(3):
        np.add.at(area, mesh.faces[:, corner], mesh.face_areas_mm2 / 3.0)
    near = _neighbours(points, window_mm)
    mean = (near @ total) / np.maximum(near @ area, 1e-12)[:, None]
    bending = np.abs(np.linalg.eigvalsh(mean.reshape(-1, 3, 3))).max(axis=1)
    return np.asarray(np.clip((bending * radius_mm - SMOOTH) / (1.0 - SMOOTH), 0.0, 1.0))


def _face_normals(mesh: Mesh) -> FloatArray:
    corners = mesh.vertices_mm[mesh.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-30))


def _neighbours(points: FloatArray, window_mm: float) -> csr_array:
    """(n, n) weights of the points round each: 1 at the point, falling to 0 at the window's rim."""
    pairs = KDTree(points).query_pairs(window_mm, output_type="ndarray")
    away = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1) / window_mm
    own = np.arange(len(points))
    rows = np.concatenate((pairs[:, 0], pairs[:, 1], own))
    columns = np.concatenate((pairs[:, 1], pairs[:, 0], own))
    weights = np.concatenate((1.0 - away**2, 1.0 - away**2, np.ones(len(points))))
    return csr_array((weights, (rows, columns)), shape=(len(points), len(points)))
