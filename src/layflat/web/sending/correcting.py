"""Programs of the sections that follow, bent against a drift that witness marks told."""

from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from layflat.base import InputError, Progress
from layflat.cut import straightened, told_text
from layflat.web.cutting.models import Layout, Section
from layflat.web.files.store import keep as keep_file
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.sending.models import Prepared, Reading, Sending
from layflat.web.sending.prepared import drawing_of, made_json, program_of
from layflat.web.sending.readings import drift_of
from layflat.web.sending.values import read_values
from layflat.web.work.tasks import ask

TASK: Final = "sending.correct"
CORRECT: Final = "correct"
_MOST_BYTES: Final = 100_000_000


def to_correct(reading: Reading) -> list[Section]:
    """The sections behind the one that was read that are still to be cut and were not sent."""
    section = reading.section
    rows = section.layout.sections.filter(number__gt=section.number, state=Section.State.OPEN)
    sent = Sending.objects.exclude(state=Sending.State.REFUSED).values("section")
    return list(rows.exclude(pk__in=sent).select_related("program", "prepared"))


def ask_to_correct(reading: Reading, *, who: Person | None) -> int:
    """Have the sections that follow cut against the drift; answers the computation's key.

    Call it in a transaction, on a locked job.

    Raises:
        InputError: the reading does not say so, or nothing follows.
    """
    if reading.verdict != CORRECT:
        raise InputError("What was read does not ask for a correction.")
    if not to_correct(reading):
        raise InputError("No section that is still to be cut follows; there is nothing to correct.")
    write_event(
        "sending.correct",
        f"Sections behind section {reading.section.number} of layout "
        f"{reading.section.layout.number} are bent against the drift.",
        who=who,
        job=reading.section.layout.job,
        after={"reading": reading.pk},
    )
    return ask(TASK, {"reading": reading.pk}, who=who).pk


def correct(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Bend the programs of the sections that follow a reading, once.

    Args:
        inputs: `reading`, the row's key.
        progress: told what is being done.

    Returns:
        `sections`, how many were bent.

    Raises:
        LayflatError: a bent program would not cut where it is meant to, or a section was sent
            meanwhile.
    """
    reading = Reading.objects.select_related(
        "section__layout__job", "section__layout__outcome"
    ).get(pk=inputs["reading"])
    layout: Layout = reading.section.layout
    wanted = {section.number for section in to_correct(reading)}
    program, drawing = program_of(layout), drawing_of(layout)
    machine = read_values(Prepared.objects.get(section=reading.section).machine)
    drift = drift_of(layout, reading.section.number, reading.marks, is_sure=reading.is_sure)
    progress("bending the programs", 0.3)
    bent = straightened(program, drift, drawing, machine)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=layout.job_id)
        rows = {section.number: section for section in to_correct(reading)}
        if set(rows) != wanted:
            raise InputError("A section was sent or ticked meanwhile; look at it again.")
        for one in bent.sections:
            if one.number not in rows:
                continue
            section = rows[one.number]
            name = f"{layout.job.number}-layout-{layout.number}-section-{one.number}.hpgl"
            section.program = keep_file(
                [told_text(one.hpgl, machine).encode("ascii")],
                name=name,
                media_type="text/plain",
                most_bytes=_MOST_BYTES,
                who=None,
            )
            section.save(update_fields=["program"])
            Prepared.objects.filter(section=section).update(made=made_json(one))
    return {"sections": len(wanted)}
