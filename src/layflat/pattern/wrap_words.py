"""What becomes of a wrap that was asked for, in a finish and in sentences."""

import math
from collections.abc import Mapping

from layflat.pattern.edges import FlatEdge
from layflat.pattern.fold import UNSEEN, Fold, Limits, Reason
from layflat.pattern.notches import LEAST_TAB_MM, ROOT_MM, Notch
from layflat.pattern.piece import EdgeFinish, Finish
from layflat.pattern.wrap_depth import TRIMMED_MM, Depths
from layflat.surface import EdgeKind, Region

LEAST_WRAP_MM = 1.0
"""A flap that may nowhere be deeper than this is left away."""

SHORT_MM = 1.5
"""How far short of a gap or of trim a piece ends that was to be wrapped there. Common practice, no
source: 1 to 2 mm.
"""

_NOTHING = {
    Reason.STRETCH: "is too hollow to be wrapped without relief cuts",
    Reason.CROWDING: "is too round to be wrapped: the film would finger, and notches would stand "
    "too close",
    Reason.FLANGE: "has no metal to be wrapped round: it ends there",
    Reason.ROOM: "has no room for a wrap: the flap would meet film across a slot",
}

_BEYOND = {
    EdgeKind.GAP: "a gap to the next panel",
    EdgeKind.TRIM: "trim",
    EdgeKind.INNER: "more paint",
}


def called(edge: FlatEdge) -> str:
    """An edge's name in a sentence."""
    return f"“{edge.edge.name}”" if edge.edge.name else "without a name"


def fold_notes(folds: Mapping[int, Fold], region: Region) -> tuple[str, ...]:
    """What was seen and assumed beyond the edges of a region; where nothing was, in one sentence.

    Args:
        folds: by `id` of the edge.
        region: whose edges.
    """
    edges = [edge for loop in region.loops for edge in loop.edges if id(edge) in folds]
    unseen = [edge.name for edge in edges if folds[id(edge)].note == UNSEEN]
    notes = [folds[id(edge)].note for edge in edges]
    seen = dict.fromkeys(note for note in notes if note not in ("", UNSEEN))
    if not unseen:
        return tuple(seen)
    names = list(dict.fromkeys(f"“{name}”" if name else "without a name" for name in unseen))
    listed = " and ".join(part for part in (", ".join(names[:-1]), names[-1]) if part)
    edges_word, folds_word = (
        ("edge", "a square fold was") if len(names) == 1 else ("edges", "square folds were")
    )
    sentence = (
        f"There is no flange in the scan beyond the {edges_word} {listed}: {folds_word} assumed, "
        "on metal that is deep enough."
    )
    return (*seen, sentence)


def feasible(edge: FlatEdge, finish: EdgeFinish, notes: list[str]) -> EdgeFinish:
    """A wrap where it goes round an edge of metal, else the nearest that can be had, and a note."""
    kind = edge.edge.kind
    if finish.finish is not Finish.WRAP or kind is EdgeKind.OPEN:
        return finish
    instead = "flush" if kind is EdgeKind.INNER else f"{SHORT_MM:g} mm short"
    notes.append(
        f"The edge {called(edge)} cannot be wrapped: beyond it lies {_BEYOND[kind]}, no free edge "
        f"of metal. The piece ends {instead} there."
    )
    if kind is EdgeKind.INNER:
        return EdgeFinish(Finish.FLUSH)
    return EdgeFinish(Finish.SHORT, SHORT_MM)


def possible(
    edge: FlatEdge, finish: EdgeFinish, depths: Depths, limits: Limits, notes: list[str]
) -> EdgeFinish:
    """What becomes of a wrap whose depth is bounded; trimming and notches are noted."""
    deepest = depths.deepest_mm
    if deepest < min(LEAST_WRAP_MM, finish.distance_mm - TRIMMED_MM):
        why = depths.why()[0]
        remark = limits.remark if why is Reason.CROWDING else ""
        notes.append(
            f"The edge {called(edge)} {_NOTHING[why]}; the piece ends flush there.{_and(remark)}"
        )
        return EdgeFinish(Finish.FLUSH)
    if depths.notches:
        notes.append(_notch_sentence(edge, depths) + _and(limits.remark))
    why_all = depths.why()
    if why_all:
        remark = limits.remark if Reason.CROWDING in why_all and not depths.notches else ""
        notes.append(_trim_sentence(edge, finish, depths, why_all) + _and(remark))
    if deepest < finish.distance_mm - TRIMMED_MM:
        return EdgeFinish(Finish.WRAP, math.floor(10.0 * deepest) / 10.0)
    return finish


def _and(remark: str) -> str:
    return f" {remark}" if remark else ""


def _trim_sentence(
    edge: FlatEdge, finish: EdgeFinish, depths: Depths, why: tuple[Reason, ...]
) -> str:
    x, y = depths.points[depths.shallowest]
    causes = " and ".join(_cause(reason, depths) for reason in why)
    return (
        f"The wrap at the edge {called(edge)} was trimmed from {finish.distance_mm:g} mm to "
        f"{depths.mm.min():.1f} mm near x {x:.0f}, y {y:.0f} mm: {causes}."
    )


def _cause(reason: Reason, depths: Depths) -> str:
    if reason is Reason.STRETCH:
        return "deeper, the film would stretch by more than its limit"
    if reason is Reason.CROWDING:
        dense = f", and notches would stand closer than {LEAST_TAB_MM:g} mm" if depths.dense else ""
        return f"deeper, the film would be crowded by more than its limit and would finger{dense}"
    if reason is Reason.FLANGE:
        return "the metal beyond the edge goes no farther"
    return "the flap would meet film across a slot"


def _notch_sentence(edge: FlatEdge, depths: Depths) -> str:
    count = len(depths.notches)
    first = depths.notches[0]
    x, y = depths.points[first.station]
    widths = _span([notch.mouth_mm for notch in depths.notches], "{:.1f}")
    angles = _span([math.degrees(notch.angle_rad) for notch in depths.notches], "{:.0f}")
    word = "notch" if count == 1 else "notches"
    return (
        f"The wrap at the edge {called(edge)} would be crowded and has {count} {word}, {widths} mm "
        f"wide ({angles}°), {_where(first, count)} near x {x:.0f}, y {y:.0f} mm; each ends "
        f"{ROOT_MM:g} mm before the edge."
    )


def _where(first: Notch, count: int) -> str:
    where = f"{first.along_mm:.0f} mm along the edge"
    return where if count == 1 else f"the first {where}"


def _span(values: list[float], form: str) -> str:
    low, high = form.format(min(values)), form.format(max(values))
    return low if low == high else f"{low} to {high}"
