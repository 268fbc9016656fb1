"""How flags end: only by the inspector of an open round, and a mended one only by a second person.

Every function is called on a locked job within a transaction and writes the event itself.
"""

import datetime
from typing import Final

from layflat.base import InputError
from layflat.web.inspection.doing import must_be_on_car, my_round
from layflat.web.inspection.flags import (
    REOPENED,
    film_of,
    must_be,
    must_suit,
    set_open,
    take_off,
    tell,
)
from layflat.web.inspection.kinds import kind_named
from layflat.web.inspection.models import Flag
from layflat.web.laying.doing import must_be_in_bay
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.record.models import write_event

ENDED: Final = "inspection.flag-ended"


def still_there(flag: Flag, remedy: Flag.Remedy, *, who: Person, at: datetime.datetime) -> None:
    """A second look is not content: the flag is open again.

    Raises:
        InputError: it is not mended, or *who* does not inspect.
    """
    must_be_in_bay(flag.job)
    must_be(flag, Flag.State.MENDED)
    my_round(flag.job, who)
    _must_be_looked_at_since(flag, at)
    if flag.replaced_by is not None:
        # The fault is on the new film now; the old one does not come back.
        flag.cut, flag.replaced_by = flag.replaced_by, None
        flag.x_mm = flag.y_mm = None
    must_be_on_car(flag.cut)
    must_suit(flag.kind, remedy)
    before = {"flag": flag.number, "mended_how": flag.mended_how, "remedy": flag.remedy}
    flag.remedy = remedy
    set_open(flag)
    write_event(
        REOPENED,
        f"Flag {flag.number} is still there. To do: {flag.get_remedy_display()}.",
        who=who,
        job=flag.job,
        before=before,
        after={"flag": flag.number, "remedy": remedy.value},
    )
    if remedy == Flag.Remedy.REMAKE:
        take_off(flag, who=who, at=at)


def end_gone(flag: Flag, *, who: Person, at: datetime.datetime) -> None:
    """A second look is content: what was mended is good.

    Raises:
        InputError: it is not mended, or *who* may not say so.
    """
    must_be_in_bay(flag.job)
    must_be(flag, Flag.State.MENDED)
    found = my_round(flag.job, who)
    must_be_on_car(film_of(flag))
    _must_be_looked_at_since(flag, at)
    has_mended = flag.mended_by_id == who.pk
    if has_mended and not found.own_work_because:
        raise InputError(f"{who.shown} mended flag {flag.number}; somebody else looks again.")
    _end(flag, "made anew" if flag.replaced_by_id else "gone", who=who, at=at)


def end_noted(flag: Flag, *, who: Person, at: datetime.datetime) -> None:
    """A fault that clears by itself is noted; it is looked at again at the follow-up visit.

    Raises:
        InputError: it is not left to clear, or *who* does not inspect.
    """
    must_be_in_bay(flag.job)
    must_be(flag, Flag.State.OPEN)
    my_round(flag.job, who)
    if flag.remedy != Flag.Remedy.WAIT or not kind_named(flag.kind).may_wait:
        raise InputError(
            f"Flag {flag.number}, {flag.kind}, is to be mended: {flag.get_remedy_display()}."
        )
    must_be_on_car(flag.cut)
    _end(flag, "noted, seen at the follow-up", who=who, at=at)


def end_no_fault(flag: Flag, because: str, *, who: Person, at: datetime.datetime) -> None:
    """What was flagged is no fault, such as a seam that was agreed.

    Raises:
        InputError: without a reason, it is not open, or *who* does not inspect.
    """
    must_be_in_bay(flag.job)
    must_be(flag, Flag.State.OPEN)
    my_round(flag.job, who)
    because = " ".join(because.split())
    if not because:
        raise InputError("Say why it is no fault; the reason stays in the record.")
    must_be_on_car(flag.cut)
    _end(flag, f"no fault: {because}"[:200], who=who, at=at)


def _must_be_looked_at_since(flag: Flag, at: datetime.datetime) -> None:
    """A tap that a tablet kept may be older than the mending that it seems to speak of."""
    if flag.mended_at is not None and at < flag.mended_at:
        raise InputError(
            f"Flag {flag.number} was mended after you looked, at "
            f"{shown_moment(flag.mended_at, the_shop())}; look again."
        )


def _end(flag: Flag, how: str, *, who: Person, at: datetime.datetime) -> None:
    flag.state = Flag.State.ENDED
    flag.ended_at, flag.ended_by, flag.ended_how = at, who, how
    flag.save(update_fields=["state", "ended_at", "ended_by", "ended_how"])
    tell(ENDED, f"Flag {flag.number} ended: {how}.", flag, who)
