"""Taps on a scan, and the lines between them: along creases, gaps and open edges, or straight."""

import numpy as np
import shapely

from figures.jobs import designs
from figures.svg import CHALK, GROUND, INK, LINE, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray
from layflat.demo import body_mesh
from layflat.surface import Features, feature_path, features, mend, prepare, snapped

_WIDTH, _HEIGHT, _FOOT = 240.0, 112.0, 12.0
_SIGHT = (-200.0, 2260.0)
"""What is shown of the coupe's left side, mm along the vehicle; the front is to the left."""
_LEAST_RUN_MM = 40.0
_SNAP_MM = 25.0
_PANEL = "fender-left"


def scan_picture() -> str:
    """The corners of the coupe's left fender tapped on its scan, and what is drawn between them."""
    design = designs()["coupe"]
    found = features(prepare(mend(body_mesh(design, spacing_mm=16.0)).mesh))
    picture = Picture(_WIDTH, _HEIGHT, ground=GROUND)
    picture.lines(_feature_lines(found), pen=LINE, width=0.35)
    panel = design.info.panel(_PANEL)
    corners = [edge.points_mm[0] for edge in panel.outline] if panel else []
    taps = [snapped(found, corner, snap_mm=_SNAP_MM) for corner in corners]
    pairs = list(zip(taps, [*taps[1:], *taps[:1]], strict=True))
    picture.lines(
        [_paper(np.stack(pair)) for pair in pairs], pen=VERMILLION, width=0.4, dashes=(1.6, 1.2)
    )
    paths = [feature_path(found, start, end) for start, end in pairs]
    picture.lines([_paper(path.points_mm) for path in paths], pen=CHALK, width=1.1)
    for i, tap in enumerate(taps):
        x, y = _paper(tap[None])[0]
        picture.dot(x, y, 1.5, fill=INK)
        picture.words(x + 2.2, y - 2.2, str(i + 1), size=4.2, bold=True)
    for x, pen, text in (
        (6.0, CHALK, "the line between taps"),
        (72.0, VERMILLION, "the shortest way through the air"),
        (168.0, PENCIL, "creases, gaps and open edges"),
    ):
        colour = LINE if pen == PENCIL else pen
        dashes = (1.6, 1.2) if pen == VERMILLION else ()
        line = [[x, _HEIGHT - 5.3], [x + 10.0, _HEIGHT - 5.3]]
        picture.lines([line], pen=colour, width=1.0, dashes=dashes)
        picture.words(x + 12.5, _HEIGHT - 4.0, text, size=3.9, colour=INK)
    return picture.svg()


def _feature_lines(found: Features) -> list[FloatArray]:
    """The edges on features of the left side, joined to long lines, on paper."""
    points = found.body.mesh.vertices_mm
    ends = found.body.table.ends[found.on_feature]
    left = points[ends]
    left = left[(left[:, :, 1] > 0.0).all(axis=1)]
    inside = (left[:, :, 0] > _SIGHT[0]) & (left[:, :, 0] < _SIGHT[1])
    drawn = shapely.linestrings(_paper(left[inside.all(axis=1)].reshape(-1, 3)).reshape(-1, 2, 2))
    joined = shapely.line_merge(shapely.multilinestrings(drawn))
    scale = _WIDTH / (_SIGHT[1] - _SIGHT[0])
    return [
        shapely.get_coordinates(line.simplify(0.05))
        for line in shapely.get_parts(joined)
        if line.length > scale * _LEAST_RUN_MM
    ]


def _paper(points: FloatArray) -> FloatArray:
    """(k, 2) mm of paper for (k, 3) places of the left side."""
    scale = _WIDTH / (_SIGHT[1] - _SIGHT[0])
    placed: FloatArray = np.stack(
        [scale * (_SIGHT[1] - points[:, 0]), _HEIGHT - _FOOT - scale * points[:, 2]], axis=1
    )
    return placed
