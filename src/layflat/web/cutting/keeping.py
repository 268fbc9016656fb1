"""Keeping a layout, with programs, sections, pieces of film and what they need of the roll; or not.

A kept layout is never computed again. Keeping takes two steps, since programs take a while: a
person chooses the best layout so far, which ends the search; a computation then makes the programs
and writes everything in one transaction, once however often it runs.
"""

import math
from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from layflat.base import FitError, InputError, Progress, part_of
from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.patterns import pattern_files, read_patterns
from layflat.web.cutting.pool import to_lay_out
from layflat.web.cutting.programs import Made, MadeSection, make_programs
from layflat.web.cutting.reserved import available_mm, keep_film, let_go
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event
from layflat.web.stock.amounts import film_length
from layflat.web.stock.rolls import locked_roll
from layflat.web.work import rows
from layflat.web.work.tasks import ask

TASK: Final = "cutting.programs"
PROGRAM_TYPE: Final = "text/plain"
_MOST_BYTES: Final = 100_000_000
_State = Layout.State


def keep(layout: Layout, *, who: Person | None) -> None:
    """Choose the best layout so far: the search ends, and its programs are made.

    Call it in a transaction, on a locked job. Asking again changes nothing; where the programs
    could not be made they are tried once more.

    Raises:
        InputError: nothing is found yet, or it was dropped.
        FitError: it is longer than what is free of the roll.
    """
    layout.refresh_from_db()
    if layout.state in (_State.KEPT, _State.CUT):
        return
    if layout.state == _State.DROPPED:
        raise InputError(f"Layout {layout.number} was dropped; lay the pieces out anew.")
    is_first = layout.found is None
    found = layout.so_far if is_first else layout.found
    if found is None:
        raise InputError("No layout is found yet; wait a moment, or drop it.")
    layout.found = found
    roll = locked_roll(layout.roll_id)
    free = available_mm(roll, layout.job)
    needed: float = found["length_mm"]
    if needed > free:
        shop = the_shop()
        raise FitError(
            f"This layout needs {film_length(math.ceil(needed), shop)} of film, and "
            f"{film_length(free, shop)} of {roll} are free for it. Drop it and take another "
            "roll, or fewer pieces."
        )
    if is_first and layout.computation is not None:
        rows.ask_stop(layout.computation.pk)
    pieces = layout.outcome.pieces.filter(number__in=layout.pieces).select_related("pattern")
    inputs = {"layout": layout.pk, "found": found, "pieces": pattern_files(pieces)}
    layout.computation = ask(TASK, inputs, who=who)
    layout.kept_by = who
    layout.version += is_first
    layout.save(update_fields=["found", "computation", "kept_by", "version"])
    if is_first:
        film = film_length(math.ceil(needed), the_shop())
        write_event(
            "cutting.chosen",
            f"Layout {layout.number} was chosen with {film} of film; its programs are being made.",
            who=who,
            job=layout.job,
            after={"layout": layout.pk, "length_mm": needed},
        )


def keep_with_programs(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Make the programs of a chosen layout, and with them all that keeping it means.

    Args:
        inputs: `layout`, the row's key; `found`, the layout as it is stored; `pieces`, pattern
            files by number.
        progress: told what is being done.

    Returns:
        `sections`, how many.

    Raises:
        LayflatError: the layout or a program fails its check, the roll is booked otherwise by now,
            or the layout was dropped; nothing is changed.
    """
    patterns = read_patterns(inputs["pieces"])
    made = make_programs(inputs["found"], patterns, progress=part_of(progress, start=0.0, end=0.95))
    with transaction.atomic():
        _write(inputs, made)
    return {"sections": len(made.sections)}


def _write(inputs: Mapping[str, Any], made: Made) -> None:
    row = Layout.objects.get(pk=inputs["layout"])
    job = Job.objects.select_for_update().get(pk=row.job_id)
    layout = Layout.objects.select_related("kept_by").get(pk=row.pk)
    if layout.state in (_State.KEPT, _State.CUT):
        return
    if layout.state == _State.DROPPED or layout.found is None:
        raise InputError(f"Layout {layout.number} was dropped meanwhile.")
    pieces = {piece.number: piece for piece in to_lay_out(job)}
    for number in layout.pieces:
        if number not in pieces or pieces[number].outcome_id != layout.outcome_id:
            raise InputError(
                f"Piece {number} needs no film any more; drop this layout and lay out the others."
            )
    who, roll = layout.kept_by, locked_roll(layout.roll_id)
    film_mm = sum(section.film_mm for section in made.sections)
    keep_film(roll, job, film_mm, who=who)
    for section in made.sections:
        _add_section(layout, section, pieces)
    layout.state = _State.KEPT
    layout.used_mm, layout.bound_mm = layout.found["length_mm"], layout.found["bound_mm"]
    layout.checked, layout.notes = made.checked, list(made.notes)
    layout.version += 1
    layout.save()
    count = len(made.sections)
    write_event(
        "cutting.kept",
        f"Layout {layout.number} is to be cut: {len(layout.pieces)} "
        f"piece{'' if len(layout.pieces) == 1 else 's'} in {count} "
        f"section{'' if count == 1 else 's'}, {film_length(film_mm, the_shop())} of {roll}, lot "
        f"{roll.lot}.",
        who=who,
        job=job,
        after={"layout": layout.pk, "roll": roll.pk, "film_mm": film_mm},
    )


def _add_section(layout: Layout, made: MadeSection, pieces: Mapping[int, Piece]) -> None:
    name = f"{layout.job.number}-layout-{layout.number}-section-{made.number}"
    section = Section.objects.create(
        layout=layout,
        number=made.number,
        start_mm=made.start_mm,
        end_mm=made.end_mm,
        film_mm=made.film_mm,
        program=_kept(made.hpgl, f"{name}.hpgl", PROGRAM_TYPE),
        simulated=_kept(made.simulated, f"{name}.json", "application/json"),
        seconds=made.seconds,
    )
    for number in made.pieces:
        piece = pieces[number]
        Cut.objects.create(
            section=section, piece=piece, number=number, attempt=piece.cuts.count() + 1
        )


def _kept(data: bytes, name: str, media_type: str) -> StoredFile:
    return keep_file([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)


def drop(layout: Layout, *, who: Person | None) -> None:
    """Use a layout no further: a search ends, film that was reserved is free, pieces are back.

    Call it in a transaction, on a locked job. Dropping twice changes nothing.

    Raises:
        InputError: a section is cut or spoiled; what is not cut of it is said to be spoiled.
    """
    layout.refresh_from_db()
    if layout.state == _State.DROPPED:
        return
    sections = list(layout.sections.all())
    if layout.state == _State.CUT or any(one.state != Section.State.OPEN for one in sections):
        raise InputError(
            f"A section of layout {layout.number} was cut, so it stays. Say of a section that is "
            "not to be cut any more that it is spoiled, with no film lost."
        )
    if layout.state == _State.SEARCHING and layout.computation is not None:
        rows.ask_stop(layout.computation.pk)
    was_kept = layout.state == _State.KEPT
    layout.state = _State.DROPPED
    layout.version += 1
    layout.save(update_fields=["state", "version"])
    if was_kept:
        # Film that was never cut was never there.
        Cut.objects.filter(section__layout=layout, state=Cut.State.PLACED).delete()
        film_mm = sum(section.film_mm for section in sections)
        let_go(locked_roll(layout.roll_id), layout.job, film_mm, who=who)
    write_event(
        "cutting.dropped",
        f"Layout {layout.number} was dropped"
        + (f"; what it had reserved of {layout.roll} is free." if was_kept else "."),
        who=who,
        job=layout.job,
        before={"layout": layout.pk},
    )
