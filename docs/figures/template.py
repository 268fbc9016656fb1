"""A traced template in the printed frame, as a tilted camera sees it, and the flat piece."""

import math

import numpy as np
import shapely
import shapely.ops

from figures.svg import CHALK, GROUND, INK, LINE, PAPER, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray
from layflat.photo import RULER_ACROSS_MM, RULER_MM, Sheet, black_cells, printed_frame

_WIDTH, _HEIGHT = 240.0, 97.0
_PHOTO = (8.0, 11.0, 128.0, 91.0)
"""The photograph on paper: left, top, right, bottom."""
_FLAT_AT, _SCALE = (185.0, 42.0), 0.2
"""The middle of the piece on paper, and paper mm per mm."""
_TILT_RAD, _TOWARDS_RAD, _ROLL_RAD = math.radians(27.0), math.radians(-68.0), math.radians(2.0)
_AIM_MM, _AWAY_MM, _FOCAL = (6.0, -52.0), 1250.0, 1.08
"""Where on the table the camera looks, from how far; its focal length in widths of the picture."""
_BARREL = -0.11
"""The lens: a point at the radius r, in focal lengths, is seen at r (1 + _BARREL r²)."""
_INSIDE_MM = (580.0, 320.0)
_APART_MM, _STEP_MM = 26.0, 12.0
_SHADE = "#E4DFD3"
_PEN_MM = 2.6
_GAP_AT, _GAP_MM = 0.47, 26.0
"""Where along the line the pen left a gap, as a part of its length, and how long."""
_CROSS_MM, _DOT_MM = (-120.0, 8.0), (178.0, -20.0)
_HOLE_MM, _HOLE_RADIUS_MM = (20.0, -34.0), 30.0
_LEFT = ((-235.0, -88.0), (-60.0, -112.0), (150.0, -104.0), (246.0, -42.0), (218.0, 62.0))
_CORNERS = (*_LEFT, (80.0, 116.0), (-90.0, 98.0), (-222.0, 40.0))


def template_picture() -> str:
    """Left the photograph with six sheets, right the piece with what was found on it."""
    picture = Picture(_WIDTH, _HEIGHT)
    picture.words(_PHOTO[0], 7.5, "what the camera sees")
    picture.words(_FLAT_AT[0], 7.5, "the piece, flat and to scale", anchor="middle")
    _photograph(picture)
    _piece(picture)
    return picture.svg()


def _photograph(picture: Picture) -> None:
    left, top, right, bottom = _PHOTO
    around = shapely.box(left, top, right, bottom)
    picture.shape([_loop(around)], fill=_SHADE)
    for sheet, place in zip(printed_frame(6).sheets, _places(), strict=True):
        x0, y0, x1, y1 = sheet.paper_mm
        _seen(picture, [_box(x0, y0, x1, y1)], place, fill=PAPER, pen=LINE, within=around)
        _seen(picture, _black(sheet), place, fill=INK, within=around)
        _seen(picture, _rules(sheet), place, fill=PENCIL, within=around)
    here = np.array([0.0, 0.0, 0.0])
    paper = shapely.Polygon(_CORNERS).envelope.buffer(22.0, join_style="mitre")
    _seen(picture, [_loop(paper)], here, fill=GROUND, pen=PENCIL, within=around)
    drawn = [*_line(), shapely.Point(_HOLE_MM).buffer(_HOLE_RADIUS_MM, quad_segs=24).exterior]
    pen = [part.buffer(0.5 * _PEN_MM, quad_segs=3) for part in (*drawn, *_cross(), _dot())]
    for shape in pen:
        loops = [np.asarray(ring.coords) for ring in (shape.exterior, *shape.interiors)]
        _seen(picture, loops, here, fill=INK, within=around)
    picture.shape([_loop(around)], pen=INK, width=0.5)


def _piece(picture: Picture) -> None:
    hole = shapely.Point(_HOLE_MM).buffer(_HOLE_RADIUS_MM, quad_segs=24)
    rings = [_flat(_loop(_outline())), _flat(_loop(hole))]
    picture.shape(rings, fill=GROUND, pen=CHALK, width=0.6)
    picture.lines([_flat(np.asarray(line.coords)) for line in _cross()], pen=INK, width=0.45)
    x, y = _flat(np.array([_DOT_MM]))[0]
    picture.dot(x, y, 0.9, fill=INK)
    for place, text in ((_CROSS_MM, "cross"), (_DOT_MM, "dot"), (_HOLE_MM, "cut-out")):
        x, y = _flat(np.array([place]))[0]
        low = 11.0 if text == "cut-out" else 7.0
        picture.words(x, y + low, text, size=3.6, colour=PENCIL, anchor="middle")
    for x, y in (_flat(np.array([_gap_middle()]))[0], (_FLAT_AT[0] - 25.0, 77.5)):
        picture.dot(x, y, 2.4, fill=PAPER, pen=VERMILLION)
        picture.words(x, y + 1.25, "1", size=3.5, anchor="middle", bold=True)
    picture.words(_FLAT_AT[0] - 21.0, 78.8, "look here: the line has a gap", size=3.6)
    half = 50.0 * _SCALE
    ends = _FLAT_AT[0] - half, _FLAT_AT[0] + half
    picture.lines(
        [[(ends[0], 86.0), (ends[1], 86.0)], *([(x, 84.6), (x, 87.4)] for x in ends)],
        pen=INK,
        width=0.4,
    )
    picture.words(_FLAT_AT[0], 91.0, "100 mm", size=3.6, colour=PENCIL, anchor="middle")


def _outline() -> shapely.Polygon:
    """What was traced: corners rounded, mm."""
    sharp = shapely.Polygon(_CORNERS)
    return sharp.buffer(-34.0, quad_segs=24).buffer(34.0, quad_segs=24)


def _line() -> list[shapely.LineString]:
    """The traced line with its gap."""
    ring = _outline().exterior
    start, end = _GAP_AT * ring.length, _GAP_AT * ring.length + _GAP_MM
    spans = ((0.0, start), (end, ring.length))
    return [shapely.LineString(shapely.ops.substring(ring, *span).coords) for span in spans]


def _gap_middle() -> tuple[float, float]:
    ring = _outline().exterior
    middle = ring.interpolate(_GAP_AT * ring.length + 0.5 * _GAP_MM)
    return middle.x, middle.y


def _cross() -> list[shapely.LineString]:
    x, y = _CROSS_MM
    return [
        shapely.LineString([(x - 10.0, y), (x + 10.0, y)]),
        shapely.LineString([(x, y - 10.0), (x, y + 10.0)]),
    ]


def _dot() -> shapely.Polygon:
    return shapely.Point(_DOT_MM).buffer(2.5, quad_segs=6)


def _places() -> list[FloatArray]:
    """Where the sheets' boards lie and how they are turned: x, y in mm and radians, by hand."""
    sheet = printed_frame(1).sheets[0]
    wide, high = sheet.board_mm[0], sheet.paper_mm[3]
    x, y = 0.5 * _INSIDE_MM[0], 0.5 * _INSIDE_MM[1]
    beside = 0.5 * wide + _APART_MM
    # Middle of the upper edge of the paper, the turn, and what a hand adds to it.
    upper = (
        (-beside, -y, 0.0, 1.5),
        (beside, -y - _STEP_MM, 0.0, -2.0),
        (x, 0.0, 90.0, 1.0),
        (beside, y, 180.0, -1.5),
        (-beside, y + _STEP_MM, 180.0, 2.5),
        (-x, 0.0, -90.0, -2.0),
    )
    places = []
    for at_x, at_y, turn_deg, slip_deg in upper:
        turn = math.radians(turn_deg + slip_deg)
        corner = np.array([-0.5 * wide, -high]) @ _turned(turn)
        places.append(np.array([at_x + corner[0], at_y + corner[1], turn]))
    return places


def _black(sheet: Sheet) -> list[FloatArray]:
    """The black of a board as loops, touching cells as one."""
    cells = [shapely.box(x, y, x + w, y + h) for x, y, w, h in black_cells(sheet.number)]
    joined = shapely.get_parts(shapely.union_all(shapely.set_precision(cells, 1e-3)))
    return [np.asarray(ring.coords) for part in joined for ring in (part.exterior, *part.interiors)]


def _rules(sheet: Sheet) -> list[FloatArray]:
    """The strokes of the printed rules, along the sheet and across it."""
    right = sheet.board_mm[0]
    along = [_box(x - 0.7, -14.0, x + 0.7, -8.0) for x in np.arange(0.0, RULER_MM + 1.0, 10.0)]
    down = np.arange(0.0, RULER_ACROSS_MM + 1.0, 10.0)
    return [*along, *(_box(right - 6.0, -7.7 - y, right, -6.3 - y) for y in down)]


def _seen(
    picture: Picture,
    loops: list[FloatArray],
    place: FloatArray,
    *,
    fill: str,
    pen: str = "",
    within: shapely.Polygon,
) -> None:
    """Loops on something that lies at *place*, through the camera, cut off at its picture."""
    shown = []
    for loop in loops:
        laid = shapely.segmentize(shapely.Polygon(loop), 20.0)
        points = np.asarray(laid.exterior.coords) @ _turned(place[2]) + place[:2]
        seen = shapely.Polygon(_camera(points)).intersection(within)
        shown += [_loop(part) for part in shapely.get_parts(seen) if part.area > 0.0]
    picture.shape(shown, fill=fill, pen=pen, width=0.25)


def _camera(points: FloatArray) -> FloatArray:
    """(n, 2) mm of paper of places (n, 2) on the table: a tilted camera and its lens."""
    away = np.array([math.cos(_TOWARDS_RAD), math.sin(_TOWARDS_RAD), 0.0])
    sight = math.sin(_TILT_RAD) * -away - math.cos(_TILT_RAD) * np.array([0.0, 0.0, 1.0])
    across = np.cross(sight, np.array([0.0, 1.0, 0.0]))
    across /= np.linalg.norm(across)
    axes = np.stack([across, np.cross(sight, across), sight])
    table = np.column_stack((points - _AIM_MM, np.zeros(len(points))))
    x, y, depth = axes @ (table + _AWAY_MM * sight).T
    flat = np.column_stack((x, y)) / depth[:, None] @ _turned(_ROLL_RAD)
    bent = flat * (1.0 + _BARREL * np.sum(flat**2, axis=1, keepdims=True))
    left, top, right, bottom = _PHOTO
    middle = np.array([0.5 * (left + right), 0.5 * (top + bottom)])
    found: FloatArray = middle + _FOCAL * (right - left) * bent
    return found


def _turned(turn_rad: float) -> FloatArray:
    """(2, 2): what rows of points are multiplied by to turn them counter-clockwise."""
    cos, sin = math.cos(turn_rad), math.sin(turn_rad)
    return np.array([[cos, sin], [-sin, cos]])


def _box(x0: float, y0: float, x1: float, y1: float) -> FloatArray:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _loop(shape: shapely.Polygon) -> FloatArray:
    return np.asarray(shape.exterior.coords)


def _flat(points: FloatArray) -> FloatArray:
    placed: FloatArray = np.array(_FLAT_AT) + _SCALE * np.asarray(points) * [1.0, -1.0]
    return placed
