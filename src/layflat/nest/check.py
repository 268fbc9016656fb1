"""The independent check that every layout must pass: other geometry than the search's.

The search works on simplified outlines in the engine's single precision. The check takes the
patterns as they are, moves their own curves into place and measures with shapely (GEOS).
"""

from collections import Counter
from collections.abc import Sequence

import shapely
from shapely import Polygon

from layflat.base import CheckError
from layflat.nest.findings import Fault, Finding
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
    overlap, clear of the roll's faults and within the film used, and, where the layout knows
    its requests, that every copy is there once, in an allowed turn and mirrored as asked.
    Lengths may be off by `TOLERANCE_MM`.

    Raises:
        CheckError: something is wrong; the message names the pieces.
    """
    faults = [
        *(finding.sentence for finding in find_faults(layout)),
        *(finding.sentence for finding in find_misfits(layout.requests, layout.placements)),
        *_number_faults(layout),
    ]
    if faults:
        more = f"; and {len(faults) - _NAMED} more" if len(faults) > _NAMED else ""
        raise CheckError(f"The layout is refused: {'; '.join(faults[:_NAMED])}{more}.")


def find_faults(layout: Layout) -> list[Finding]:
    """What is wrong with how pieces and sections lie; see `check_layout`.

    Whether they are the pieces that were asked for is not looked at here.
    """
    moved = [_moved(placement) for placement in layout.placements]
    return [
        *_section_faults(layout),
        *_margin_faults(layout, moved),
        *_spoilt(layout, moved),
        *_gap_faults(layout, moved),
    ]


def _moved(placement: Placement) -> Pattern:
    return place(
        placement.pattern,
        turn_deg=placement.turn_deg,
        x_mm=placement.x_mm,
        y_mm=placement.y_mm,
        mirrored=placement.mirrored,
    )


def called(placement: Placement) -> str:
    """How sentences name a piece."""
    return f"piece {placement.number} “{placement.pattern.name}”"


def _section_faults(layout: Layout) -> list[Finding]:
    found = []
    end = 0.0
    for i, section in enumerate(layout.sections):
        if section.start_mm < end - TOLERANCE_MM or section.end_mm < section.start_mm:
            sentence = f"section {i + 1} begins before the one before it ends"
            found.append(Finding(fault=Fault.ORDER, sentence=sentence))
        end = section.end_mm
    if layout.length_mm < end - TOLERANCE_MM:
        beyond = end - layout.length_mm
        sentence = f"the sections end {beyond:.2f} mm beyond the film used"
        found.append(Finding(fault=Fault.ORDER, sentence=sentence, amount_mm=beyond))
    return found


def _margin_faults(layout: Layout, moved: Sequence[Pattern]) -> list[Finding]:
    found = []
    stock = layout.stock
    for i, (placement, pattern) in enumerate(zip(layout.placements, moved, strict=True)):
        if not 0 <= placement.section < len(layout.sections):
            sentence = f"{called(placement)} is in no section"
            found.append(Finding(fault=Fault.ORDER, sentence=sentence, pieces=(i,)))
            continue
        section = layout.sections[placement.section]
        x0, y0, x1, y1 = bounds(pattern.outline)
        across = max(stock.edge_margin_mm - y0, y1 - (stock.width_mm - stock.edge_margin_mm))
        along = max(
            section.start_mm + stock.end_margin_mm - x0, x1 - section.end_mm + stock.end_margin_mm
        )
        for fault, reach, where in (
            (Fault.EDGE, across, "an edge margin"),
            (Fault.END, along, "an end margin of its section"),
        ):
            if reach > TOLERANCE_MM:
                sentence = f"{called(placement)} reaches {reach:.2f} mm into {where}"
                found.append(Finding(fault=fault, sentence=sentence, pieces=(i,), amount_mm=reach))
    return found


def _spoilt(layout: Layout, moved: Sequence[Pattern]) -> list[Finding]:
    """What lies on a fault of the roll: pieces by their own boxes, and sections."""
    found = []
    boxes = [bounds(pattern.outline) for pattern in moved]
    for fault in layout.stock.faults:
        told = f"the fault “{fault.reason}” at {fault.start_mm:.0f} to {fault.end_mm:.0f} mm"
        for i, (x0, _, x1, _) in enumerate(boxes):
            if x0 < fault.end_mm - TOLERANCE_MM and x1 > fault.start_mm + TOLERANCE_MM:
                sentence = f"{called(layout.placements[i])} lies on {told}"
                found.append(Finding(fault=Fault.SPOILT, sentence=sentence, pieces=(i,)))
        for i, section in enumerate(layout.sections):
            if (
                section.start_mm < fault.end_mm - TOLERANCE_MM
                and section.end_mm > fault.start_mm + TOLERANCE_MM
            ):
                sentence = f"section {i + 1} lies on {told}"
                found.append(Finding(fault=Fault.SPOILT, sentence=sentence))
    return found


def _gap_faults(layout: Layout, moved: Sequence[Pattern]) -> list[Finding]:
    found = []
    for first, second, distance in too_near(moved, gap_mm=layout.gap_mm):
        told = (
            "overlap" if distance == 0 else f"are {distance:.2f} mm apart, not {layout.gap_mm:g} mm"
        )
        pair = f"{called(layout.placements[first])} and {called(layout.placements[second])}"
        found.append(
            Finding(
                fault=Fault.OVERLAP if distance == 0 else Fault.GAP,
                sentence=f"{pair} {told}",
                pieces=(first, second),
                amount_mm=distance,
                at_mm=_shown_at(moved[first], moved[second]),
            )
        )
    return found


def _shown_at(first: Pattern, second: Pattern) -> tuple[tuple[float, float], ...]:
    """A point where two shapes overlap, or the nearest points of both."""
    first_shape, second_shape = (to_polygon(one, deviation_mm=_CHORD_MM) for one in (first, second))
    common = first_shape.intersection(second_shape)
    shown = (
        shapely.shortest_line(first_shape, second_shape)
        if common.is_empty
        else shapely.point_on_surface(common)
    )
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(shown))


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


def find_misfits(requests: Sequence[Request], placements: Sequence[Placement]) -> list[Finding]:
    """What is wrong with which pieces lie there, and how they are turned; [] without requests."""
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
    found = []
    there: Counter[tuple[int, bool]] = Counter()
    for i, placement in enumerate(placements):
        key = (id(placement.pattern), placement.mirrored)
        there[key] += 1
        if key not in asked:
            sentence = f"{called(placement)} was not asked for like this"
            found.append(Finding(fault=Fault.PIECES, sentence=sentence, pieces=(i,)))
        elif not any(is_allowed(placement.turn_deg, allowed) for allowed in turns[key]):
            sentence = f"{called(placement)} is turned by {placement.turn_deg:g}°, which it may not"
            found.append(Finding(fault=Fault.TURN, sentence=sentence, pieces=(i,)))
    for key, count in asked.items():
        if there[key] != count:
            sentence = f"“{names[key]}” is there {there[key]} times instead of {count}"
            found.append(Finding(fault=Fault.PIECES, sentence=sentence))
    return found


def _number_faults(layout: Layout) -> list[str]:
    numbers = [placement.number for placement in layout.placements]
    if layout.requests and numbers != list(range(1, len(numbers) + 1)):
        return ["the pieces are not numbered from 1 in cutting order"]
    return []


def is_allowed(turn: float, allowed: tuple[float, ...] | None) -> bool:
    """Whether a turn is one of those that are allowed; any is where they are None."""
    return allowed is None or any(
        abs(turn_between(turn, one)) <= _TURN_TOLERANCE_DEG for one in allowed
    )
