"""After a stop or a bad cut: a person says what each piece is, and the film is booked once."""

import datetime
import math
from collections.abc import Mapping
from typing import Any, Final

from layflat.base import InputError
from layflat.web.cutting.models import Cut, Section, called
from layflat.web.cutting.sharing import lock_all, tell
from layflat.web.cutting.ticking import tick_cut, tick_spoiled
from layflat.web.people.models import Person
from layflat.web.sending.asking import last_sending
from layflat.web.sending.models import Sending
from layflat.web.sending.standing import why_busy

WHOLE: Final = "whole"
LOST: Final = "lost"


def used_mm(section: Section, judged: Mapping[str, Any]) -> int:
    """How much of the roll is gone, in whole millimetres, with the gap before the section."""
    gap = section.film_mm - (section.end_mm - section.start_mm)
    used = math.ceil(gap + float(judged["used_mm"]))
    return min(section.film_mm, max(0, used))


def settle(
    section: Section,
    seen: Mapping[int, str],
    *,
    sending: int,
    film_mm: int | None,
    has_looked: bool,
    reason: str,
    note: str,
    who: Person | None,
    at: datetime.datetime,
) -> str:
    """Say of every piece of a section that was sent whether it is whole or lost.

    Whole ones count as cut; lost ones, and those of which nothing was begun, need film again at
    once. The section's film is booked: what whole pieces take with their share of waste as cut,
    the rest as spoiled. Call it on a locked job, in a transaction.

    Args:
        section: that is to be cut.
        seen: “whole” or “lost” by the piece's number in the layout; pieces of which nothing was
            begun may be left out.
        sending: number of the sending that the person saw.
        film_mm: that is gone from the roll; None for what the program had come to.
        has_looked: whether the person says so.
        reason, note: why pieces are lost, as for a spoiled section.
        who, at: says so, and when.

    Raises:
        InputError: nothing was sent, it is still being sent, a piece is missing or cannot be whole.
    """
    last = last_sending(section)
    if sentence := why_busy(section):
        raise InputError(sentence)
    if last is None or last.judged is None or last.number != sending:
        raise InputError("Something else happened to this section meanwhile; look at it again.")
    if not has_looked:
        raise InputError("Look at every piece on the film first; then say that you did.")
    lock_all(section.layout, section.layout.job)
    cuts = list(section.cuts.select_related("piece"))
    states = {one["number"]: one for one in last.judged["pieces"]}
    whole = {cut.in_layout for cut in cuts if _is_whole(cut, seen, states)}
    if len(whole) == len(cuts):
        sentence = tick_cut(section, who=who, at=at)
    else:
        area = {n: one["area_mm2"] for n, one in states.items() if one["state"] != "to cut"}
        total = sum(area.values())
        good = sum(value for n, value in area.items() if n in whole)
        sentence = tick_spoiled(
            section,
            reason=reason,
            note=note,
            lost={cut.pk for cut in cuts if cut.in_layout not in whole},
            film_mm=used_mm(section, last.judged) if film_mm is None else film_mm,
            good=good / total if total else 0.0,
            who=who,
            at=at,
        )
    _note(last, sorted(whole), cuts, who=who)
    return sentence


def _is_whole(cut: Cut, seen: Mapping[int, str], states: Mapping[int, Mapping[str, Any]]) -> bool:
    state = states.get(cut.in_layout, {}).get("state", "doubtful")
    said = seen.get(cut.in_layout, LOST if state == "to cut" else "")
    if said not in (WHOLE, LOST):
        raise InputError(f"Say of piece {cut.called}, {cut.piece.title}, whether it is whole.")
    if said == WHOLE and state == "to cut":
        raise InputError(
            f"Piece {cut.called}, {cut.piece.title}, cannot be whole: nothing of it was sent. Look "
            "which piece it is."
        )
    return said == WHOLE


def _note(sending: Sending, whole: list[int], cuts: list[Cut], *, who: Person | None) -> None:
    others = [cut.in_layout for cut in cuts if cut.in_layout not in whole]
    section = sending.section
    names = ", ".join(map(called, whole)) or "none"
    tell(
        "sending.settled",
        f"Looked at after sending section {section.number} of layout {section.layout.number}: "
        f"whole {names}; to be cut again {', '.join(map(called, others)) or 'none'}.",
        section.layout,
        who=who,
        after={"sending": sending.pk, "whole": whole, "again": others},
    )
