"""Which of the lines is the outline and which are cut-outs; or why none can be told."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from shapely import Point, Polygon

from layflat.base import FloatArray
from layflat.photo.candidates import Candidate
from layflat.photo.records import PhotoError
from layflat.photo.working import Working

Follow: TypeAlias = Literal["auto", "line", "edge"]
"""What the template is: a pen line on a sheet, or the sheet's own edge; or to be judged."""

LEAST_ACROSS_MM = 30.0
"""A smaller closed line is no template."""
LEAST_CUT_OUT_MM = 5.0
_LEAST_OPEN_MM = 60.0
_SEARCHED_MM = 9.0
_LIKE = 0.4
_NESTED = 0.75
_LINE_SHARE = 0.25
_RIM_MM = 6.0
_STRAY_MM = 15.0
_SAID_MM = 12.0


@dataclass(frozen=True, eq=False)
class Chosen:
    """The outline, its cut-outs, and what was left aside."""

    outline: Candidate
    cut_outs: tuple[Candidate, ...]
    rest: tuple[Candidate, ...]
    notes: tuple[str, ...]


def choose(
    lines: list[Candidate],
    edges: list[Candidate],
    picture: Working,
    *,
    follow: Follow,
    said: FloatArray | None = None,
) -> Chosen:
    """The outline and the cut-outs among what was found.

    Args:
        lines, edges: what was found.
        picture: where.
        follow: which of the two is the outline.
        said: a point (2,) in mm by the line of which a person said that it is the outline.

    Raises:
        PhotoError: nothing closed was found, the line is open or runs out of what is seen, or
            two lines are equally likely.
    """
    notes: list[str] = []
    pool, kind = _pool(lines, edges, follow, notes)
    loops = sorted((c for c in pool if _is_loop(c)), key=lambda c: -c.area_mm2)
    if said is not None:
        outline = _nearest(loops, said, kind)
        _refuse_crossed(outline, kind)
        return _with_cut_outs(outline, loops, lines, edges, kind, notes)
    if not loops or _open_is_greater(pool, loops[0]):
        raise _open(pool, picture, kind)
    outline = loops[0]
    _refuse_crossed(outline, kind)
    _refuse_second(outline, loops[1:], kind)
    return _with_cut_outs(outline, loops, lines, edges, kind, notes)


def _nearest(loops: list[Candidate], said: FloatArray, kind: str) -> Candidate:
    """The closed line by which a person pointed."""
    away = [float(np.min(np.hypot(*(c.chain.at_mm - said).T))) for c in loops]
    if not away or min(away) > _SAID_MM:
        raise PhotoError(
            f"There is no closed {kind} at {_place(said)}, where the outline should be; tap on the "
            "line itself, or take that back."
        ).about(said)
    return loops[int(np.argmin(away))]


def _with_cut_outs(
    outline: Candidate,
    loops: list[Candidate],
    lines: list[Candidate],
    edges: list[Candidate],
    kind: str,
    notes: list[str],
) -> Chosen:
    """The outline with the closed lines that lie in it."""
    within = outline.polygon.buffer(-1.0)
    cut_outs = [c for c in loops if c is not outline and within.contains(c.polygon)]
    if kind == "edge":
        cut_outs += _lines_inside(lines, cut_outs, within)
    cut_outs = _outermost(cut_outs)
    taken = {id(outline), *(id(c) for c in cut_outs)}
    rest = tuple(c for c in (*lines, *edges) if id(c) not in taken)
    notes += _left_out(outline, [c for c in rest if c.model == "line"], cut_outs)
    return Chosen(outline, tuple(cut_outs), rest, tuple(notes))


def _pool(
    lines: list[Candidate],
    edges: list[Candidate],
    follow: Follow,
    notes: list[str],
) -> tuple[list[Candidate], str]:
    """The candidates of the kind that is followed, and its word."""
    if follow == "line":
        return lines, "line"
    if follow == "edge":
        return edges, "edge"
    line_area = max((c.area_mm2 for c in lines if _is_loop(c)), default=0.0)
    edge_area = max((c.area_mm2 for c in edges if _is_loop(c)), default=0.0)
    drawn = sum(
        c.chain.length_mm
        for c in lines
        if not c.chain.closed and c.chain.length_mm >= _LEAST_OPEN_MM
    )
    if line_area >= max(_LINE_SHARE * edge_area, 1.0):
        notes.append("The outline was taken from the pen line, not from the sheet's edge.")
        return lines, "line"
    if edge_area and drawn > np.sqrt(edge_area):
        return lines, "line"
    if edge_area and drawn:
        raise PhotoError(
            "There is a pen line that does not close, on a sheet whose edge does; say which of the "
            "two is the outline."
        )
    if edge_area:
        notes.append("The outline was taken from the sheet's own edge, since no pen line closes.")
        return edges, "edge"
    return (lines, "line") if drawn or not edges else (edges, "edge")


def _is_loop(candidate: Candidate) -> bool:
    if not candidate.chain.closed or len(candidate.chain.at_mm) < 8:
        return False
    x0, y0, x1, y1 = candidate.polygon.bounds
    return bool(min(x1 - x0, y1 - y0) >= LEAST_CUT_OUT_MM)


def _open_is_greater(pool: list[Candidate], loop: Candidate) -> bool:
    """Whether an open line goes round, or nearly, what is greater than the greatest loop."""
    x0, y0, x1, y1 = loop.polygon.bounds
    if min(x1 - x0, y1 - y0) < LEAST_ACROSS_MM:
        return True
    for candidate in pool:
        if candidate.chain.closed or candidate.chain.length_mm < _LEAST_OPEN_MM:
            continue
        ends = candidate.gap()
        gap = float(np.hypot(*(ends[0] - ends[1])))
        if gap > 0.3 * candidate.chain.length_mm:
            continue
        if Polygon(candidate.chain.at_mm).buffer(0).area > loop.area_mm2:
            return True
    return False


def _open(pool: list[Candidate], picture: Working, kind: str) -> PhotoError:
    """Why there is no closed line."""
    long = [c for c in pool if not c.chain.closed and c.chain.length_mm >= _LEAST_OPEN_MM]
    if not long:
        what = "traced line" if kind == "line" else "sheet's edge"
        return PhotoError(
            f"No {what} was found inside the frame; draw it with a dark marker 1 to 2 mm wide on "
            "plain light paper (or cut the sheet and lay it on a table of another tone), and see "
            "that the light does not bleach it."
        )
    main = long[0]
    ends = np.array(main.gap())
    out = picture.near_rim(ends, within_mm=_RIM_MM)
    if out.any():
        at = ends[int(np.argmax(out))]
        return PhotoError(
            f"The {kind} runs out of the frame, out of the picture or under a printed sheet at "
            f"{_place(at)}; move the sheet or the frame so that the whole {kind} lies inside."
        ).about(at)
    one, gap, two = _next_end(main, long)
    pieces = "" if len(long) == 1 else f" ({len(long)} long pieces of it were found)"
    return PhotoError(
        f"The {kind} is open by {gap:.0f} mm between {_place(one)} and {_place(two)}{pieces}; "
        "close it with the marker, or put points along the missing stretch."
    ).about(one, two)


def _next_end(main: Candidate, long: list[Candidate]) -> tuple[FloatArray, float, FloatArray]:
    """The end of a line and the end of a line that is nearest to it, with the gap."""
    best: tuple[float, FloatArray, FloatArray] | None = None
    for which, one in enumerate(main.gap()):
        for other in long:
            for end, two in enumerate(other.gap()):
                if other is main and end == which:
                    continue
                gap = float(np.hypot(*(one - two)))
                if best is None or gap < best[0]:
                    best = (gap, one, two)
    assert best is not None
    return best[1], best[0], best[2]


def _place(at: FloatArray) -> str:
    return f"({at[0]:.0f}, {at[1]:.0f}) mm"


def _refuse_crossed(outline: Candidate, kind: str) -> None:
    polygon = outline.polygon
    if polygon.is_valid:
        return
    sound = polygon.buffer(0)
    if sound.area < 0.98 * polygon.convex_hull.area and sound.geom_type != "Polygon":
        raise PhotoError(
            f"The {kind} crosses itself, so that it goes round two places; draw the outline as "
            "one line that does not cross itself."
        )


def _refuse_second(outline: Candidate, others: list[Candidate], kind: str) -> None:
    whole = outline.polygon.buffer(0)
    for other in others:
        share = other.area_mm2 / outline.area_mm2
        if share < _LIKE:
            break
        at = _place(np.array(other.polygon.centroid.coords[0]))
        if share > _NESTED and whole.intersects(other.polygon.buffer(0)):
            raise PhotoError(
                f"Two {kind}s run beside each other all the way round, so that it is not clear "
                f"which is the outline; say which one is no line of the template, or draw it anew."
            ).about(outline.chain.at_mm[0], other.chain.at_mm[0])
        if not whole.contains(other.polygon.buffer(0)):
            raise PhotoError(
                f"There are two outlines of like size, one of them about {at}; photograph one "
                "template at a time, or say which is no line of this one."
            ).about(outline.chain.at_mm[0], other.chain.at_mm[0])


def _lines_inside(
    lines: list[Candidate], found: list[Candidate], within: Polygon
) -> list[Candidate]:
    """Closed pen lines on a sheet whose edge is the outline, but for those round the same hole."""
    return [
        c
        for c in lines
        if _is_loop(c)
        and within.contains(c.polygon)
        and not any(c.polygon.distance(other.polygon.exterior) < 3.0 for other in found)
    ]


def _left_out(outline: Candidate, rest: list[Candidate], cut_outs: list[Candidate]) -> list[str]:
    """A note on lines that are neither the outline nor a cut-out, if there are any in it."""
    whole = outline.polygon.buffer(0)
    fallen = [c.polygon.buffer(0) for c in cut_outs]
    found = []
    for candidate in rest:
        middle = Point(candidate.chain.at_mm[len(candidate.chain.at_mm) // 2])
        inside = whole.contains(middle) and not any(hole.contains(middle) for hole in fallen)
        if candidate.chain.length_mm >= _STRAY_MM and inside:
            found.append(candidate)
    if not found:
        return []
    longest = max(found, key=lambda c: c.chain.length_mm)
    at = _place(longest.chain.at_mm[len(longest.chain.at_mm) // 2])
    what = (
        "A line inside the outline was"
        if len(found) == 1
        else (f"{len(found)} lines inside the outline were")
    )
    why = "it does" if len(found) == 1 else "they do"
    long = f"the longest is {longest.chain.length_mm:.0f} mm long, about {at}"
    return [f"{what} left out, since {why} not close: {long}."]


def _outermost(loops: list[Candidate]) -> list[Candidate]:
    """Loops that lie in no other one: what lies inside a cut-out falls out with it."""
    kept: list[Candidate] = []
    for candidate in sorted(loops, key=lambda c: -c.area_mm2):
        middle = Point(candidate.chain.at_mm[0])
        if not any(other.polygon.contains(middle) for other in kept):
            kept.append(candidate)
    return kept
