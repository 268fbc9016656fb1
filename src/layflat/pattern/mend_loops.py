"""Closed loops from the strokes of a layer: what is clear is mended and said, the rest is asked.

In this order: strokes without length go; what chains into loops without doubt is left as it is;
in what remains, doubled lines go, dust goes, gaps are closed, and lines that lead nowhere and
contours that stay open are asked about.
"""

from dataclasses import replace

import numpy as np

from layflat.base import DrawingError, FloatArray, counted
from layflat.pattern.loops import ClosedLoop, Knots, Stroke, chain, knots_of, loop_of, place_of
from layflat.pattern.mend_doubles import without_doubles
from layflat.pattern.mend_gaps import close_gaps
from layflat.pattern.mend_record import REFUSE, Findings, were

DUST_MM = 0.5
"""What is smaller than this in length and height, and meets nothing, is dust."""

_SAME_POINT_MM = 1e-9
_CLOSED_SHARE = 0.05
"""An open contour whose ends are nearer than this share of its length was meant to be closed."""

_MOST_ASKED = 6
"""Open lines of one layer that are asked about one by one."""

_LEAVE_OUT = "It is left out."
_REFUSE = "The drawing is not read, and mended where it was drawn."


def close_loops(
    strokes: list[Stroke], *, layer: str, join_mm: float, close_mm: float, findings: Findings
) -> list[ClosedLoop]:
    """Closed loops from closed strokes and from open strokes whose ends meet.

    Args:
        strokes: in the order of the drawing.
        layer: for messages.
        join_mm: ends no farther apart than this are taken for one point; at least 0.
        close_mm: gaps up to this are closed where no third end is near; at least *join_mm*.
        findings: told of what was mended, asked what is unsure.

    Raises:
        DrawingError: no loop can be made, and no question settles it.
    """
    loops: list[ClosedLoop] = []
    loose: list[Stroke] = []
    for order, stroke in enumerate(strokes):
        stroke = replace(stroke, order=order)
        gap = float(np.linalg.norm(stroke.points_mm[-1] - stroke.points_mm[0]))
        if stroke.closed:
            loops.append(loop_of(stroke))
        elif gap <= join_mm and len(stroke.points_mm) > 2 and _extent(stroke.points_mm) > join_mm:
            loops.append(loop_of(stroke, gap_mm=gap))
        else:
            loose.append(stroke)
    loose = _without_points(loose, layer, findings)
    found, loose = chain(loose, join_mm=join_mm)
    loops += found
    if loose:
        loops += _troubled(loose, loops, layer, join_mm, close_mm, findings)
    _say_joined(loops, layer, findings)
    return sorted(loops, key=lambda loop: loop.order)


def _troubled(
    loose: list[Stroke],
    loops: list[ClosedLoop],
    layer: str,
    join_mm: float,
    close_mm: float,
    findings: Findings,
) -> list[ClosedLoop]:
    """The loops of strokes that do not chain as they are."""
    loose = without_doubles(loose, [loop.curve for loop in loops], layer=layer, findings=findings)
    loose = _without_dust(loose, layer, join_mm, findings)
    loose = close_gaps(loose, layer=layer, join_mm=join_mm, close_mm=close_mm, findings=findings)
    found, loose = _rings(loose, join_mm)
    more, loose = chain(loose, join_mm=join_mm)
    found += more
    loose = _without_strays(loose, layer, join_mm, findings)
    more, loose = chain(loose, join_mm=join_mm)
    found += more
    knots = knots_of(loose, join_mm=join_mm)
    for meeting in knots.busy:
        names = sorted({loose[end // 2].source for end in meeting})
        raise DrawingError(
            f"Layer {layer}: {len(meeting)} line ends meet at {place_of(knots.ends[meeting[0]])} "
            f"({', '.join(names[:4])}), so the loop is not clear; remove the lines that do not "
            "belong."
        )
    return found + _opened(knots, layer, findings)


def _rings(strokes: list[Stroke], join_mm: float) -> tuple[list[ClosedLoop], list[Stroke]]:
    """Strokes that close upon themselves by now, and the others."""
    loops, others = [], []
    for stroke in strokes:
        gap = float(np.linalg.norm(stroke.points_mm[-1] - stroke.points_mm[0]))
        if gap <= join_mm and len(stroke.points_mm) > 2:
            loops.append(loop_of(stroke, gap_mm=gap))
        else:
            others.append(stroke)
    return loops, others


def _extent(points: FloatArray) -> float:
    return float((points.max(axis=0) - points.min(axis=0)).max())


def _without_points(strokes: list[Stroke], layer: str, findings: Findings) -> list[Stroke]:
    """The strokes that have a length."""
    kept: list[Stroke] = []
    gone: list[Stroke] = []
    for stroke in strokes:
        (kept if _extent(stroke.points_mm) > _SAME_POINT_MM else gone).append(stroke)
    if gone:
        at = gone[0].points_mm[0]
        said = were(len(gone), "line", but="without length", at=place_of(at))
        findings.mend(
            "no-length",
            f"Layer {layer}: {said}.",
            at=at,
            measure_mm=0.0,
        )
    return kept


def _without_dust(
    strokes: list[Stroke], layer: str, join_mm: float, findings: Findings
) -> list[Stroke]:
    """The strokes without those that meet nothing and are too small to be anything."""
    knots = knots_of(strokes, join_mm=join_mm)
    dust: set[int] = set()
    for end in knots.lone:
        run = knots.walk(end)
        points = np.vstack([strokes[at // 2].points_mm for at in run])
        whole = len(knots.members[knots.knot[run[-1] ^ 1]]) == 1
        if whole and _extent(points) <= DUST_MM:
            dust |= {at // 2 for at in run}
    if dust:
        at = strokes[min(dust)].points_mm[0]
        size = f"of at most {DUST_MM:g} mm"
        findings.mend(
            "dust",
            f"Layer {layer}: {were(len(dust), 'stray line', but=size, at=place_of(at))}.",
            at=at,
            measure_mm=max(_extent(strokes[i].points_mm) for i in dust),
        )
    return [stroke for i, stroke in enumerate(strokes) if i not in dust]


def _without_strays(
    strokes: list[Stroke], layer: str, join_mm: float, findings: Findings
) -> list[Stroke]:
    """The strokes without branches that lead from a meeting of several lines to nowhere."""
    knots = knots_of(strokes, join_mm=join_mm)
    gone: set[int] = set()
    for end in knots.lone:
        run = knots.walk(end)
        meeting = knots.members[knots.knot[run[-1] ^ 1]]
        if len(meeting) < 3:
            continue
        length = _length([strokes[at // 2] for at in run])
        findings.ask(
            "stray",
            f"Layer {layer}: {len(meeting)} line ends meet at {place_of(knots.ends[meeting[0]])}; "
            f"one of them ({strokes[run[0] // 2].source}) leads nowhere: it ends after "
            f"{length:.4g} mm at {place_of(knots.ends[end])}.",
            {"leave-out": _LEAVE_OUT, REFUSE: _REFUSE},
            default="leave-out",
            at=knots.ends[end],
        )
        gone |= {at // 2 for at in run}
        findings.mend(
            "stray",
            f"Layer {layer}: a line of {length:.4g} mm that leads nowhere was left out at "
            f"{place_of(knots.ends[end])}.",
            at=knots.ends[end],
            measure_mm=length,
        )
    return [stroke for i, stroke in enumerate(strokes) if i not in gone]


def _length(strokes: list[Stroke]) -> float:
    chords = [np.hypot(*np.diff(s.sampled(deviation_mm=0.1), axis=0).T).sum() for s in strokes]
    return float(sum(chords))


def _opened(knots: Knots, layer: str, findings: Findings) -> list[ClosedLoop]:
    """Loops of contours that stay open, where a person says so."""
    runs: list[list[int]] = []
    used: set[int] = set()
    for end in knots.lone:
        if end // 2 not in used:
            run = knots.walk(end)
            used |= {at // 2 for at in run}
            runs.append(run)
    if len(runs) > _MOST_ASKED:
        at = knots.ends[runs[0][0]]
        findings.ask(
            "open",
            f"Layer {layer}: {len(runs)} lines are open and belong to no piece; the first begins "
            f"at {place_of(at)}.",
            {"leave-out": "They are all left out.", REFUSE: _REFUSE},
            default="leave-out",
            about=layer,
        )
        _say_left_out(len(runs), at, layer, findings)
        return []
    return [loop for run in runs for loop in _asked(knots, run, layer, findings)]


def _asked(knots: Knots, run: list[int], layer: str, findings: Findings) -> list[ClosedLoop]:
    """The loop of one open contour, if it is to be closed."""
    strokes = [knots.strokes[end // 2] for end in run]
    turned = [s if end % 2 == 0 else s.reversed() for s, end in zip(strokes, run, strict=True)]
    first, last = turned[0].points_mm[0], turned[-1].points_mm[-1]
    gap = float(np.linalg.norm(last - first))
    length = _length(strokes)
    points = np.vstack([stroke.points_mm for stroke in turned])
    flat = len(points) < 3 and not any(stroke.bulges.any() for stroke in turned)
    choices = {"close": f"A straight line of {gap:.4g} mm closes it.", "leave-out": _LEAVE_OUT}
    if flat:
        del choices["close"]
    answer = findings.ask(
        "open",
        f"Layer {layer}: the line is open at {place_of(first)} ({strokes[0].source}); its other "
        f"end is {gap:.4g} mm away, and it is {length:.4g} mm long.",
        {**choices, REFUSE: _REFUSE},
        default="close" if not flat and gap <= _CLOSED_SHARE * length else "leave-out",
        at=first,
    )
    if answer == "leave-out":
        _say_left_out(1, first, layer, findings)
        return []
    findings.mend(
        "gap",
        f"Layer {layer}: an open line was closed at {place_of(first)} by a straight line of "
        f"{gap:.4g} mm.",
        at=first,
        measure_mm=gap,
    )
    parts = [*(stroke.points_mm[:-1] for stroke in turned), last[None]]
    bulges = np.concatenate([*(stroke.bulges for stroke in turned), [0.0]])
    label = next((stroke.label for stroke in strokes if stroke.label), "")
    closed = Stroke(
        np.vstack(parts), bulges, True, strokes[0].source, label=label, order=strokes[0].order
    )
    return [loop_of(closed)]


def _say_left_out(count: int, at: FloatArray, layer: str, findings: Findings) -> None:
    findings.mend(
        "open",
        f"Layer {layer}: {were(count, 'open line', at=place_of(at))}.",
        at=at,
    )


def _say_joined(loops: list[ClosedLoop], layer: str, findings: Findings) -> None:
    """Say that ends were taken for one point that were not quite."""
    joined = [loop for loop in loops if loop.widest_gap_mm > 1e-6]
    if joined:
        worst = max(joined, key=lambda loop: loop.widest_gap_mm)
        at = worst.curve.points_mm[0] if len(worst.curve.points_mm) else None
        findings.mend(
            "gap",
            f"Layer {layer}: gaps in {counted(len(joined), 'loop')} were closed; the widest was "
            f"{worst.widest_gap_mm:.3g} mm, in {worst.source}.",
            at=at,
            measure_mm=worst.widest_gap_mm,
        )
