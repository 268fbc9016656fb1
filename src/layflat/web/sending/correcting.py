"""Programs of the sections that follow, bent against a drift that witness marks told."""

from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from layflat.base import InputError, Progress
from layflat.cut import bent_section, told_text
from layflat.web.cutting.models import Section
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.sending.bending import (
    CORRECT,
    STRAIGHT,
    behind,
    bent_against,
    slip_from,
    straight_file,
    straight_program,
)
from layflat.web.sending.models import Prepared, Reading
from layflat.web.sending.values import read_values
from layflat.web.work.models import OVER, Computation
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import ask

TASK: Final = "sending.correct"
_MOST_BYTES: Final = 100_000_000


def to_correct(reading: Reading) -> list[Section]:
    """The sections behind the one that was read whose programs are not yet as the reading says.

    None once they are, or once the marks were read again: the last reading of a section counts.
    """
    if reading.against is None or reading.section.readings.filter(pk__gt=reading.pk).exists():
        return []
    return [
        row
        for row in behind(reading.section)
        if bent_against(row.prepared) not in (None, reading.against)
    ]


def ask_to_correct(reading: Reading, *, who: Person | None) -> int:
    """Have the sections that follow cut as a reading says; answers the computation's key.

    Call it in a transaction, on a locked job.

    Raises:
        InputError: nothing follows that is not so already.
    """
    rows = to_correct(reading)
    if not rows:
        raise InputError(
            "No section that is still to be cut follows, or they are made so already; there is "
            "nothing to correct."
        )
    place = f"section {reading.section.number} of layout {reading.section.layout.number}"
    write_event(
        "sending.correct",
        f"Sections behind {place} are bent against the drift."
        if reading.verdict == CORRECT
        else f"Sections behind {place} are made as it was.",
        who=who,
        job=reading.section.layout.job,
        after={"reading": reading.pk},
    )
    # By its sections another correction by the same reading is told from one that is done.
    return ask(TASK, {"reading": reading.pk, "sections": [row.pk for row in rows]}, who=who).pk


def correction_of(reading: Reading) -> Computation | None:
    """The correction by a reading that was asked for last, unless it is done."""
    rows = Computation.objects.filter(task=TASK, inputs__reading=reading.pk)
    last = rows.order_by("-asked_at", "-id").first()
    return None if last is None or last.state == Work.DONE else last


def why_being_bent(section: Section) -> str:
    """Why a section must not be sent yet, in a sentence; "" while nobody has it bent."""
    open_rows = Computation.objects.filter(task=TASK).exclude(state__in=OVER)
    readings = [inputs["reading"] for inputs in open_rows.values_list("inputs", flat=True)]
    before = Reading.objects.filter(
        pk__in=readings, section__layout=section.layout_id, section__number__lt=section.number
    )
    if not before.exists():
        return ""
    return f"Section {section.number} is being bent against a drift; wait for that."


def correct(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Make the programs of the sections that follow as a reading says, once however often it runs.

    Args:
        inputs: `reading`, the row's key.
        progress: told what is being done.

    Returns:
        `sections`, how many were changed.

    Raises:
        LayflatError: a bent program would not cut where it is meant to, the programs were made
            anew since the marks were read, or a section was sent meanwhile.
    """
    reading = _read(inputs["reading"])
    if reading.against is None:
        raise InputError("The marks that were read are not those of these programs; read again.")
    rows = to_correct(reading)
    progress("bending the programs", 0.3)
    files = {row.pk: _file(row, reading.against) for row in rows}
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=reading.section.layout.job_id)
        rows = to_correct(_read(reading.pk))
        if {row.pk for row in rows} != set(files):
            raise InputError("A section was sent or ticked meanwhile; look at it again.")
        for row in rows:
            straight = straight_file(row)
            row.program = files[row.pk]
            row.save(update_fields=["program"])
            Prepared.objects.filter(section=row).update(straight=straight, bent_by=reading)
    return {"sections": len(files)}


def _read(key: int) -> Reading:
    return Reading.objects.select_related("section__layout__job").get(pk=key)


def _file(section: Section, against: Mapping[str, Any]) -> StoredFile:
    """A section's program, made from the straight one."""
    if against == STRAIGHT:
        return straight_file(section)
    machine = read_values(section.prepared.machine)
    bent = bent_section(straight_program(section), slip_from(against), machine)
    layout = section.layout
    return keep_file(
        [told_text(bent.hpgl, machine).encode("ascii")],
        name=f"{layout.job.number}-layout-{layout.number}-section-{section.number}.hpgl",
        media_type="text/plain",
        most_bytes=_MOST_BYTES,
        who=None,
    )
