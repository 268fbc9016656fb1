"""How much of a cut or a seam that a person chose is seen."""

import numpy as np
import shapely
from scipy.spatial import KDTree

from layflat.base import FloatArray
from layflat.fit.relief_words import visible_length_mm
from layflat.fit.seen import Sight, creases, visibility
from layflat.surface import Mesh, Prepared, Region

_STEP_MM = 2.0


def seen_length_mm(
    region: Region,
    path_mm: FloatArray,
    *,
    sight: Sight | None = None,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0),
    body: Mesh | Prepared | None = None,
) -> float:
    """The length of a path that is seen, mm.

    Args:
        region: the panel that it lies on.
        path_mm: (k, 3) float64, k >= 2.
        sight: how well places are seen.
        up, forward: unit vectors of the body.
        body: the whole body; its lowest point is the ground.
    """
    line = shapely.segmentize(shapely.linestrings(path_mm), _STEP_MM)
    points = shapely.get_coordinates(line, include_z=True)
    near = KDTree(region.mesh.vertices_mm).query(points)[1]
    seen = visibility(region, up=up, forward=forward, body=body, sight=sight)[near]
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return visible_length_mm(steps, seen, creases(region.mesh)[near])
