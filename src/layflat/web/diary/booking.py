"""Bookings: placed by hand, changed, taken out and put back; each is an event.

Call all of it in a transaction, on a locked job where there is one.
"""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Prefetch, Q

from layflat.base import InputError
from layflat.web.diary.models import Booking, Place
from layflat.web.diary.works import BY_KEY
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.record.models import write_event

MOST: Final = datetime.timedelta(days=31)
_FIELDS: Final = ("work", "words", "place", "people", "starts_at", "ends_at")


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A booking as somebody wants it.

    Attributes:
        job: or None.
        work: a key of `works`, or "".
        words: what it is where no job says it, or a note.
        place, people: where and who, or none.
        starts_at, ends_at: UTC.
    """

    job: Job | None
    work: str
    words: str
    place: Place | None
    people: Sequence[Person]
    starts_at: datetime.datetime
    ends_at: datetime.datetime


def title_of(booking: Booking) -> str:
    """What a booking is, in a few words."""
    work = BY_KEY.get(booking.work)
    if booking.job is None:
        return booking.words or "Booked"
    return f"{work.title if work else booking.words or 'Booked'}, job {booking.job.number}"


def place(wanted: Wanted, *, who: Person) -> Booking:
    """Place a booking.

    Raises:
        InputError: it ends before it starts, lasts beyond a month, or is nothing at all.
    """
    _check(wanted)
    made = Booking.objects.create(
        job=wanted.job,
        work=wanted.work,
        words=wanted.words,
        place=wanted.place,
        starts_at=wanted.starts_at,
        ends_at=wanted.ends_at,
        made_by=who,
    )
    made.people.set(wanted.people)
    _tell("calendar.placed", f"Placed: {_in_words(made)}.", made, who, after=values_of(made))
    return made


def locked_booking(key: int) -> Booking:
    """A booking that nobody else changes until the transaction ends.

    Raises:
        InputError: there is none.
    """
    found = Booking.objects.select_for_update().filter(pk=key).first()
    if found is None:
        raise InputError("There is no such booking; open the calendar anew.")
    return found


def change(booking: Booking, wanted: Wanted, *, seen: int, who: Person) -> Booking:
    """Change a locked booking.

    Args:
        booking: locked.
        wanted: as it shall be.
        seen: the version that the person saw.
        who: changes it.

    Raises:
        InputError: somebody was quicker, it is taken out, or as for `place`.
    """
    _check(wanted)
    if booking.version != seen:
        raise InputError(
            f"Somebody changed it meanwhile; it is now: {_in_words(booking)}. Look, then save anew."
        )
    if booking.is_withdrawn:
        raise InputError("It was taken out of the calendar; put it back first.")
    before = values_of(booking)
    booking.work, booking.words, booking.place = wanted.work, wanted.words, wanted.place
    booking.starts_at, booking.ends_at = wanted.starts_at, wanted.ends_at
    booking.people.set(wanted.people)
    if values_of(booking) == before:
        return booking
    _keep(booking)
    _tell(
        "calendar.changed",
        f"Moved or changed: {_in_words(booking)}.",
        booking,
        who,
        before=before,
        after=values_of(booking),
    )
    return booking


def withdraw(booking: Booking, *, withdrawn: bool, who: Person) -> None:
    """Take a locked booking out of the calendar, or put it back; nothing when it is so already."""
    if booking.is_withdrawn == withdrawn:
        return
    booking.is_withdrawn = withdrawn
    _keep(booking)
    words = "Taken out" if withdrawn else "Put back"
    kind = "calendar.withdrawn" if withdrawn else "calendar.restored"
    _tell(kind, f"{words}: {_in_words(booking)}.", booking, who, after=values_of(booking))


def values_of(booking: Booking) -> dict[str, Any]:
    """What a booking says, for events and for comparing."""
    return {
        "booking": booking.pk,
        "work": booking.work,
        "words": booking.words,
        "place": booking.place_id,
        "people": sorted(booking.people.values_list("pk", flat=True)),
        "starts_at": booking.starts_at.isoformat(),
        "ends_at": booking.ends_at.isoformat(),
    }


def meeting(
    starts_at: datetime.datetime, ends_at: datetime.datetime, *, jobs: Sequence[int] = ()
) -> list[Booking]:
    """Bookings that lie in a time, and all of some jobs; two queries."""
    return _found(Q(starts_at__lt=ends_at, ends_at__gt=starts_at) | Q(job__in=jobs))


def beside(own: Sequence[Booking]) -> list[Booking]:
    """Some bookings and all that share a time with one of them; two queries.

    A job whose works lie weeks apart has nothing to do with what is booked between them.
    """
    lies = Q(pk__in=[one.pk for one in own])
    for one in own:
        lies |= Q(starts_at__lt=one.ends_at, ends_at__gt=one.starts_at)
    return _found(lies)


def others_of(jobs: Sequence[int], known: Sequence[Booking]) -> list[Booking]:
    """The bookings of some jobs besides those that are known; two queries."""
    if not jobs:
        return []
    return _found(Q(job__in=jobs) & ~Q(pk__in=[one.pk for one in known]))


def _found(lies: Q) -> list[Booking]:
    """With what tables and warnings read of the job, its vehicle and its place, and no more."""
    rows = Booking.objects.filter(lies, is_withdrawn=False).select_related("job__vehicle", "place")
    shown = rows.only(
        "work",
        "words",
        "starts_at",
        "ends_at",
        "place__name",
        "place__kind",
        "job__number",
        "job__promised",
        "job__vehicle__plate",
    )
    return list(shown.prefetch_related(Prefetch("people", Person.objects.only("shown"))))


def _check(wanted: Wanted) -> None:
    if wanted.ends_at <= wanted.starts_at:
        raise InputError("It ends before it starts; look at both times.")
    if wanted.ends_at - wanted.starts_at > MOST:
        raise InputError("It lasts longer than a month; place it in parts.")
    if wanted.job is None and not wanted.words.strip():
        raise InputError("Say what it is, such as “day off”, or for which job.")
    if wanted.work and wanted.work not in BY_KEY:
        raise InputError("There is no such work; open the page anew.")


def _keep(booking: Booking) -> None:
    booking.version += 1
    booking.save()


def _in_words(booking: Booking) -> str:
    where = f", {booking.place}" if booking.place else ""
    return f"{title_of(booking)}, {shown_moment(booking.starts_at, the_shop())}{where}"


def _tell(
    kind: str,
    sentence: str,
    booking: Booking,
    who: Person,
    *,
    before: dict[str, Any] | None = None,
    after: dict[str, Any],
) -> None:
    write_event(kind, sentence, who=who, job=booking.job, before=before, after=after)
