"""Pictures of patterns and layouts, and the strain map with its legend, as SVG."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from layflat.base import FloatArray
from layflat.film import Film, Flat
from layflat.fit import FingerZone
from layflat.nest import Layout, Placement
from layflat.papers.canvas import Canvas, Frame, Pen, hatch
from layflat.papers.finger_marks import CutMark, draw_cuts, draw_fingers
from layflat.papers.labels import Ground, draw_labels, free_spot, place_labels
from layflat.papers.look import DASHES, GROUND, INK, PAPER, PENCIL, strain_hex
from layflat.papers.rule import HEIGHT_MM, draw_rule
from layflat.papers.strain import StrainSummary, summarise
from layflat.papers.strain_map import scale_position, strain_png
from layflat.pattern import Pattern, bounds, coarse_polygon, place
from layflat.surface import Region

_MM_PER_PT = 25.4 / 72.0
_OUTLINE = Pen(INK, 0.4)
_FINE = Pen(INK, 0.2)
_HATCH = Pen(PENCIL, 0.12)


def pattern_picture(pattern: Pattern, *, width_mm: float = 80.0, height_mm: float = 50.0) -> str:
    """A piece's flat shape with its cut-outs, as large as the place allows."""
    canvas = Canvas(width_mm, height_mm)
    frame = Frame.fit(
        bounds(pattern.outline),
        width_mm=width_mm - 2,
        height_mm=height_mm - 2,
        x_mm=1,
        y_mm=1,
        may_turn=True,
    )
    _draw_piece(canvas, _on_paper(pattern, frame), fill=GROUND)
    return canvas.svg()


def layout_height_mm(layout: Layout, *, width_mm: float, section: int | None = None) -> float:
    """How high a layout's picture must be to be *width_mm* wide."""
    start, end = _span(layout, section)
    return (width_mm - 2) * layout.stock.width_mm / (end - start) + HEIGHT_MM + 9.0


def _span(layout: Layout, section: int | None) -> tuple[float, float]:
    if section is None:
        return 0.0, layout.length_mm
    part = layout.sections[section]
    return part.start_mm, part.end_mm


def layout_picture(
    layout: Layout,
    *,
    width_mm: float = 265.0,
    height_mm: float = 90.0,
    section: int | None = None,
    number_pt: tuple[float, float] = (11.0, 30.0),
    called: Mapping[int, str] | None = None,
) -> str:
    """A layout on its roll, to scale: pieces numbered, waste hatched, sections marked.

    Args:
        layout: what to draw.
        width_mm: of the picture.
        height_mm: of the picture.
        section: draw one section only, by its index; None draws the whole roll.
        number_pt: least and greatest size of the piece numbers.
        called: what stands on pieces instead of their numbers.
    """
    canvas = Canvas(width_mm, height_mm)
    start, end = _span(layout, section)
    shown: Sequence[Placement] = layout.placements
    if section is not None:
        shown = [item for item in layout.placements if item.section == section]
    width = layout.stock.width_mm
    frame = Frame.fit(
        (start, 0.0, end, width),
        width_mm=width_mm - 2,
        height_mm=height_mm - HEIGHT_MM - 9.0,
        x_mm=1,
        y_mm=6.5,
    )
    pieces = [_on_paper(_placed(item), frame) for item in shown]
    film = shapely.box(*_corners(frame, start, end, 0.0, width))
    waste = film.difference(shapely.union_all(pieces))
    margin = layout.stock.edge_margin_mm
    canvas.lines(hatch(waste, spacing_mm=1.5, angle_deg=45), pen=_HATCH)
    for y in (margin, width - margin):
        ends = frame.on_paper([(start, y), (end, y)])
        canvas.lines([ends], pen=Pen(PENCIL, 0.15, (1.5, 1.0)))
    canvas.loops([_ring(film)], pen=Pen(INK, 0.3))
    for piece in pieces:
        _draw_piece(canvas, piece, fill=PAPER)
    for index, part in enumerate(layout.sections):
        if section is None:
            _draw_section(canvas, frame, index, (part.start_mm, part.end_mm), width)
    names = [(called or {}).get(item.number, str(item.number)) for item in shown]
    _draw_numbers(canvas, names, pieces, waste, sizes_pt=number_pt)
    bottom = frame.on_paper([(start, 0.0)])[0]
    draw_rule(
        canvas,
        x=float(bottom[0]),
        y=float(bottom[1]) + 1.8,
        most_mm=110,
        scale=frame.scale,
        size_pt=number_pt[0],
    )
    return canvas.svg()


def strain_sheet_picture(
    flat: Flat,
    *,
    pattern: Pattern | None = None,
    region: Region | None = None,
    free: Sequence[tuple[str, FloatArray]] = (),
    zones: Sequence[FingerZone] = (),
    cuts: Sequence[CutMark] = (),
    width_mm: float = 178.0,
    height_mm: float = 104.0,
) -> str:
    """The strain map with outline, edges by kind, marked places, fingers, rule and legend.

    Args:
        flat: the flattened region.
        pattern: its pattern, in the same coordinates; its outline is drawn over the map.
        region: the region that *flat* came from; its edges are drawn by their kind.
        free: places left free of film: names with rims (k, 2) in the coordinates of *flat*.
        zones: of fingers, in the order of their numbers.
        cuts: proposed from the edge inward.
        width_mm: of the picture.
        height_mm: of the picture.
    """
    canvas = Canvas(width_mm, height_mm)
    summary = summarise(flat)
    map_height = height_mm - HEIGHT_MM - 16.5
    box = bounds(pattern.outline) if pattern else _box(flat.points_mm)
    wider = _box(np.vstack((flat.points_mm, np.reshape(box, (2, 2)))))
    frame = Frame.fit(
        wider, width_mm=width_mm - 4, height_mm=map_height - 4, x_mm=2, y_mm=2, may_turn=True
    )
    canvas.picture(
        strain_png(flat, frame=frame, width_mm=width_mm, height_mm=map_height),
        0,
        0,
        width_mm,
        map_height,
    )
    piece = _on_paper(pattern, frame) if pattern else None
    if piece is not None:
        canvas.loops([_ring(piece)], pen=_FINE)
        for hole in piece.interiors:
            ring = shapely.get_coordinates(hole)
            canvas.loops([ring], fill=PAPER, pen=Pen(INK, 0.35))
    if region is not None:
        _draw_edges(canvas, flat, region, frame)
    film = piece or shapely.union_all(
        shapely.polygons(frame.on_paper(flat.points_mm)[flat.mesh.faces])
    )
    ground = Ground(width_mm=width_mm, height_mm=map_height, film=film.simplify(0.1))
    marked = draw_fingers(canvas, flat, zones, frame, ground=ground)
    marked += draw_cuts(canvas, cuts, frame, ground=ground, taken=marked)
    _draw_words(canvas, summary, frame, ground, free, marked)
    draw_rule(canvas, x=1, y=map_height + 1.5, most_mm=width_mm - 2, scale=frame.scale)
    _draw_legend(canvas, flat.film, y=map_height + HEIGHT_MM + 3.0, width_mm=width_mm)
    return canvas.svg()


def _placed(item: Placement) -> Pattern:
    return place(
        item.pattern,
        turn_deg=item.turn_deg,
        x_mm=item.x_mm,
        y_mm=item.y_mm,
        mirrored=item.mirrored,
    )


def _on_paper(pattern: Pattern, frame: Frame) -> Polygon:
    shape = coarse_polygon(pattern, deviation_mm=0.05 / frame.scale)
    return shapely.transform(shape, frame.on_paper)


def _ring(shape: Polygon) -> FloatArray:
    ring: FloatArray = shapely.get_coordinates(shape.exterior)[:-1]
    return ring


def _box(points: FloatArray) -> tuple[float, float, float, float]:
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _corners(
    frame: Frame, x0: float, x1: float, y0: float, y1: float
) -> tuple[float, float, float, float]:
    return _box(frame.on_paper([(x0, y0), (x1, y1)]))


def _draw_piece(canvas: Canvas, piece: Polygon, *, fill: str) -> None:
    holes = [shapely.get_coordinates(hole)[:-1] for hole in piece.interiors]
    canvas.loops([_ring(piece), *holes], fill=fill, pen=_OUTLINE)
    for hole in piece.interiors:
        area = Polygon(hole)
        strokes = [
            *hatch(area, spacing_mm=0.9, angle_deg=45),
            *hatch(area, spacing_mm=0.9, angle_deg=-45),
        ]
        canvas.lines(strokes, pen=Pen(INK, 0.12))


def _draw_section(
    canvas: Canvas, frame: Frame, index: int, span: tuple[float, float], width: float
) -> None:
    start, end = frame.on_paper([(span[0], width), (span[1], width)])
    foot = frame.on_paper([(span[1], 0.0)])[0]
    canvas.lines([[(end[0], end[1] - 5.5), foot]], pen=Pen(INK, 0.55, (2.4, 1.0)))
    short = end[0] - start[0] < 18.0
    name = f"{index + 1}" if short else f"Section {index + 1}"
    middle = (start[0] + end[0]) / 2
    canvas.text(middle, start[1] - 1.6, name, size_pt=11, bold=True, anchor="middle")


def _draw_numbers(
    canvas: Canvas,
    numbers: Sequence[str],
    pieces: Sequence[Polygon],
    waste: BaseGeometry,
    *,
    sizes_pt: tuple[float, float],
) -> None:
    """Numbers inside their pieces; beside it in the waste, with a line, where one is too small."""
    free = waste
    least, most = sizes_pt
    for number, piece in zip(numbers, pieces, strict=True):
        centre = shapely.maximum_inscribed_circle(piece)
        middle, room = Point(centre.coords[0]), float(centre.length)
        size = float(np.clip(room / (_MM_PER_PT * (0.45 + 0.28 * len(number))), least, most))
        radius = 0.5 * _MM_PER_PT * size * (0.75 + 0.5 * len(number))
        if radius > room + 0.4:
            spots = free.buffer(-radius - 0.3)
            if not spots.is_empty:
                spot = nearest_points(spots, middle)[0]
                canvas.lines([[middle.coords[0], spot.coords[0]]], pen=_FINE)
                middle = spot
                free = free.difference(spot.buffer(radius + 0.3))
            canvas.circle(middle.x, middle.y, radius, fill=PAPER, pen=_FINE)
        rise = 0.335 * size * _MM_PER_PT
        canvas.text(middle.x, middle.y + rise, number, size_pt=size, bold=True, anchor="middle")


def _draw_edges(canvas: Canvas, flat: Flat, region: Region, frame: Frame) -> None:
    points = frame.on_paper(flat.points_mm)
    for loop in region.loops:
        following = np.roll(loop.vertices, -1)
        for index, edge in enumerate(loop.edges):
            own = loop.edge_of == index
            segments = np.stack((points[loop.vertices[own]], points[following[own]]), axis=1)
            merged = shapely.line_merge(shapely.union_all(shapely.linestrings(segments)))
            lines = [shapely.get_coordinates(part) for part in shapely.get_parts(merged)]
            canvas.lines(lines, pen=Pen(INK, 0.8, DASHES[edge.kind]))


def _draw_words(
    canvas: Canvas,
    summary: StrainSummary,
    frame: Frame,
    ground: Ground,
    free: Sequence[tuple[str, FloatArray]],
    marked: Sequence[BaseGeometry],
) -> None:
    """The names of places left free; A and B, where the film is stretched and compressed most."""
    places = [
        ("A", f"+{100 * summary.stretch:.1f} %", summary.stretch_at_mm),
        ("B", f"−{100 * summary.compression:.1f} %", summary.compression_at_mm),
    ]
    dots = [Point(frame.on_paper(at)[0]).buffer(1.1) for _, _, at in places]
    things = [(name, Polygon(frame.on_paper(rim)).convex_hull) for name, rim in free]
    labels = place_labels(things, ground=ground, taken=[*dots, *marked])
    draw_labels(canvas, labels)
    taken: list[BaseGeometry] = [*marked, *(shape for _, shape in things)]
    taken += [shape for label in labels for shape in label.shapes]
    for (letter, text, _), dot in zip(places, dots, strict=True):
        others = [*taken, *(item for item in dots if item is not dot)]
        spot, line = free_spot(dot, 25.0, 6.0, ground=ground, blocked=others)
        x, y = dot.centroid.x, dot.centroid.y
        ends = [(x, y), line.coords[1]]
        canvas.lines([ends], pen=Pen(PAPER, 1.0))
        canvas.lines([ends], pen=_FINE)
        canvas.circle(x, y, 1.1, fill=PAPER, pen=Pen(INK, 0.4))
        canvas.circle(x, y, 0.35, fill=INK)
        left, top, right, _ = spot.bounds
        canvas.loops([_ring(spot)], fill=PAPER, pen=_FINE)
        canvas.text(left + 1.4, top + 4.5, letter, size_pt=12, bold=True)
        canvas.text(right - 1.4, top + 4.4, text, size_pt=11, anchor="end")
        taken += [spot.buffer(0.4), line.buffer(0.3)]


def _draw_legend(canvas: Canvas, film: Film, *, y: float, width_mm: float) -> None:
    left, right, steps, high = 32.0, width_mm - 32.0, 120, 4.5
    each = (right - left) / steps
    for i in range(steps):
        x = left + i * each
        cell = [(x, y), (x + each + 0.05, y), (x + each + 0.05, y + high), (x, y + high)]
        canvas.loops([cell], fill=strain_hex(2.0 * (i + 0.5) / steps - 1.0))
    frame = [(left, y), (right, y), (right, y + high), (left, y + high)]

    def at(strain: float) -> float:
        return left + (right - left) * 0.5 * (1.0 + scale_position(strain, film))

    beyond_finger = shapely.box(left, y, at(-film.finger_limit), y + high)
    beyond_stretch = shapely.box(at(film.stretch_limit), y, right, y + high)
    canvas.lines(hatch(beyond_finger, spacing_mm=1.8, angle_deg=-45), pen=Pen(PAPER, 0.26))
    canvas.lines(hatch(beyond_stretch, spacing_mm=1.8, angle_deg=45), pen=Pen(PAPER, 0.26))
    canvas.loops([frame], pen=Pen(INK, 0.25))
    canvas.text(left - 2, y + 3.6, "compressed", size_pt=10, anchor="end")
    canvas.text(right + 2, y + 3.6, "stretched", size_pt=10)
    for strain, word, dash in (
        (-film.finger_limit, "finger limit −", (1.2, 0.6)),
        (0.0, "", ()),
        (film.stretch_limit, "stretch limit +", ()),
    ):
        x = at(strain)
        width = 0.2 if strain == 0 else 0.5
        canvas.lines([[(x, y - 0.6), (x, y + high + 1.2)]], pen=Pen(INK, width, dash))
        text = f"{word}{100 * abs(strain):g} %" if word else "as on the roll"
        canvas.text(x, y + high + 4.6, text, size_pt=9.5, anchor="middle")
    ends = (
        (left - 2, "−", film.finger_limit, "end"),
        (right + 2, "+", film.stretch_limit, "start"),
    )
    for x, sign, limit, anchor in ends:
        text = f"{sign}{200 * limit:g} % and more"
        canvas.text(x, y + high + 4.6, text, size_pt=9.5, colour=PENCIL, anchor=anchor)


def edge_key(kind_dashes: Sequence[float], *, width_mm: float = 14.0) -> str:
    """A stroke of an edge's line style, for a key or a table."""
    canvas = Canvas(width_mm, 2.4)
    canvas.lines([[(0.3, 1.2), (width_mm - 0.3, 1.2)]], pen=Pen(INK, 0.6, kind_dashes))
    return canvas.svg()
