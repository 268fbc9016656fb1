"""What the page of one section at the machine shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.cutting.models import Cut, Section
from layflat.web.cutting.ticking import REASONS
from layflat.web.people.models import Shop
from layflat.web.sending.asking import is_abandoned, last_sending
from layflat.web.sending.bending import CORRECT
from layflat.web.sending.correcting import correction_of, to_correct, why_being_bent
from layflat.web.sending.models import FORCED, Machine, Prepared, Reading, Sending
from layflat.web.sending.prepared import making, why_not_made_anew
from layflat.web.sending.readings import marks_of
from layflat.web.sending.settling import used_mm
from layflat.web.sending.values import cuts_alike, generic, read_values

_MOST_BOXES: Final = 12
_WORDS: Final = {
    "whole": ("done", "whole"),
    "doubtful": ("today", "look at it"),
    "lost": ("late", "lost"),
    "to cut": ("", "not begun"),
}


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A machine that a section may be sent to.

    Attributes:
        machine: its row.
        is_fitting: whether the section's program is made for it.
    """

    machine: Machine
    is_fitting: bool


@dataclass(frozen=True, kw_only=True)
class PieceRow:
    """A piece after a sending.

    Attributes:
        cut: its film.
        state: “whole”, “doubtful”, “lost” or “to cut”.
        why: the reason, in words.
    """

    cut: Cut
    state: str
    why: str

    @property
    def shape(self) -> str:
        """The class that draws the state."""
        return _WORDS[self.state][0]

    @property
    def word(self) -> str:
        """The state in words."""
        return _WORDS[self.state][1]


def section_context(section: Section, shop: Shop) -> dict[str, Any]:
    """All that the page shows of a section whose layout and job are read."""
    last = last_sending(section)
    prepared = Prepared.objects.filter(section=section).first()
    made_for = generic() if prepared is None else read_values(prepared.machine)
    is_open = section.state == Section.State.OPEN
    reading = section.readings.select_related("who").last()
    rows = list(Machine.objects.filter(is_retired=False))
    choices = [
        Choice(machine=row, is_fitting=cuts_alike(made_for, read_values(row.values)))
        for row in rows
        if row.address
    ]
    cuts = list(section.cuts.select_related("piece").order_by("letter", "number"))
    return {
        "part": "job",
        "job": section.layout.job,
        "layout": section.layout,
        "section": section,
        "title": f"Section {section.number} at the machine",
        "shop": shop,
        "is_open": is_open,
        "last": last,
        "refused": _refused(section, last),
        "made_for": "" if prepared is None else made_for.name,
        "marks": marks_of(prepared),
        "made_with": _made_with(prepared),
        "choices": choices,
        "fitting": [one for one in choices if one.is_fitting],
        "making": making(section.layout) if is_open and last is None else None,
        "machines": rows,
        "may_prepare": bool(rows) and not why_not_made_anew(section.layout),
        "is_abandoned": last is not None and is_abandoned(last),
        "is_forced": last is not None and last.state in FORCED,
        "places": (places := _places(last)),
        "is_long": len(places) > _MOST_BOXES,
        "pieces": _pieces(cuts, last, reading),
        "film_mm": used_mm(section, last.judged) if last and last.judged else section.film_mm,
        "reasons": [(name, words or "something else") for name, words in REASONS.items()],
        "reading": reading,
        "corrects": bool(reading and to_correct(reading)),
        "bends": bool(reading and reading.verdict == CORRECT),
        "correction": correction_of(reading) if reading else None,
        "being_bent": why_being_bent(section) if is_open and last is None else "",
    }


def _made_with(prepared: Prepared | None) -> str:
    """What a section's program has beside the pieces, in words."""
    if prepared is None:
        return ""
    made = prepared.made
    words = [
        "witness marks" if marks_of(prepared) else "",
        "weed lines" if any(cut["kind"] == "weed line" for cut in made["cuts"]) else "",
        "bridges that hold the pieces" if made.get("bridges") else "",
    ]
    said = [one for one in words if one]
    return " and ".join(part for part in (", ".join(said[:-1]), *said[-1:]) if part)


def _refused(section: Section, last: Sending | None) -> Sending | None:
    """A sending by which nothing was sent, if none came after it."""
    rows = section.sendings.filter(state=Sending.State.REFUSED)
    newer = rows.filter(number__gt=0 if last is None else last.number)
    return newer.select_related("machine").order_by("-number").first()


def _places(last: Sending | None) -> list[dict[str, Any]]:
    """From which cuts a sending may be gone on with, with the words for each."""
    if last is None or last.account is None:
        return []
    least, most, count = (last.account[name] for name in ("whole", "begun", "count"))
    if last.state not in FORCED:
        least = most
    names = [one["name"] for one in last.cuts]
    return [
        {"done": done, "next": names[done] if done < len(names) else f"cut {done + 1}"}
        for done in range(least, most + 1)
        if done < count
    ]


def _pieces(cuts: list[Cut], last: Sending | None, reading: Reading | None) -> list[PieceRow]:
    if last is None or last.judged is None:
        return []
    states: Mapping[int, Any] = {one["number"]: one for one in last.judged["pieces"]}
    lost = set(reading.lost) if reading else set()
    doubtful = set(reading.doubtful) if reading else set()
    rows = []
    for cut in cuts:
        one = states.get(cut.in_layout, {"state": "doubtful", "why": "nobody can tell"})
        state, why = one["state"], one["why"]
        if state == "whole" and cut.in_layout in lost:
            state, why = "lost", "the film drifted too far while it was cut"
        elif state == "whole" and cut.in_layout in doubtful:
            state, why = "doubtful", "the film may have drifted too far while it was cut"
        rows.append(PieceRow(cut=cut, state=state, why=why))
    return rows
