"""Programs made for a machine, with or without witness marks, and what is known of them."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from layflat.base import InputError, LayflatError, Progress, part_of, silent
from layflat.cut import (
    NO_WISHES,
    Bridge,
    Cut,
    CutProgram,
    SectionProgram,
    TipError,
    Wishes,
    Witness,
    machine_toml,
    plain_text,
    program_from_text,
    told_text,
)
from layflat.cut import Machine as Values
from layflat.nest import layout_drawing
from layflat.pattern import Drawing
from layflat.web.cutting.models import Layout, Section, called
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.programs import Made, MadeSection, make_programs
from layflat.web.cutting.sharing import lock_jobs, pattern_files_of
from layflat.web.cutting.stored import layout_of
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.files.store import path_of
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.sending.models import Machine, Prepared, Reading, Sending
from layflat.web.sending.values import cuts_alike, generic, read_values
from layflat.web.sending.wishes import wished_words, wishes_of
from layflat.web.work.models import Computation
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import ask

TASK: Final = "sending.prepare"
_MOST_BYTES: Final = 100_000_000
_UNKNOWN: Final = TipError(
    max_away_mm=float("nan"),
    max_corner_mm=float("nan"),
    p95_mm=float("nan"),
    uncut_mm=float("nan"),
    stray_mm=float("nan"),
    least_overlap_mm=float("nan"),
)


def why_not_made_anew(layout: Layout) -> str:
    """Why a layout's programs stay as they are, or ""."""
    if layout.state != Layout.State.KEPT:
        return f"Layout {layout.number} is not to be cut; its programs stay as they are."
    untouched = (Section.State.OPEN, Section.State.LEFT)
    if layout.sections.exclude(state__in=untouched).exists():
        return "A section of this layout is cut; the programs of the others stay as they are."
    sent = Sending.objects.filter(section__layout=layout).exclude(state=Sending.State.REFUSED)
    if sent.exists():
        return "A section of this layout was sent; the programs of the others stay as they are."
    return ""


def ask_for_programs(
    layout: Layout,
    machine: Machine,
    *,
    every_mm: float | None,
    wishes: Wishes = NO_WISHES,
    who: Person | None,
) -> int:
    """Have a layout's programs made for a machine; answers the computation's key.

    Call it in a transaction, on a locked job.

    Args:
        layout: a kept one, of which nothing is cut or sent.
        machine: that they are made for.
        every_mm: after how much feed the head returns to a witness mark; None without marks.
        wishes: weed lines, and what holds pieces.
        who: asks.

    Raises:
        InputError: a section of it is cut, or was sent.
    """
    if sentence := why_not_made_anew(layout):
        raise InputError(sentence)
    wished = dataclasses.asdict(wishes)
    inputs = {
        "layout": layout.pk,
        "found": layout.found,
        "pieces": pattern_files_of(layout),
        "machine": machine.values,
        "every_mm": every_mm,
        "wishes": wished,
    }
    marks = "" if every_mm is None else f", with witness marks every {every_mm:g} mm"
    marks += "".join(f", with {words}" for words in wished_words(wishes))
    write_event(
        "sending.prepare",
        f"Programs of layout {layout.number} are made for {machine}{marks}.",
        who=who,
        job=layout.job,
        after={
            "layout": layout.pk,
            "machine": machine.pk,
            "every_mm": every_mm,
            "wishes": wished,
        },
    )
    return ask(TASK, inputs, who=who).pk


def prepare_for_the_only_machine(layout: Layout) -> None:
    """Have a kept layout's programs made for the shop's machine, if it has just one.

    Those that were made when it was kept are for the plotter that stands for any. Call it in the
    transaction that keeps the layout, its job locked.
    """
    machines = list(Machine.objects.filter(is_retired=False)[:2])
    if len(machines) == 1 and not cuts_alike(read_values(machines[0].values), generic()):
        ask_for_programs(layout, machines[0], every_mm=None, who=layout.kept_by)


def making(layout: Layout) -> Computation | None:
    """The making of a layout's programs that was asked for last, unless it is done."""
    rows = Computation.objects.filter(task=TASK, inputs__layout=layout.pk).defer("inputs")
    last = rows.order_by("-asked_at", "-id").first()
    return None if last is None or last.state == Work.DONE else last


def prepare(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Make a kept layout's programs for a machine, in the place of those that it has.

    Args:
        inputs: `layout`, `found`, `pieces` as for `layflat.web.cutting.keeping`; `machine`, its
            file's text; `every_mm`, or None; `wishes`, as plain values.
        progress: told what is being done.

    Returns:
        `sections`, how many.

    Raises:
        LayflatError: a program fails its check, or a section was cut or sent meanwhile.
    """
    patterns = read_patterns(inputs["pieces"])
    every_mm = inputs["every_mm"]
    made = make_programs(
        inputs["found"],
        patterns,
        machine=read_values(inputs["machine"]),
        every_mm=every_mm,
        wishes=wishes_of(inputs["wishes"]),
        progress=part_of(progress, start=0.0, end=0.95),
    )
    with transaction.atomic():
        lock_jobs(Layout.objects.get(pk=inputs["layout"]))
        layout = Layout.objects.select_related("job").get(pk=inputs["layout"])
        if sentence := why_not_made_anew(layout):
            raise InputError(sentence)
        _write(layout, made, machine=inputs["machine"], every_mm=every_mm)
    return {"sections": len(made.sections)}


def _write(layout: Layout, made: Made, *, machine: str, every_mm: float | None) -> None:
    rows = {section.number: section for section in layout.sections.all()}
    values = read_values(machine)
    for one in made.sections:
        section = rows[one.number]
        name = f"{layout.job.number}-layout-{layout.number}-section-{one.number}"
        told = told_text(one.program.hpgl, values).encode("ascii")
        section.program = _kept(told, f"{name}.hpgl", "text/plain")
        section.simulated = _kept(one.simulated, f"{name}.json", "application/json")
        section.seconds = one.seconds
        section.save(update_fields=["program", "simulated", "seconds"])
        Prepared.objects.update_or_create(
            section=section,
            defaults={
                "machine": machine,
                "every_mm": every_mm,
                "made": made_json(one.program),
                "straight": None,
                "bent_by": None,
            },
        )
    # Marks that were read are those of the programs before: they say nothing to these.
    Reading.objects.filter(section__layout=layout).update(against=None)
    layout.checked, layout.notes = made.checked, list(made.notes)
    layout.version += 1
    layout.save(update_fields=["checked", "notes", "version"])


def _kept(data: bytes, name: str, media_type: str) -> StoredFile:
    return keep_file([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)


def made_json(program: SectionProgram) -> dict[str, Any]:
    """All that is known of a section's program beside its text, as plain values."""
    values = dataclasses.asdict(program)
    del values["hpgl"]
    return values


def made_of(values: Mapping[str, Any], hpgl: str) -> SectionProgram:
    """The program that `made_json` wrote, with its text."""
    apart = ("cuts", "witnesses", "bridges")
    rest = {name: value for name, value in values.items() if name not in apart}
    return SectionProgram(
        **rest | {"pieces": tuple(values["pieces"])},
        hpgl=hpgl,
        witnesses=tuple(Witness(**one) for one in values["witnesses"]),
        cuts=tuple(Cut(**one) for one in values["cuts"]),
        # What was made before there were any says nothing of them.
        bridges=tuple(Bridge(**one) for one in values.get("bridges", ())),
    )


def values_for(section: Section) -> Values:
    """The machine that a section's program was made for."""
    prepared = Prepared.objects.filter(section=section).first()
    return generic() if prepared is None else read_values(prepared.machine)


def drawing_of(layout: Layout) -> Drawing:
    """A kept layout as a drawing.

    Raises:
        InputError: it, or a pattern, cannot be read.
    """
    if layout.found is None:
        raise InputError("The layout is not kept.")
    return layout_drawing(layout_of(layout.found, _patterns(layout)))


def _patterns(layout: Layout) -> Any:
    return read_patterns(pattern_files_of(layout))


def text_of(section: Section) -> str:
    """The plain text of a section's program, whatever way its machine counts.

    Raises:
        InputError: its file is missing, or is not for the machine that it was made for.
    """
    if section.program is None:
        raise InputError("The section has no program.")
    return text_in(section.program, values_for(section))


def text_in(file: StoredFile, machine: Values) -> str:
    """The plain text of a program in a file, whatever way its machine counts.

    Raises:
        InputError: the file is missing, or is not for the machine.
    """
    try:
        told = path_of(file.sha256).read_text("ascii")
    except OSError as error:
        raise InputError("The program is no longer in the data folder.") from error
    return plain_text(told, machine)


def program_of(layout: Layout, *, progress: Progress = silent) -> CutProgram:
    """A kept layout's program with all that is known of every section.

    Where the sections were not prepared for a machine it is made once more, as it was when the
    layout was kept; where that gives other bytes by now, what can be read from the text must do.

    Raises:
        LayflatError: the layout, a pattern or a program cannot be read.
    """
    sections = list(layout.sections.select_related("program", "prepared"))
    texts = {section.number: text_of(section) for section in sections}
    if all(hasattr(section, "prepared") for section in sections):
        found = [made_of(row.prepared.made, texts[row.number]) for row in sections]
        return _whole(found, read_values(sections[0].prepared.machine))
    machine = generic()
    made: dict[int, MadeSection] = {}
    try:
        again = make_programs(layout.found or {}, _patterns(layout), progress=progress)
        made = {one.number: one for one in again.sections}
    except LayflatError:
        pass  # the text is what is cut, and is read below
    drawing = drawing_of(layout)
    found = []
    for section in sections:
        text, anew = texts[section.number], made.get(section.number)
        if anew is not None and anew.hpgl.decode("ascii") == text:
            found.append(anew.program)
        else:
            read = program_from_text(text, drawing, machine, number=section.number)
            found.append(next(one for one in read.sections if one.number == section.number))
    for section, one in zip(sections, found, strict=True):
        Prepared.objects.get_or_create(
            section=section,
            defaults={"machine": machine_toml(machine), "made": made_json(one)},
        )
    return _whole(found, machine)


def _whole(sections: list[SectionProgram], machine: Values) -> CutProgram:
    """Sections as one program; its text as a whole is asked for by nobody here."""
    return CutProgram(machine=machine.name, sections=tuple(sections), hpgl="", tip_error=_UNKNOWN)


def piece_number(name: str) -> int:
    """The number within the layout in a program's name of a piece, such as “3 hood”."""
    return int(name.split(" ", 1)[0])


def piece_called(name: str) -> str:
    """A program's name of a piece as people read it: its job's letter in front where jobs share."""
    number, _, rest = name.partition(" ")
    return f"{called(int(number))} {rest}"
