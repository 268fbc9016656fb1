"""Bridges: stretches of an outline that stay uncut, so that the piece stays in its sheet.

*Tabs* are short and spread round the outline; a *hinge* is one longer stretch. Both lie where the
outline hardly turns and far from its corners: there film tears along the line, and the blade keeps
its heading from where it is lifted to where it is lowered again. Common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.cut.elements import Element, Loop
from layflat.cut.entry import turning
from layflat.cut.records import Bridge, BridgeKind
from layflat.cut.wishes import Wishes

BESIDE_START_MM = 1.0
"""How far bridges stay from where a cut starts, and from where it ends beyond that."""

_GENTLE_RAD = 0.2
_TAB_CLEAR_MM = (10.0, 6.0, 3.0)
_HINGE_CLEAR_MM = (40.0, 20.0, 10.0, 5.0)
_STEP_MM = 1.0
_MOST_PLACES = 1200
_PHASES = 24
_ROOM_MM = 5.0


@dataclass(frozen=True)
class Gap:
    """A stretch of a loop that is not cut.

    Attributes:
        kind: tab or hinge.
        start_mm: along the loop, from 0 to its length.
        length_mm: along the loop.
    """

    kind: BridgeKind
    start_mm: float
    length_mm: float


def gaps_of(loop: Loop, wishes: Wishes, *, overcut_mm: float) -> tuple[Gap, ...]:
    """The bridges of a loop, in order along it: as many of those wished as it has room for.

    Args:
        loop: an outline; a cut-out has none.
        wishes: how many tabs, how long, or how long a hinge.
        overcut_mm: how far the cut runs on beyond its start: it has to find room as well.
    """
    if loop.is_cut_out or not wishes.bridges:
        return ()
    if wishes.hinge_mm is not None:
        return _hinge(loop, wishes.hinge_mm)
    room = wishes.tab_mm + overcut_mm + _ROOM_MM
    count = min(wishes.tabs, int(loop.length_mm / (3.0 * room)))
    return _tabs(loop, count, wishes.tab_mm)


def _places(loop: Loop) -> FloatArray:
    count = min(_MOST_PLACES, max(8, math.ceil(loop.length_mm / _STEP_MM)))
    return (np.arange(count, dtype=np.float64) + 0.5) * (loop.length_mm / count)


def _turns(loop: Loop, middles: FloatArray, reach_mm: float) -> FloatArray:
    """How far the loop turns within a distance of each place, in radians."""
    along, total = turning(loop)
    reach = min(reach_mm, 0.49 * loop.length_mm)
    middle = middles + loop.length_mm
    turns: FloatArray = np.interp(middle + reach, along, total) - np.interp(
        middle - reach, along, total
    )
    return turns


def _hinge(loop: Loop, length_mm: float) -> tuple[Gap, ...]:
    """One stretch, as far from corners as the outline allows; none where it turns too much."""
    if length_mm > loop.length_mm / 3.0:
        return ()
    places = _places(loop)
    for clear in _HINGE_CLEAR_MM:
        turns = _turns(loop, places, 0.5 * length_mm + clear)
        best = int(np.argmin(np.round(turns, 4)))
        if turns[best] <= _GENTLE_RAD:
            return (_gap(loop, "hinge", float(places[best]), length_mm),)
    return ()


def _tabs(loop: Loop, count: int, length_mm: float) -> tuple[Gap, ...]:
    """Tabs spread evenly, each moved by a third of its share at most to where it is straight."""
    if count < 1:
        return ()
    places = _places(loop)
    found: list[float] = []
    for clear in _TAB_CLEAR_MM:
        free = places[_turns(loop, places, 0.5 * length_mm + clear) <= _GENTLE_RAD]
        some = _spread(free, count, loop.length_mm) if len(free) else []
        found = some if len(some) > len(found) else found
        if len(found) == count:
            break
    return tuple(_gap(loop, "tab", middle, length_mm) for middle in sorted(found))


def _spread(free_mm: FloatArray, count: int, length_mm: float) -> list[float]:
    """Of the free places those nearest to evenly spread ones, a third of a share off at most."""
    share = length_mm / count
    best = (count + 1, math.inf)
    found: list[float] = []
    for phase in range(_PHASES):
        targets = (np.arange(count) + phase / _PHASES) * share
        off = np.abs(free_mm[None, :] - targets[:, None])
        off = np.minimum(off, length_mm - off)
        nearest = np.argmin(off, axis=1)
        moved = off[np.arange(count), nearest]
        taken = moved <= share / 3.0
        rank = (int(np.sum(~taken)), round(float(moved[taken].sum()), 6))
        if rank < best:
            best, found = rank, free_mm[nearest[taken]].tolist()
    return found


def _gap(loop: Loop, kind: BridgeKind, middle_mm: float, length_mm: float) -> Gap:
    return Gap(kind, (middle_mm - 0.5 * length_mm) % loop.length_mm, length_mm)


def parts_of(
    loop: Loop, gaps: Sequence[Gap], *, start_mm: float, overcut_mm: float
) -> list[list[Element]]:
    """What is cut of a loop from a start on, all round and over the start: one part after another.

    Args:
        loop, gaps: what is cut, and what of it is not.
        start_mm: where along the loop the cut begins; in no gap.
        overcut_mm: how far the last part runs on beyond the start.
    """
    parts = []
    begin = start_mm
    for gap in sorted(gaps, key=lambda gap: (gap.start_mm - start_mm) % loop.length_mm):
        until = start_mm + (gap.start_mm - start_mm) % loop.length_mm
        parts.append(loop.stretch(begin, until - begin))
        begin = until + gap.length_mm
    parts.append(loop.stretch(begin, start_mm + loop.length_mm + overcut_mm - begin))
    return parts


def closed_to_starts(gaps: Sequence[Gap], *, before_mm: float, overcut_mm: float) -> list[Gap]:
    """Where no cut may start: in bridges, and so near that its lead or its end would meet them.

    Args:
        gaps: the bridges.
        before_mm: how far a lead may run on the loop before the start.
        overcut_mm: how far the cut runs on beyond its start.
    """
    ahead, behind = overcut_mm + BESIDE_START_MM, before_mm + BESIDE_START_MM
    return [Gap(gap.kind, gap.start_mm - ahead, gap.length_mm + ahead + behind) for gap in gaps]


def bridge_of(loop: Loop, gap: Gap, *, piece: int) -> Bridge:
    """A gap as the program says it, of a piece by its index."""
    x, y, _ = loop.at(gap.start_mm + 0.5 * gap.length_mm)
    return Bridge(piece=piece, kind=gap.kind, x_mm=x, y_mm=y, length_mm=gap.length_mm)


def held_notes(bridges: Sequence[Bridge], pieces: Sequence[str]) -> list[str]:
    """What to say to who weeds, of the bridges of a section and the names of its pieces."""
    held: dict[tuple[str, float], dict[int, int]] = {}
    for bridge in bridges:
        counts = held.setdefault((bridge.kind, bridge.length_mm), {})
        counts[bridge.piece] = counts.get(bridge.piece, 0) + 1
    notes = []
    for (kind, length), counts in held.items():
        if kind == "hinge":
            names = ", ".join(pieces[piece] for piece in sorted(counts))
            what = f"by a hinge of {length:g} mm"
        else:
            names = ", ".join(f"{pieces[i]} ({counts[i]})" for i in sorted(counts))
            what = f"by tabs of {length:g} mm, so many each"
        notes.append(
            f"Held in the sheet {what}: {names}. Cut them with a blade on the liner, or tear them "
            "along the outline, before the piece is lifted."
        )
    return notes


def missing_notes(
    loops: Sequence[Loop], gaps: Sequence[Sequence[Gap]], wishes: Wishes
) -> list[str]:
    """What to say of outlines that have no room for all bridges that were wished."""
    if not wishes.bridges:
        return []
    notes = []
    for loop, own in zip(loops, gaps, strict=True):
        if loop.is_cut_out:
            continue
        if wishes.hinge_mm is not None and not own:
            notes.append(
                f"The {loop.name} has no stretch that is gentle enough for a hinge of "
                f"{wishes.hinge_mm:g} mm: it is cut all round."
            )
        elif wishes.hinge_mm is None and len(own) < wishes.tabs:
            notes.append(
                f"The {loop.name} has room for {len(own)} of {wishes.tabs} tabs, straight and "
                "clear of corners."
            )
    return notes
