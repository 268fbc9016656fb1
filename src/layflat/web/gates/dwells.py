"""Dwell times on one part of the car: begun, rinsed, and done again where they did not count.

Call all of it on a locked job in a transaction.
"""

import datetime
from typing import Final

from layflat.base import InputError
from layflat.web.gates.doing import Work, begin, by_the_record, has_dwell
from layflat.web.gates.models import Dwell, Step
from layflat.web.gates.standing import refusal
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

PLACES: Final = ("front", "left side", "right side", "rear", "roof")
"""Parts of a car that are usually treated one after another; any other words do as well."""
_MOST_WHERE: Final = 80


def put_on(job: Job, key: str, where: str, *, who: Person, at: datetime.datetime) -> Dwell:
    """Something works on a part of the car from now; its step is begun where nobody has.

    Raises:
        InputError: the step has no dwell time, waits for something, or is over; something works on
            this part already.
    """
    work = Work(job, at)
    item = work.of(key)
    if not has_dwell(item.step):
        raise InputError(f"“{item.step.title}” has no dwell time.")
    if item.step.state == Step.State.OPEN:
        begin(job, key, who=who, at=at)
    elif item.step.state != Step.State.BEGUN or item.waits_for:
        raise InputError(refusal(item))
    where = where.strip()[:_MOST_WHERE]
    running = next((one for one in item.running if one.dwell.where == where), None)
    if running is not None:
        raise InputError(f"It works on {running.where} already; rinse that first.")
    made = Dwell.objects.create(
        step=item.step,
        where=where,
        # What others tapped meanwhile does not count: two tablets' taps come in as they can.
        began_at=max(by_the_record(at), item.step.began_at or at),
        least_s=item.step.dwell_least_s,
        most_s=item.step.dwell_most_s,
        began_by=who,
    )
    _tell("gates.dwell", f"{item.step.title}: put on, {where or 'the whole car'}.", made, who)
    return made


def rinsed(job: Job, key: str, where: str, *, who: Person, at: datetime.datetime) -> Dwell:
    """A part of the car was rinsed; too early or too late it does not count, and is written down.

    Raises:
        InputError: nothing of this step works there.
    """
    where = where.strip()[:_MOST_WHERE]
    found = (
        Dwell.objects.filter(step__job=job, step__key=key, where=where, ended_at=None)
        .select_related("step")
        .order_by("-pk")
        .first()
    )
    if found is None:
        raise InputError(f"Nothing works on {where or 'the whole car'} now; it was rinsed already.")
    # A clock that is set back makes it too short, never long enough.
    found.ended_at, found.ended_by = max(by_the_record(at), found.began_at), who
    lasted = found.ended_at - found.began_at
    found.was_late = found.most_s is not None and lasted > datetime.timedelta(seconds=found.most_s)
    found.was_short = found.least_s is not None and lasted < datetime.timedelta(
        seconds=found.least_s
    )
    found.save(update_fields=["ended_at", "ended_by", "was_late", "was_short"])
    _tell("gates.rinsed", what_came_of(found), found, who)
    return found


def what_came_of(dwell: Dwell) -> str:
    """How a dwell time that is over went, in a sentence."""
    where = dwell.where or "the whole car"
    lasted_s = int(((dwell.ended_at or dwell.began_at) - dwell.began_at).total_seconds())
    minutes, seconds = divmod(lasted_s, 60)
    lasted = f"after {minutes} min {seconds} s"
    if dwell.was_late:
        most = (dwell.most_s or 0) / 60
        return (
            f"{dwell.step.title}: {where} rinsed {lasted}; after {most:g} min it may have dried. "
            "Do it again there."
        )
    if dwell.was_short:
        least = (dwell.least_s or 0) / 60
        return (
            f"{dwell.step.title}: {where} rinsed {lasted}; it works {least:g} min and more. Do it "
            "again there."
        )
    return f"{dwell.step.title}: {where} rinsed {lasted}, in time."


def _tell(kind: str, sentence: str, dwell: Dwell, who: Person) -> None:
    after = {"step": dwell.step.key, "dwell": dwell.pk}
    write_event(kind, sentence, who=who, job=dwell.step.job, after=after)
