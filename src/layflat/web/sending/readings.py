"""What is read off a section's witness marks, and what it says: go on, correct, or stop."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from layflat.base import InputError
from layflat.cut import Drift, SlipReading, judge_drift, stopped
from layflat.web.cutting.models import Layout, Section
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import INCH_MM
from layflat.web.record.models import write_event
from layflat.web.sending.bending import CORRECT, against_of, why_not_bent
from layflat.web.sending.models import Prepared, Reading
from layflat.web.sending.prepared import drawing_of, piece_number, program_of, values_for

_MOST_MM: Final = 1000.0


def marks_of(prepared: Prepared | None) -> list[dict[str, Any]]:
    """The witness marks of a section's program, in the order in which the head returned."""
    if prepared is None:
        return []
    return [one | {"name": f"{one['number']} {one['side']}"} for one in prepared.made["witnesses"]]


def read_number(text: str, shop: Shop) -> float | None:
    """A typed mismatch in mm; None for an empty field.

    Raises:
        InputError: it is no number.
    """
    text = text.strip().replace(",", ".").replace("−", "-")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError as error:
        raise InputError(f"“{text[:20]}” is no length; write it such as 0.4 or -0.4.") from error
    if not math.isfinite(value) or abs(value) > _MOST_MM:
        raise InputError(f"“{text[:20]}” is no mismatch of a mark; look at the unit.")
    return value * INCH_MM if shop.inches else value


def read_marks(section: Section, fields: Mapping[str, str], shop: Shop) -> list[dict[str, Any]]:
    """What was typed of a section's marks; a mark of which nothing was typed is left out.

    Raises:
        InputError: a number is none, one of a pair is missing, or nothing was typed.
    """
    found = []
    marks = marks_of(Prepared.objects.filter(section=section).first())
    for i, mark in enumerate(marks):
        dx = read_number(fields.get(f"dx-{i}", ""), shop)
        dy = read_number(fields.get(f"dy-{i}", ""), shop)
        if dx is None and dy is None:
            continue
        if dx is None or dy is None:
            raise InputError(
                f"Of the mark “{mark['name']}” only one of the two lengths is written; write 0 "
                "where it lies in the middle."
            )
        found.append({"mark": mark["name"], "dx_mm": dx, "dy_mm": dy})
    if not found:
        raise InputError("Write at least one mark's mismatch; 0 where it lies in the middle.")
    return found


def keep_reading(
    section: Section, marks: Sequence[Mapping[str, Any]], *, is_sure: bool, who: Person | None
) -> Reading:
    """Judge what was read and keep it, with an event; call it in a transaction, on a locked job.

    Raises:
        InputError: the section is not to be cut.
        LayflatError: a reading is impossible, or readings contradict each other.
    """
    drift = drift_of(section.layout, section.number, marks, is_sure=is_sure)
    against = against_of(section, drift)
    if drift.verdict == CORRECT and (why := why_not_bent(section, against)):
        drift = stopped(drift, why)
        against = against_of(section, drift)
    reading = Reading.objects.create(
        section=section,
        marks=list(marks),
        is_sure=is_sure,
        verdict=drift.verdict,
        sentence=drift.sentence,
        lost=[piece_number(name) for name in drift.lost],
        doubtful=[piece_number(name) for name in drift.doubtful],
        would_lose=list(drift.would_lose),
        against=against,
        who=who,
    )
    write_event(
        "sending.read",
        f"Witness marks of section {section.number} of layout {section.layout.number}. "
        f"{drift.sentence}",
        who=who,
        job=section.layout.job,
        after={"section": section.pk, "reading": reading.pk, "marks": list(marks)},
    )
    return reading


def drift_of(
    layout: Layout, number: int, marks: Sequence[Mapping[str, Any]], *, is_sure: bool
) -> Drift:
    """What readings of a section's marks say.

    Raises:
        LayflatError: one is impossible, or they contradict each other and nobody is sure.
    """
    section = next(one for one in layout.sections.all() if one.number == number)
    if not Prepared.objects.filter(section=section).exists():
        raise InputError(f"Section {number} has no witness marks.")
    try:
        return judge_drift(
            program_of(layout),
            [SlipReading(**one) for one in marks],
            drawing_of(layout),
            values_for(section),
            number=number,
            sure=is_sure,
        )
    except OSError as error:
        raise InputError("A file of this layout is no longer in the data folder.") from error
