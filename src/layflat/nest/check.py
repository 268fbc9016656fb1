"""The independent check that every layout must pass: other geometry than the search's.

The search works on simplified outlines in the engine's single precision. The check takes the
patterns as they are, moves their own curves into place and measures with shapely (GEOS).
"""

from collections import Counter
from collections.abc import Sequence

import shapely
from shapely import Polygon

from layflat.base import CheckError
from layflat.nest.layout import Layout, Placement, Request
from layflat.nest.turns import turn_between
from layflat.pattern import Pattern, bounds, place, to_polygon

TOLERANCE_MM = 0.01
"""How much less than asked a gap or a margin may measure."""
_CHORD_MM = 0.001
_TURN_TOLERANCE_DEG = 1e-6
_NAMED = 5


def check_layout(layout: Layout) -> None:
    """Refuse a layout that is not what was asked for.

    Looked at: that pieces do not overlap and keep the gap, that they lie between the edge
    margins and the end margins of their own section, that sections follow each other without
    overlap and within the film used, and, where the layout knows its requests, that every copy
    is there once, in an allowed turn and mirrored as asked. Lengths may be off by
    `TOLERANCE_MM`.

    Raises:
        CheckError: something is wrong; the message names the pieces.
    """
    moved = [_moved(placement) for placement in layout.placements]
    faults = [
        *_section_faults(layout),
        *_margin_faults(layout, moved),
        *_gap_faults(layout, moved),
        *_request_faults(layout.requests, layout.placements),
    ]
    if faults:
        more = f"; and {len(faults) - _NAMED} more" if len(faults) > _NAMED else ""
        raise CheckError(f"The layout is refused: {'; '.join(faults[:_NAMED])}{more}.")


def _moved(placement: Placement) -> Pattern:
    return place(
        placement.pattern,
        turn_deg=placement.turn_deg,
        x_mm=placement.x_mm,
        y_mm=placement.y_mm,
        mirrored=placement.mirrored,
    )


def _called(placement: Placement) -> str:
    return f"piece {placement.number} “{placement.pattern.name}”"


def _section_faults(layout: Layout) -> list[str]:
    faults = []
    end = 0.0
    for i, section in enumerate(layout.sections):
        if section.start_mm < end - TOLERANCE_MM or section.end_mm < section.start_mm:
            faults.append(f"section {i + 1} begins before the one before it ends")
        end = section.end_mm
    if layout.length_mm < end - TOLERANCE_MM:
        faults.append(f"the sections end {end - layout.length_mm:.2f} mm beyond the film used")
    return faults


def _margin_faults(layout: Layout, moved: Sequence[Pattern]) -> list[str]:
    faults = []
    stock = layout.stock
    for placement, pattern in zip(layout.placements, moved, strict=True):
        if not 0 <= placement.section < len(layout.sections):
            faults.append(f"{_called(placement)} is in no section")
            continue
        section = layout.sections[placement.section]
        x0, y0, x1, y1 = bounds(pattern.outline)
        across = max(stock.edge_margin_mm - y0, y1 - (stock.width_mm - stock.edge_margin_mm))
        along = max(
            section.start_mm + stock.end_margin_mm - x0, x1 - section.end_mm + stock.end_margin_mm
        )
        if across > TOLERANCE_MM:
            faults.append(f"{_called(placement)} reaches {across:.2f} mm into an edge margin")
        if along > TOLERANCE_MM:
            faults.append(
                f"{_called(placement)} reaches {along:.2f} mm into an end margin of its section"
            )
    return faults


def _gap_faults(layout: Layout, moved: Sequence[Pattern]) -> list[str]:
    return [
        f"{_called(layout.placements[first])} and {_called(layout.placements[second])} "
        + ("overlap" if distance == 0 else f"are {distance:.2f} mm apart, not {layout.gap_mm:g} mm")
        for first, second, distance in too_near(moved, gap_mm=layout.gap_mm)
    ]


def too_near(patterns: Sequence[Pattern], *, gap_mm: float) -> list[tuple[int, int, float]]:
    """The pairs of patterns that are nearer than a gap, with their distance in mm.

    `TOLERANCE_MM` less than the gap is let pass; with a smaller gap than that, so is an overlap
    no deeper than what is left of the tolerance.
    """
    polygons = [to_polygon(pattern, deviation_mm=_CHORD_MM) for pattern in patterns]
    # Both outlines may lie beyond their chords.
    least = gap_mm - TOLERANCE_MM + 2 * _CHORD_MM
    tree = shapely.STRtree(polygons)
    pairs = tree.query(polygons, predicate="dwithin", distance=max(0.0, least)).T
    near = []
    for first, second in sorted((int(a), int(b)) for a, b in pairs if a < b):
        distance = float(shapely.distance(polygons[first], polygons[second]))
        deep = distance == 0 and _overlap(polygons[first], polygons[second], allowed=-least)
        if distance < least or deep:
            near.append((first, second, distance))
    return near


def _overlap(first: Polygon, second: Polygon, *, allowed: float) -> bool:
    """Whether two shapes reach deeper into each other than the tolerance leaves open."""
    if allowed <= 0:
        return bool(shapely.intersection(first, second).area > 0)
    return bool(first.buffer(-0.5 * allowed).intersects(second.buffer(-0.5 * allowed)))


def _request_faults(requests: Sequence[Request], placements: Sequence[Placement]) -> list[str]:
    if not requests:
        return []
    asked: Counter[tuple[int, bool]] = Counter()
    turns: dict[tuple[int, bool], list[tuple[float, ...] | None]] = {}
    names: dict[tuple[int, bool], str] = {}
    for request in requests:
        key = (id(request.pattern), request.mirrored)
        asked[key] += request.copies
        turns.setdefault(key, []).append(request.turns_deg)
        names[key] = request.pattern.name
    faults = []
    there: Counter[tuple[int, bool]] = Counter()
    for placement in placements:
        key = (id(placement.pattern), placement.mirrored)
        there[key] += 1
        if key not in asked:
            faults.append(f"{_called(placement)} was not asked for like this")
        elif not any(_is_allowed(placement.turn_deg, allowed) for allowed in turns[key]):
            faults.append(f"{_called(placement)} is turned by {placement.turn_deg:g}°")
    for key, count in asked.items():
        if there[key] != count:
            faults.append(f"“{names[key]}” is there {there[key]} times instead of {count}")
    numbers = [placement.number for placement in placements]
    if numbers != list(range(1, len(placements) + 1)):
        faults.append("the pieces are not numbered from 1 in cutting order")
    return faults


def _is_allowed(turn: float, allowed: tuple[float, ...] | None) -> bool:
    return allowed is None or any(
        abs(turn_between(turn, one)) <= _TURN_TOLERANCE_DEG for one in allowed
    )
