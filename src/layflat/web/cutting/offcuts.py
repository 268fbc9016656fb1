"""What a cut section leaves: kept as an offcut of the stock, or thrown away; and taken back.

Each function works on a locked job within a transaction, and raises an InputError to refuse. Its
film was booked off the roll with its section, so neither changes what is left of the roll.
"""

import datetime

from layflat.base import InputError
from layflat.web.cutting.models import Offcut, Section
from layflat.web.cutting.sharing import jobs_of, lock_all, tell
from layflat.web.jobs.models import Job
from layflat.web.offer.words import capital
from layflat.web.people.models import Person
from layflat.web.people.shop import shop_time, shown_length, the_shop
from layflat.web.stock.amounts import film_length
from layflat.web.stock.booking import cut_offcut, note_rest, uncut_offcut
from layflat.web.stock.models import Movement
from layflat.web.stock.rolls import locked_roll

_State = Offcut.State


def offcut_of(job: Job, key: int) -> Offcut:
    """An offcut of a job's sections.

    Raises:
        InputError: there is none.
    """
    rows = Offcut.objects.select_related(
        "section__layout__roll", "section__layout__job", "roll", "settled_by"
    )
    found = rows.filter(pk=key).first()
    if found is None or job.pk not in {one.pk for one in jobs_of(found.section.layout)}:
        raise InputError("There is no such offcut any more; look at the layout again.")
    lock_all(found.section.layout, job)
    return found


def keep_offcut(offcut: Offcut, *, place: str, who: Person | None, at: datetime.datetime) -> str:
    """Keep it in stock, as a roll of its own that lies at *place*. Answers what was done."""
    _require_open(offcut)
    layout = offcut.section.layout
    roll = cut_offcut(
        locked_roll(layout.roll_id),
        width_mm=offcut.width_mm,
        length_mm=offcut.length_mm,
        place=place,
        who=who,
        was_taken=True,
        job=layout.job,
        reason=f"out of {_origin(offcut.section)}",
    )
    _settle(offcut, _State.KEPT, who=who, at=at)
    offcut.roll = roll
    offcut.save(update_fields=["roll"])
    where = f"; it lies here: {roll.place}" if roll.place else ""
    sentence = f"{roll} is kept, {_size(offcut)} out of {_origin(offcut.section)}{where}."
    _note("cutting.offcut-kept", sentence, offcut, who=who)
    return f"{sentence} Write {roll} and lot {roll.lot} on it, or print its label."


def throw_offcut(offcut: Offcut, *, who: Person | None, at: datetime.datetime) -> str:
    """Throw it away."""
    _require_open(offcut)
    said = f"{_size(offcut)} out of {_origin(offcut.section)} thrown away"
    _book(offcut, Movement.Kind.DISCARDED, said, who=who)
    _settle(offcut, _State.THROWN, who=who, at=at)
    sentence = f"Offcut of {said}."
    _note("cutting.offcut-thrown", sentence, offcut, who=who)
    return sentence


def reopen_offcut(offcut: Offcut, *, who: Person | None) -> str:
    """Say that it was neither kept nor thrown away after all."""
    if offcut.state == _State.OPEN:
        raise InputError("This offcut is neither kept nor thrown away; nothing is to take back.")
    said = f"{_size(offcut)} out of {_origin(offcut.section)}"
    if offcut.roll is not None:
        uncut_offcut(offcut.roll, who=who)
        sentence = f"{offcut.roll}, {said}, is not kept after all."
    else:
        _book(offcut, Movement.Kind.CORRECTED, f"{said} not thrown away after all", who=who)
        sentence = f"Offcut of {said} is not thrown away after all."
    offcut.state, offcut.roll = _State.OPEN, None
    offcut.settled_at, offcut.settled_by = None, None
    offcut.save(update_fields=["state", "roll", "settled_at", "settled_by"])
    _note("cutting.offcut-open", sentence, offcut, who=who)
    return sentence


def reopen_with(section: Section, *, who: Person | None) -> None:
    """Have nothing settled of a section whose tick is taken back.

    Raises:
        InputError: an offcut of it is kept.
    """
    rows = section.offcuts.select_related("roll").exclude(state=_State.OPEN)
    settled = list(rows)
    for offcut in settled:
        if offcut.roll is not None:
            raise InputError(
                f"{offcut.roll} is kept as an offcut of {_origin(section)}; take that back first."
            )
    for offcut in settled:
        offcut.section = section
        reopen_offcut(offcut, who=who)


def _require_open(offcut: Offcut) -> None:
    section = offcut.section
    if section.state != Section.State.CUT:
        raise InputError(f"{capital(_origin(section))} is not cut, so nothing remains of it yet.")
    if offcut.state != _State.OPEN:
        by = f" by {offcut.settled_by.shown}" if offcut.settled_by else ""
        at = shop_time(offcut.settled_at, the_shop()) if offcut.settled_at else None
        when = f" at {at:%H:%M}" if at else ""
        how = f"kept as {offcut.roll}" if offcut.roll is not None else "thrown away"
        raise InputError(f"This offcut was {how}{by}{when} already.")


def _settle(
    offcut: Offcut, state: Offcut.State, *, who: Person | None, at: datetime.datetime
) -> None:
    offcut.state, offcut.settled_at, offcut.settled_by = state, at, who
    offcut.save(update_fields=["state", "settled_at", "settled_by"])


def _book(offcut: Offcut, kind: Movement.Kind, said: str, *, who: Person | None) -> None:
    layout = offcut.section.layout
    note_rest(locked_roll(layout.roll_id), kind=kind, reason=said, job=layout.job, who=who)


def _note(kind: str, sentence: str, offcut: Offcut, *, who: Person | None) -> None:
    tell(kind, sentence, offcut.section.layout, who=who, after={"offcut": offcut.pk})


def _size(offcut: Offcut) -> str:
    shop = the_shop()
    return f"{film_length(offcut.length_mm, shop)} of {shown_length(offcut.width_mm, shop)} width"


def _origin(section: Section) -> str:
    return f"section {section.number} of layout {section.layout.number}"
