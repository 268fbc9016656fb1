"""Asking for a sending, going on with one, and what is asked of one that goes on.

Each function works on a locked job within a transaction.
"""

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db.models import F

from layflat.base import InputError
from layflat.send import Ask, read_address
from layflat.web.cutting.models import Layout, Section
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.sending.correcting import why_being_bent
from layflat.web.sending.machines import locked_machine
from layflat.web.sending.models import FORCED, OPEN, Machine, Sending
from layflat.web.sending.prepared import values_for
from layflat.web.sending.standing import who_and_when, why_busy
from layflat.web.sending.values import cuts_alike, read_values
from layflat.web.work import rows
from layflat.web.work.tasks import ask

TASK: Final = "sending.send"
_WISHES: Final = {
    Ask.PAUSE: "was asked to pause before the next cut",
    Ask.GO_ON: "was asked to go on",
    Ask.STOP: "was asked to stop before the next cut",
    Ask.AT_ONCE: "was asked to break off at once",
}
_STRENGTHS: Final = {Ask.STOP.value: 1, Ask.AT_ONCE.value: 2}
"""A wish is kept in the place of the one before: a weaker one must not hide one not yet obeyed."""


def last_sending(section: Section) -> Sending | None:
    """The last sending of a section by which something was sent, or may still be."""
    found = Sending.objects.filter(section=section).exclude(state=Sending.State.REFUSED)
    related = found.select_related("machine", "asked_by", "computation", "goes_on", "record")
    return related.order_by("-number").first()


def begin(
    section: Section, machine: int, *, is_anew: bool, is_ready: bool, who: Person | None
) -> Sending:
    """Ask for a section to be sent from its beginning.

    Args:
        section: that is to be cut.
        machine: key of the machine.
        is_anew: whether a person says that nothing of it is cut in the film, although it was sent.
        is_ready: whether a person says that the machine stands ready.
        who: asks.

    Raises:
        InputError: it may not be sent now; the sentence says why.
    """
    _require_open(section)
    row = _free_machine(machine)
    if sentence := why_being_bent(section):
        raise InputError(sentence)
    if not is_ready:
        raise InputError(
            "Look first: film led in and straight, the section's start under the head, nobody's "
            "hands at it. Then tick that, and send."
        )
    before = last_sending(section)
    if before is not None and not is_anew:
        raise InputError(
            f"Section {section.number} was sent already ({before.get_state_display()}): go on with "
            "it, or say what became of its pieces. Only if nothing of it is cut, send it anew."
        )
    if not cuts_alike(values_for(section), read_values(row.values)):
        raise InputError(
            f"The program was made for another knife or calibration than {row} has now; have the "
            "programs made for it first."
        )
    return _ask(section, row, who=who)


def go_on(
    section: Section, *, seen: int, done: int | None, is_cleared: bool, who: Person | None
) -> Sending:
    """Ask for the rest of a section's program to be sent.

    Args:
        section: whose program was begun.
        seen: number of the sending that the person saw.
        done: how many cuts are whole on the film, as a person saw; None after a stop between two.
        is_cleared: whether a person says that the machine was cleared and counts from the same
            place.
        who: asks.

    Raises:
        InputError: it cannot be gone on with so; the sentence says why.
    """
    _require_open(section)
    before = last_sending(section)
    if before is None or before.account is None or before.number != seen:
        raise InputError("Something else happened to this section meanwhile; look at it again.")
    account = before.account
    is_forced = before.state in FORCED
    if is_forced and not is_cleared:
        raise InputError(
            "Clear the machine by its own means first, see that the knife is up and that it counts "
            "from the same place as before; then say so."
        )
    least, most = account["whole"], account["begun"]
    if done is None:
        if is_forced and least < most:
            raise InputError("Look at the film and say which cuts are whole.")
        done = most
    if not least <= done <= most:
        raise InputError(f"From {least} to {most} cuts can be whole, not {done}; look again.")
    if done >= account["count"]:
        raise InputError("Nothing is left to be sent: all cuts were handed over.")
    row = _free_machine(before.machine_id)
    if row.address != before.address:
        raise InputError(f"{row} has another address by now; the rest goes to where it was begun.")
    return _ask(section, row, who=who, before=before, done=done, is_cleared=is_cleared)


def wish(sending: Sending, what: str, *, who: Person | None) -> None:
    """Ask something of a sending that goes on; what does not apply any more is said.

    Raises:
        InputError: it has ended, or there is no such wish.
    """
    try:
        asked = Ask(what)
    except ValueError as error:
        raise InputError("Open the page anew and ask again.") from error
    if sending.is_open and _STRENGTHS.get(sending.wish, 0) > _STRENGTHS.get(asked.value, 0):
        raise InputError("It is being stopped already; wait until it has ended.")
    called_off = asked in (Ask.STOP, Ask.AT_ONCE) and Sending.objects.filter(
        pk=sending.pk, state=Sending.State.ASKED
    ).update(state=Sending.State.REFUSED, sentence="It was called off before it began.")
    if called_off:
        if sending.computation_id is not None:
            rows.ask_stop(sending.computation_id)
        words = "was called off before it began"
    else:
        changed = Sending.objects.filter(pk=sending.pk, state__in=OPEN).update(
            wish=asked.value, wish_number=F("wish_number") + 1, wished_by=who
        )
        if not changed:
            raise InputError("It has ended meanwhile; look what came of it.")
        words = _WISHES[asked]
    write_event(
        "sending.asked",
        f"The sending of {_called(sending.section)} {words}.",
        who=who,
        job=sending.section.layout.job,
        after={"sending": sending.pk, "wish": asked.value},
    )


def stop_sending(inputs: Mapping[str, Any], who: Person | None) -> str:
    """Ask a sending to end at the next safe point, as its own page does; call it in a transaction.

    Args:
        inputs: of its computation.
        who: asks.

    Returns:
        What will happen, in a sentence.
    """
    found = Sending.objects.select_related("section__layout__job").filter(pk=inputs["sending"])
    row = found.first()
    if row is None:
        return "Its sending is gone."
    Job.objects.select_for_update().get(pk=row.section.layout.job_id)
    row.refresh_from_db(fields=["state", "wish"])
    try:
        wish(row, Ask.STOP.value, who=who)
    except InputError as error:
        return str(error)
    return (
        "It stops before the next cut, with the knife up. At once only on the section's own page, "
        "and surely at the machine alone."
    )


def is_abandoned(sending: Sending) -> bool:
    """Whether a sending goes on by its row, and its worker was ended for good."""
    made = sending.computation
    return sending.is_open and made is not None and made.is_over


def find_out(section: Section, *, who: Person | None) -> None:
    """Have a worker say from the record what became of a sending whose worker was ended.

    One that had not begun is called off: nobody who asks what was cut wants it to begin.

    Raises:
        InputError: there is no such sending.
    """
    last = last_sending(section)
    if last is None or not is_abandoned(last):
        raise InputError("It goes on, or has ended; look at it again.")
    called_off = Sending.objects.filter(pk=last.pk, state=Sending.State.ASKED).update(
        state=Sending.State.REFUSED, sentence="Its worker was ended before it began."
    )
    if not called_off:
        last.computation = ask(TASK, {"sending": last.pk}, who=who)
        last.save(update_fields=["computation"])


def _require_open(section: Section) -> None:
    if section.state != Section.State.OPEN or section.layout.state != Layout.State.KEPT:
        raise InputError(
            f"Section {section.number} is not to be cut: it is “{section.get_state_display()}”."
        )
    if sentence := why_busy(section):
        raise InputError(sentence)


def _free_machine(key: int) -> Machine:
    row = locked_machine(key)
    if row.is_retired:
        raise InputError(f"{row} is no longer in use; choose another.")
    if not row.address:
        raise InputError(f"{row} has no address; the owner writes it under “Machines”.")
    read_address(row.address)
    other = row.sendings.filter(state__in=OPEN).select_related("section__layout__job", "asked_by")
    found = other.first()
    if found is not None:
        raise InputError(
            f"{row} is cutting {_called(found.section)} of job {found.section.layout.job.number}, "
            f"{who_and_when(found)}. Wait until that has ended."
        )
    return row


def _ask(
    section: Section,
    machine: Machine,
    *,
    who: Person | None,
    before: Sending | None = None,
    done: int | None = None,
    is_cleared: bool = False,
) -> Sending:
    program = section.program if before is None else before.program
    if program is None:
        raise InputError("The section has no program.")
    last = section.sendings.order_by("-number").values_list("number", flat=True).first()
    sending = Sending.objects.create(
        section=section,
        number=(last or 0) + 1,
        machine=machine,
        address=machine.address,
        values=machine.values if before is None else before.values,
        program=program,
        goes_on=before,
        done=done,
        is_cleared=is_cleared,
        record_name=f"{uuid.uuid4().hex}.sending" if before is None else before.record_name,
        asked_by=who,
    )
    sending.computation = ask(TASK, {"sending": sending.pk}, who=who)
    sending.save(update_fields=["computation"])
    rest = "" if before is None else f", from cut {(done or 0) + 1} on"
    write_event(
        "sending.asked",
        f"{_called(section).capitalize()} is sent to {machine}{rest}.",
        who=who,
        job=section.layout.job,
        after={"sending": sending.pk, "machine": machine.pk, "done": done},
    )
    return sending


def _called(section: Section) -> str:
    return f"section {section.number} of layout {section.layout.number}"
