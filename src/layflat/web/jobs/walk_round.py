"""The walk-round: faults on the vehicle, warnings that the customer acknowledges, and the gate.

Every function that changes something is called on a locked job within a transaction.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Max
from django.utils import timezone

from layflat.base import InputError
from layflat.web.files.store import keep
from layflat.web.jobs.kinds import KINDS, kind_named
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.jobs.pictures import MEDIA_TYPE, MOST_BYTES, Picture
from layflat.web.jobs.stages import move
from layflat.web.people.models import Person
from layflat.web.record.models import write_event


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A fault as it was tapped.

    Attributes:
        kind: a name of `kinds`.
        panel, note: in words.
        at_mm: place on the body, or None.
        view, across, along: place on a drawn view as fractions, or "" and None.
    """

    kind: str
    panel: str = ""
    note: str = ""
    at_mm: tuple[float, float, float] | None = None
    view: str = ""
    across: float | None = None
    along: float | None = None


@dataclass(frozen=True)
class Waiting:
    """What the gate after the walk-round waits for, in words; it is open when there is nothing."""

    sentences: tuple[str, ...]

    @property
    def is_open(self) -> bool:
        """Whether the walk-round may be closed."""
        return not self.sentences


def gate(job: Job, faults: Iterable[Fault]) -> Waiting:
    """What the walk-round's gate waits for, given all of the job's faults."""
    sentences = []
    if job.stage == Stage.ENQUIRY:
        sentences.append("The walk-round has not begun.")
    sentences += [
        f"The customer has not acknowledged fault {fault.number}, "
        f"{kind_named(fault.kind).word.lower()}{_on(fault)}."
        for fault in faults
        if fault.is_open_warning
    ]
    return Waiting(tuple(sentences))


def add_fault(job: Job, seen: Seen, *, picture: Picture | None, who: Person | None) -> Fault:
    """Note a fault.

    Raises:
        InputError: the walk-round is not going on, or nobody knows such a kind.
        OutputError: the picture cannot be kept.
    """
    _must_be_going_on(job)
    kind = kind_named(seen.kind)
    if kind not in KINDS:
        raise InputError("Choose what kind of fault it is.")
    last = job.faults.aggregate(last=Max("number"))["last"] or 0
    x, y, z = seen.at_mm or (None, None, None)
    stored = [
        keep(
            [data],
            name=f"{job.number}-fault-{last + 1}{part}.jpg",
            media_type=MEDIA_TYPE,
            most_bytes=MOST_BYTES,
            who=who,
        )
        for data, part in ([(picture.whole, ""), (picture.thumb, "-small")] if picture else [])
    ]
    fault = Fault.objects.create(
        job=job,
        number=last + 1,
        kind=kind.name,
        panel=seen.panel,
        note=seen.note,
        x_mm=x,
        y_mm=y,
        z_mm=z,
        view=seen.view,
        across=seen.across,
        along=seen.along,
        photo=stored[0] if stored else None,
        thumb=stored[1] if stored else None,
        is_warning=bool(kind.caution),
    )
    note = f": {seen.note}" if seen.note else ""
    write_event(
        "fault.added",
        f"Fault {fault.number} noted, {kind.word.lower()}{_on(fault)}{note}",
        who=who,
        job=job,
        after={"fault": fault.number},
    )
    return fault


def withdraw_fault(job: Job, number: int, *, reason: str, who: Person | None) -> None:
    """Say that a fault was none; it keeps its number. Nothing when it is withdrawn already.

    Raises:
        InputError: without a reason, for an unknown fault, or when the walk-round is not going on.
    """
    _must_be_going_on(job)
    reason = reason.strip()
    if not reason:
        raise InputError("Say why the fault is withdrawn; the reason stays in the history.")
    fault = _fault(job, number)
    if not fault.is_withdrawn:
        _set_withdrawn(fault, is_withdrawn=True, reason=reason)
        _write(job, "fault.withdrawn", f"Fault {number} withdrawn: {reason}", number, who)


def restore_fault(job: Job, number: int, *, who: Person | None) -> None:
    """Take a withdrawal back. Nothing when the fault is not withdrawn.

    Raises:
        InputError: for an unknown fault, or when the walk-round is not going on.
    """
    _must_be_going_on(job)
    fault = _fault(job, number)
    if fault.is_withdrawn:
        _set_withdrawn(fault, is_withdrawn=False, reason="")
        _write(job, "fault.restored", f"Fault {number} stands again.", number, who)


def acknowledge(
    job: Job, numbers: Sequence[int], *, name: str, who: Person | None, through: str
) -> None:
    """The customer acknowledges the warnings that faults carry.

    Args:
        job: locked.
        numbers: of the faults.
        name: as the customer typed it.
        who: person of the shop who handed the tablet over; None through a private link.
        through: how it was done, in words such as "on the tablet".

    Raises:
        InputError: without a name, or a fault carries no open warning.
    """
    name = " ".join(name.split())
    if not name:
        raise InputError("Type the name of the person who acknowledges.")
    if not numbers:
        raise InputError("Tick each warning that is acknowledged.")
    faults = {fault.number: fault for fault in job.faults.filter(number__in=numbers)}
    now = timezone.now()
    for number in sorted(set(numbers)):
        fault = faults.get(number)
        if fault is None or not fault.is_open_warning:
            raise InputError(f"Fault {number} has no warning that waits; open the page anew.")
        kind = kind_named(fault.kind)
        fault.acknowledged_at, fault.acknowledged_by = now, name
        fault.save(update_fields=["acknowledged_at", "acknowledged_by"])
        write_event(
            "warning.acknowledged",
            f"{name} acknowledged the warning of fault {number}, {kind.word.lower()}, {through}.",
            who=who,
            by=f"{name} (customer)",
            job=job,
            after={"fault": number, "name": name, "words": kind.caution},
        )


def close_walk_round(job: Job, *, nothing_found: bool, who: Person | None) -> None:
    """Go on to the cover. Nothing when that has been done already.

    Raises:
        InputError: the gate waits for something, or no fault is noted and nobody said so.
    """
    if job.stage == Stage.COVER:
        return
    _must_be_going_on(job)
    faults = list(job.faults.filter(is_withdrawn=False))
    waiting = gate(job, faults)
    if not waiting.is_open:
        raise InputError(" ".join(waiting.sentences))
    if not faults and not nothing_found:
        raise InputError("No fault is noted; tick that there was none, or note what there is.")
    found = f"{len(faults)} fault{'s' if len(faults) != 1 else ''}" if faults else "no fault"
    move(
        job,
        Stage.COVER,
        who=who,
        kind="job.walked-round",
        sentence=f"The walk-round was closed with {found}.",
    )


def _must_be_going_on(job: Job) -> None:
    if job.stage != Stage.INTAKE:
        raise InputError(
            f"The job stands at “{Stage(job.stage).label}”; faults change only during the "
            "walk-round. Bring the job there first."
        )


def _fault(job: Job, number: int) -> Fault:
    fault = job.faults.filter(number=number).first()
    if fault is None:
        raise InputError(f"Job {job.number} has no fault {number}.")
    return fault


def _set_withdrawn(fault: Fault, *, is_withdrawn: bool, reason: str) -> None:
    fault.is_withdrawn, fault.withdrawn_reason = is_withdrawn, reason
    fault.save(update_fields=["is_withdrawn", "withdrawn_reason"])


def _write(job: Job, kind: str, sentence: str, number: int, who: Person | None) -> None:
    write_event(kind, sentence, who=who, job=job, after={"fault": number})


def _on(fault: Fault) -> str:
    return f", {fault.where}" if fault.where else ""
