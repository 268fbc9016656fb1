"""From the strokes and words of a file to checked patterns.

Every reader collects a `Sketch`; `assemble` joins its strokes, checks the loops as geometry
and puts holes, marks and names to their pieces. Nothing is mended without a note, and what
makes no sense is refused with its place.
"""

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import shapely
from shapely import LinearRing, Polygon, STRtree

from layflat.base import DrawingError
from layflat.pattern.curve import curve_area_mm2, reverse, sample
from layflat.pattern.drawing import Drawing, Layer
from layflat.pattern.loops import ClosedLoop, close_loops, place_of
from layflat.pattern.owners import marks_of, patterns_of
from layflat.pattern.sketch import Part, Sketch

_CHECK_DEVIATION_MM = 0.005
_LEAST_AREA_MM2 = 0.01
_MOST_LOOPS = 20_000
_MOST_TEXTS = 10_000
_MOST_LETTERS = 1_000
_SAME_PLACE_MM = 1e-6


def assemble(sketch: Sketch, *, where: str, join_mm: float) -> Drawing:
    """A checked drawing from what a reader found.

    Args:
        sketch: strokes, words and points in mm.
        where: the file's name, for messages.
        join_mm: line ends no farther apart than this are joined.

    Raises:
        DrawingError: a loop is open, crosses or touches itself, has no area, is drawn twice,
            lies across another; a hole lies in no piece; or there is no piece at all.
    """
    _check_texts(sketch, where)
    notes = list(sketch.notes)
    if sketch.strokes.get(Layer.OUTLINE):
        outlines = _parts(sketch, Layer.OUTLINE, where=where, join_mm=join_mm, notes=notes)
        holes = _parts(sketch, Layer.CUTOUT, where=where, join_mm=join_mm, notes=notes)
        _note_other_layers(sketch, notes)
    else:
        outlines, holes = _parts_by_nesting(sketch, where=where, join_mm=join_mm, notes=notes)
    _refuse_doubles(outlines + holes, where)
    _refuse_overlaps(outlines, holes, where)
    stock = _parts(sketch, Layer.STOCK, where=where, join_mm=join_mm, notes=notes)
    marks, texts = marks_of(sketch)
    patterns, marks, texts = patterns_of(outlines, marks, texts, notes)
    return Drawing(
        patterns=patterns,
        stock=tuple(part.loop.curve for part in stock),
        marks=tuple(marks),
        texts=tuple(texts),
        notes=tuple(notes),
    )


def _check_texts(sketch: Sketch, where: str) -> None:
    if len(sketch.texts) > _MOST_TEXTS:
        raise DrawingError(f"{where} holds more than {_MOST_TEXTS} texts; remove them.")
    for text in sketch.texts:
        if len(text.text) > _MOST_LETTERS:
            raise DrawingError(
                f"{where}: the text at {place_of(text.point_mm)} has {len(text.text)} letters; "
                f"at most {_MOST_LETTERS} are read."
            )


def _note_other_layers(sketch: Sketch, notes: list[str]) -> None:
    """Say which lines were left out, since the pieces stand on a layer of their own."""
    others = {name: len(lines) for name, lines in sketch.strokes.items() if name not in set(Layer)}
    if others:
        kinds = ", ".join(f"{count} on {name}" for name, count in others.items())
        notes.append(f"Lines on other layers than ours were left out: {kinds}.")


def _parts(
    sketch: Sketch, layer: str, *, where: str, join_mm: float, notes: list[str]
) -> list[Part]:
    """The closed loops of a layer, each checked by itself and turned counter-clockwise."""
    strokes = sketch.strokes.get(layer, [])
    loops = close_loops(strokes, layer=layer, join_mm=join_mm)
    if len(loops) > _MOST_LOOPS:
        raise DrawingError(f"{where}: layer {layer} holds more than {_MOST_LOOPS} loops.")
    joined = [loop for loop in loops if loop.widest_gap_mm > _SAME_PLACE_MM]
    if joined:
        widest = max(loop.widest_gap_mm for loop in joined)
        notes.append(
            f"Layer {layer}: gaps in {len(joined)} loop(s) were closed; the widest was "
            f"{widest:.3g} mm."
        )
    return [_checked(loop, layer=layer, where=where) for loop in loops]


def _checked(loop: ClosedLoop, *, layer: str, where: str) -> Part:
    """The loop with its polygon, if it is a simple closed curve."""
    curve = loop.curve
    lead = f"{where}, layer {layer}: the loop {loop.source}"
    points = curve.points_mm
    if len(points):
        points = sample(curve, deviation_mm=_CHECK_DEVIATION_MM)
    # A figure of eight may sum to no area, but it crosses itself: only thin loops enclose nothing.
    if len(points) < 3 or shapely.convex_hull(LinearRing(points)).area < _LEAST_AREA_MM2:
        at = f" at {place_of(curve.points_mm[0])}" if len(curve.points_mm) else ""
        raise DrawingError(f"{lead}{at} encloses no area; remove it or draw it closed.")
    polygon = Polygon(points)
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        place = re.search(r"\[(\S+) (\S+)\]", reason)
        at = place_of(np.array([float(place[1]), float(place[2])])) if place else "one place"
        raise DrawingError(f"{lead} crosses or touches itself at {at}; redraw it there.")
    if curve_area_mm2(curve) < 0:
        loop = replace(loop, curve=reverse(curve))
    return Part(loop, shapely.orient_polygons(polygon))


def _parts_by_nesting(
    sketch: Sketch, *, where: str, join_mm: float, notes: list[str]
) -> tuple[list[Part], list[Part]]:
    """Outlines and holes of a drawing without our layers, told apart by how they nest."""
    known = set(Layer)
    layers = [name for name in sketch.strokes if name not in known]
    found = [
        part
        for name in layers
        for part in _parts(sketch, name, where=where, join_mm=join_mm, notes=notes)
    ]
    if not found:
        raise DrawingError(
            f"{where} holds no closed line on layer {Layer.OUTLINE}, nor on another layer that "
            "could be a piece; draw each piece as one closed loop."
        )
    _refuse_doubles(found, where)
    tree = STRtree([part.polygon for part in found])
    depth = Counter(
        int(inner)
        for inner, outer in zip(*tree.query([p.polygon for p in found], "within"), strict=True)
        if inner != outer
    )
    outlines = [part for i, part in enumerate(found) if depth[i] % 2 == 0]
    holes = [part for i, part in enumerate(found) if depth[i] % 2 == 1]
    notes.append(
        f"There is no layer {Layer.OUTLINE}: the {len(outlines)} outermost loop(s) of layer(s) "
        f"{', '.join(layers)} were taken for pieces and the {len(holes)} inside them for cut-outs."
    )
    return outlines, holes


def _refuse_doubles(parts: list[Part], where: str) -> None:
    """Refuse a loop that is drawn twice: it would be cut twice."""
    polygons = [part.polygon for part in parts]
    tree = STRtree(polygons)
    for one, two in zip(*tree.query(polygons, "intersects"), strict=True):
        if one >= two:
            continue
        a, b = polygons[one], polygons[two]
        slack = 0.02 * min(a.length, b.length)
        if abs(a.area - b.area) <= slack and a.symmetric_difference(b).area <= slack:
            raise DrawingError(
                f"{where}: a loop is drawn twice at {place_of(np.array(a.exterior.coords[0]))} "
                f"({parts[one].loop.source} and {parts[two].loop.source}); remove one."
            )


def _refuse_overlaps(outlines: list[Part], holes: list[Part], where: str) -> None:
    """Put every hole to its piece; refuse holes and pieces that lie across each other."""
    tree = STRtree([part.polygon for part in outlines])
    for hole in holes:
        around = tree.query(hole.polygon, "covered_by")
        if not len(around):
            raise DrawingError(
                f"{where}: the cut-out {hole.loop.source} at "
                f"{place_of(hole.loop.curve.points_mm[0])} does not lie inside a piece."
            )
        owner = min(around, key=lambda i: (outlines[i].polygon.area, i))
        outlines[owner].holes.append(hole)
    for part in outlines:
        inner = [hole.polygon for hole in part.holes]
        pairs = zip(*STRtree(inner).query(inner, "intersects"), strict=True) if inner else ()
        for one, two in pairs:
            if one < two:
                raise DrawingError(
                    f"{where}: the cut-outs {part.holes[one].loop.source} and "
                    f"{part.holes[two].loop.source} touch or overlap; join them into one."
                )
    films = [Polygon(p.polygon.exterior, [h.polygon.exterior for h in p.holes]) for p in outlines]
    for one, two in zip(*STRtree(films).query(films, "intersects"), strict=True):
        if one < two and films[one].intersection(films[two]).area > _LEAST_AREA_MM2:
            at = films[one].intersection(films[two]).representative_point()
            raise DrawingError(
                f"{where}: the pieces {outlines[one].loop.source} and {outlines[two].loop.source} "
                f"overlap at {place_of(np.array([at.x, at.y]))}; move them apart."
            )
