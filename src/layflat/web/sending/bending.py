"""What a section's program is bent against, and what those behind it are to be bent against.

A reading tells how far the film slipped beside what the section that was read is bent against. The
film's own slip is both together, and that is what the sections behind are bent against, always
from their straight programs: bending anew takes the place of what was done before.
"""

from collections.abc import Mapping
from typing import Any, Final

from layflat.base import InputError
from layflat.cut import (
    Drift,
    SectionProgram,
    Slip,
    beyond_reach_mm,
    slip_of,
)
from layflat.web.cutting.models import Section
from layflat.web.files.models import StoredFile
from layflat.web.sending.models import Prepared, Reading, Sending
from layflat.web.sending.prepared import made_of, text_in
from layflat.web.sending.values import read_values

CORRECT: Final = "correct"
STRAIGHT: Final[Mapping[str, Any]] = {"fed": [0.0, 0.0], "travelled": [0.0, 0.0]}
"""What a program is bent against that is as it was made."""


def slip_json(slip: Slip) -> dict[str, Any]:
    """A slip as plain values."""
    return {"fed": slip.fed.tolist(), "travelled": slip.travelled.tolist()}


def slip_from(values: Mapping[str, Any]) -> Slip:
    """The slip that `slip_json` wrote."""
    return Slip(fed=values["fed"], travelled=values["travelled"])


def bent_against(prepared: Prepared) -> Mapping[str, Any] | None:
    """The slip that a program is bent against; None where nobody knows."""
    return STRAIGHT if prepared.bent_by is None else prepared.bent_by.against


def behind(section: Section) -> list[Section]:
    """The sections behind one that may still be bent by what is read off its marks.

    They are to be cut and were not sent. One whose own marks were read is cut by now, and what was
    read nearer to a section knows its film better.
    """
    sent = Sending.objects.exclude(state=Sending.State.REFUSED).values("section")
    read = Reading.objects.filter(against__isnull=False).values("section")
    rows = section.layout.sections.filter(
        number__gt=section.number, state=Section.State.OPEN, prepared__isnull=False
    )
    related = ("program", "prepared__straight", "prepared__bent_by__section")
    found = rows.exclude(pk__in=sent).exclude(pk__in=read).select_related(*related)
    return [
        row
        for row in found
        if row.prepared.bent_by is None or row.prepared.bent_by.section.number <= section.number
    ]


def against_of(section: Section, drift: Drift) -> dict[str, Any] | None:
    """What the sections behind one are to be bent against, after its marks were read.

    Where they say correct it is the film's own slip; else what the section itself is bent against,
    so that the others are cut as it was. None where nobody knows that.
    """
    own = bent_against(Prepared.objects.select_related("bent_by").get(section=section))
    if own is None:
        return None
    if drift.verdict != CORRECT:
        return dict(own)
    return slip_json(slip_from(own) + slip_of(drift))


def why_not_bent(section: Section, against: Mapping[str, Any] | None) -> str:
    """Why the sections behind one cannot be bent, or "".

    Raises:
        InputError: a program is no longer in the data folder.
    """
    if against is None:
        return (
            f"section {section.number} was bent before, and against what is not known any more; "
            "lead the film anew"
        )
    for row in behind(section):
        if bent_against(row.prepared) is None:
            return (
                f"section {row.number} was bent before, and against what is not known any more; "
                "lead the film anew"
            )
        beyond = beyond_reach_mm(
            straight_program(row), slip_from(against), read_values(row.prepared.machine)
        )
        if beyond > 0.0:
            return (
                f"section {row.number} cannot be bent against it, since the head would have to go "
                f"{beyond:.1f} mm beyond its reach; lead the film anew"
            )
    return ""


def straight_file(section: Section) -> StoredFile:
    """A section's program as it was made, before it was bent against anything.

    Raises:
        InputError: nobody kept it.
    """
    prepared = section.prepared
    kept = section.program if prepared.bent_by is None else prepared.straight
    if kept is None:
        raise InputError(f"The program of section {section.number} as it was made is gone.")
    return kept


def straight_program(section: Section) -> SectionProgram:
    """The same with all that is known of it.

    Raises:
        InputError: it is no longer in the data folder, or nobody kept it.
    """
    prepared = section.prepared
    text = text_in(straight_file(section), read_values(prepared.machine))
    return made_of(prepared.made, text)
