"""From the strokes and words of a file to checked patterns.

Every reader collects a `Sketch`; `assemble` joins its strokes, checks the loops as geometry
and puts holes, marks and names to their pieces. What is mended is said, what is unsure is asked,
and what makes no sense is refused with its place.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import shapely
from shapely import LinearRing, Polygon, STRtree

from layflat.base import DrawingError, counted
from layflat.pattern.curve import curve_area_mm2, reverse, sample
from layflat.pattern.drawing import Drawing, Layer
from layflat.pattern.loops import ClosedLoop, place_of
from layflat.pattern.mend_doubles import SAME_LINE_MM
from layflat.pattern.mend_loops import close_loops
from layflat.pattern.mend_parts import (
    apart_mm,
    without_doubled_loops,
    without_dust,
    without_small,
)
from layflat.pattern.mend_record import Findings
from layflat.pattern.owners import marks_of, patterns_of
from layflat.pattern.sketch import Part, Sketch

_CHECK_DEVIATION_MM = 0.005
_LEAST_AREA_MM2 = 0.01
_MOST_LOOPS = 20_000
_MOST_NESTED = 32
_MOST_TEXTS = 10_000
_MOST_LETTERS = 1_000


def assemble(sketch: Sketch, *, findings: Findings, join_mm: float, close_mm: float) -> Drawing:
    """A checked drawing from what a reader found.

    Args:
        sketch: strokes, words and points in mm.
        findings: told of what was mended, asked what is unsure.
        join_mm: line ends no farther apart than this are one point.
        close_mm: gaps up to this are closed where there is no doubt.

    Raises:
        DrawingError: a loop crosses or touches itself, has no area, lies across another; a hole
            lies in no piece; or there is no piece at all.
    """
    where = findings.where
    _check_texts(sketch, where)

    def parts_of(layer: str) -> list[Part]:
        return _parts(sketch, layer, findings=findings, join_mm=join_mm, close_mm=close_mm)

    def single_parts_of(layer: Layer) -> list[Part]:
        return without_doubled_loops(parts_of(layer), layer, findings)

    if sketch.strokes.get(Layer.OUTLINE):
        outlines, holes = single_parts_of(Layer.OUTLINE), single_parts_of(Layer.CUTOUT)
        _note_other_layers(sketch, findings.notes)
    else:
        outlines, holes = _parts_by_nesting(sketch, parts_of, findings)
    _refuse_doubles(outlines, holes, where)
    outlines = without_small(outlines, findings)
    _refuse_overlaps(outlines, holes, where)
    stock = single_parts_of(Layer.STOCK)
    marks, texts = marks_of(sketch)
    patterns, marks, texts = patterns_of(outlines, marks, texts, findings.notes)
    return Drawing(
        patterns=patterns,
        stock=tuple(part.loop.curve for part in stock),
        marks=tuple(marks),
        texts=tuple(texts),
        notes=(*(item.sentence for item in findings.told), *findings.notes),
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
    sketch: Sketch, layer: str, *, findings: Findings, join_mm: float, close_mm: float
) -> list[Part]:
    """The closed loops of a layer, each checked by itself and turned counter-clockwise."""
    loops = close_loops(
        sketch.strokes.get(layer, []),
        layer=layer,
        join_mm=join_mm,
        close_mm=close_mm,
        findings=findings,
    )
    if len(loops) > _MOST_LOOPS:
        raise DrawingError(f"{findings.where}: layer {layer} holds more than {_MOST_LOOPS} loops.")
    loops = without_dust(loops, layer, findings)
    return [_checked(loop, layer=layer, where=findings.where) for loop in loops]


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
    sketch: Sketch, parts_of: Callable[[str], list[Part]], findings: Findings
) -> tuple[list[Part], list[Part]]:
    """Outlines and holes of a drawing without our layers, told apart by how they nest."""
    known = set(Layer)
    layers = [name for name in sketch.strokes if name not in known]
    found = [part for name in layers for part in parts_of(name)]
    if not found:
        raise DrawingError(
            f"{findings.where} holds no closed line on layer {Layer.OUTLINE}, nor on another layer "
            "that could be a piece; draw each piece as one closed loop."
        )
    found = without_doubled_loops(found, ", ".join(layers), findings)
    tree = STRtree([part.polygon for part in found])
    depth = []
    for part in found:
        around = len(tree.query(part.polygon, "within")) - 1
        if around > _MOST_NESTED:
            raise DrawingError(
                f"{findings.where}: more than {_MOST_NESTED} loops lie one in the other at "
                f"{place_of(part.loop.curve.points_mm[0])}; remove those that are no pieces."
            )
        depth.append(around)
    outlines = [part for i, part in enumerate(found) if depth[i] % 2 == 0]
    holes = [part for i, part in enumerate(found) if depth[i] % 2 == 1]
    taken = counted(len(outlines), "outermost loop was taken", "outermost loops were taken")
    inside = f", and {counted(len(holes), 'loop')} inside for cut-outs" if holes else ""
    findings.notes.append(
        f"There is no layer {Layer.OUTLINE}: of {'layer' if len(layers) == 1 else 'layers'} "
        f"{', '.join(layers)}, {taken} for pieces{inside}."
    )
    return outlines, holes


def _refuse_doubles(outlines: list[Part], holes: list[Part], where: str) -> None:
    """Refuse a cut-out that is the whole piece: nothing would be left of it."""
    tree = STRtree([part.polygon for part in outlines])
    for hole in holes:
        for i in tree.query(hole.polygon, "intersects").tolist():
            if apart_mm(hole, outlines[i]) <= SAME_LINE_MM:
                raise DrawingError(
                    f"{where}: a loop is drawn twice at {place_of(hole.loop.curve.points_mm[0])}, "
                    f"as a piece ({outlines[i].loop.source}) and as a cut-out "
                    f"({hole.loop.source}); remove one."
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
        for one, two in _touching(inner):
            raise DrawingError(
                f"{where}: the cut-outs {part.holes[one].loop.source} and "
                f"{part.holes[two].loop.source} touch or overlap; join them into one."
            )
    films = [Polygon(p.polygon.exterior, [h.polygon.exterior for h in p.holes]) for p in outlines]
    for one, two in _touching(films):
        if films[one].intersection(films[two]).area > _LEAST_AREA_MM2:
            at = films[one].intersection(films[two]).representative_point()
            raise DrawingError(
                f"{where}: the pieces {outlines[one].loop.source} and {outlines[two].loop.source} "
                f"overlap at {place_of(np.array([at.x, at.y]))}; move them apart."
            )


def _touching(polygons: list[Polygon]) -> Iterator[tuple[int, int]]:
    """Pairs of polygons that have a point in common, found one after the other."""
    if polygons:
        tree = STRtree(polygons)
        for one, polygon in enumerate(polygons):
            others = tree.query(polygon, "intersects")
            yield from ((one, int(two)) for two in np.sort(others) if two > one)
