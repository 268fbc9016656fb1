"""Keeping a layout, with programs, sections, pieces of film and what they need of the roll; or not.

A kept layout is never computed again. Keeping takes two steps, since programs take a while: a
person chooses the best layout so far, which ends the search; a computation then makes the programs
and writes everything in one transaction, once however often it runs.
"""

import math
from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction

from layflat.base import FitError, InputError, Progress, part_of
from layflat.pattern import pattern_area_mm2
from layflat.web.cover.models import Piece
from layflat.web.cutting.additions import tell_kept, why_busy
from layflat.web.cutting.along import along, next_place
from layflat.web.cutting.models import (
    Cut,
    Layout,
    Offcut,
    Section,
    Share,
    apart,
    called,
    number_in_layout,
)
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.pool import to_lay_out
from layflat.web.cutting.programs import Made, MadeSection, make_programs
from layflat.web.cutting.reserved import available_for, keep_film, let_go
from layflat.web.cutting.rests import Rest, Rests, rests_of
from layflat.web.cutting.sharing import (
    jobs_of,
    lock_jobs,
    members_of,
    pattern_files_of,
    shares_of,
    split,
    tell,
)
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
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

    It gets its place along the roll, behind all that was chosen before; layouts of a plan are
    chosen one after the other as they lie.

    Raises:
        InputError: nothing is found yet, or it was dropped.
        FitError: it is longer than what is free of the roll, or a fault lies under it.
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
    roll = layout.roll = locked_roll(layout.roll_id)
    free = available_for(roll, jobs_of(layout))
    needed: float = found["length_mm"]
    if needed > free:
        shop = the_shop()
        raise FitError(
            f"This layout needs {film_length(math.ceil(needed), shop)} of film, and "
            f"{film_length(free, shop)} of {roll} are free for it. Drop it and take another "
            "roll, or fewer pieces."
        )
    if layout.queue_place is None:
        layout.queue_place = next_place(roll)
    _require_sound(layout)
    if is_first and layout.computation is not None:
        rows.ask_stop(layout.computation.pk)
    inputs = {"layout": layout.pk, "found": found, "pieces": pattern_files_of(layout)}
    layout.computation = ask(TASK, inputs, who=who)
    layout.kept_by = who
    layout.version += is_first
    layout.save(update_fields=["found", "computation", "kept_by", "version", "queue_place"])
    if is_first:
        film = film_length(math.ceil(needed), the_shop())
        tell(
            "cutting.chosen",
            f"Layout {layout.number} was chosen with {film} of film; its programs are being made.",
            layout,
            who=who,
            after={"layout": layout.pk, "length_mm": needed},
        )


def _require_sound(layout: Layout) -> None:
    """Refuse a layout with a fault under it where it lies now; its roll is locked."""
    if sentence := along(layout).says(the_shop()):
        raise FitError(
            f"{sentence} Since the search began it was noted, or what is cut before this layout "
            "changed: drop this layout, then lay out."
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
            a fault lies under it by now, or the layout was dropped; nothing is changed.
    """
    patterns = read_patterns(inputs["pieces"])
    made = make_programs(inputs["found"], patterns, progress=part_of(progress, start=0.0, end=0.9))
    progress("finding what remains of the film", 0.92)
    rests = rests_of(inputs["found"], patterns)
    areas = {number: pattern_area_mm2(pattern) for number, pattern in patterns.items()}
    with transaction.atomic():
        _write(inputs, made, rests, areas)
    return {"sections": len(made.sections)}


def _write(inputs: Mapping[str, Any], made: Made, rests: Rests, areas: Mapping[int, float]) -> None:
    lock_jobs(Layout.objects.get(pk=inputs["layout"]))
    layout = Layout.objects.select_related("kept_by", "job").get(pk=inputs["layout"])
    if layout.state in (_State.KEPT, _State.CUT):
        return
    if layout.state == _State.DROPPED or layout.found is None:
        raise InputError(f"Layout {layout.number} was dropped meanwhile.")
    pieces = _needed(layout)
    for number in layout.pieces:
        if number not in pieces:
            raise InputError(
                f"Piece {called(number)} needs no film any more; drop this layout and lay out the "
                "others."
            )
    who, roll = layout.kept_by, locked_roll(layout.roll_id)
    layout.roll = roll
    _require_sound(layout)
    film_mm = sum(section.film_mm for section in made.sections)
    members = {one.letter: one.job_id for one in members_of(layout)}
    borne: Counter[int] = Counter()
    for section, rest in zip(made.sections, rests.sections, strict=True):
        row = _add_section(layout, section, pieces, rest)
        by: dict[int, float] = {}
        for number in section.pieces:
            job = members.get(apart(number)[0], layout.job_id)
            by[job] = by.get(job, 0.0) + areas[number]
        shares = split(section.film_mm, by)
        borne.update(shares)
        if members:
            Share.objects.bulk_create(
                Share(section=row, job_id=key, film_mm=share) for key, share in shares.items()
            )
    for one in jobs_of(layout):
        keep_film(roll, one, borne[one.pk], who=who)
    layout.state = _State.KEPT
    layout.used_mm, layout.bound_mm = layout.found["length_mm"], layout.found["bound_mm"]
    layout.checked, layout.notes = made.checked, list(made.notes)
    layout.boxes = [list(box) for box in rests.boxes]
    layout.version += 1
    layout.save()
    count = len(made.sections)
    tell(
        "cutting.kept",
        f"Layout {layout.number} is to be cut: {len(layout.pieces)} "
        f"piece{'' if len(layout.pieces) == 1 else 's'} in {count} "
        f"section{'' if count == 1 else 's'}, {film_length(film_mm, the_shop())} of {roll}, lot "
        f"{roll.lot}.",
        layout,
        who=who,
        after={"layout": layout.pk, "roll": roll.pk, "film_mm": film_mm},
    )
    tell_kept(layout)


def _needed(layout: Layout) -> dict[int, Piece]:
    """The pieces of a layout's outcomes that need film, by their numbers within it."""
    outcomes = [(one.letter, one.job, one.outcome_id) for one in members_of(layout)]
    return {
        number_in_layout(letter, piece.number): piece
        for letter, job, outcome in outcomes or [("", layout.job, layout.outcome_id)]
        for piece in to_lay_out(job)
        if piece.outcome_id == outcome
    }


def _add_section(
    layout: Layout, made: MadeSection, pieces: Mapping[int, Piece], rest: Rest
) -> Section:
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
        pieces_mm2=rest.pieces_mm2,
    )
    for place, offcut in enumerate(rest.offcuts, start=1):
        Offcut.objects.create(
            section=section,
            number=place,
            start_mm=offcut.start_mm,
            low_mm=offcut.low_mm,
            length_mm=int(offcut.length_mm),
            width_mm=int(offcut.width_mm),
        )
    for number in made.pieces:
        piece = pieces[number]
        Cut.objects.create(
            section=section,
            piece=piece,
            number=piece.number,
            letter=apart(number)[0],
            attempt=piece.cuts.count() + 1,
        )
    return section


def _kept(data: bytes, name: str, media_type: str) -> StoredFile:
    return keep_file([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)


def drop(layout: Layout, *, who: Person | None) -> None:
    """Use a layout no further: a search ends, film that was reserved is free, pieces are back.

    Call it in a transaction, on locked jobs. Dropping twice changes nothing.

    Raises:
        InputError: a section is cut or spoiled; what is not cut of it is said to be spoiled. Or
            one is being cut at the moment.
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
    for section in sections:
        if sentence := why_busy(section):
            raise InputError(sentence)
    if layout.state == _State.SEARCHING and layout.computation is not None:
        rows.ask_stop(layout.computation.pk)
    was_kept = layout.state == _State.KEPT
    layout.state = _State.DROPPED
    layout.version += 1
    layout.save(update_fields=["state", "version"])
    if was_kept:
        # Film that was never cut was never there, and nothing remains of it.
        Offcut.objects.filter(section__layout=layout).delete()
        Cut.objects.filter(section__layout=layout, state=Cut.State.PLACED).delete()
        roll = locked_roll(layout.roll_id)
        for section in sections:
            section.layout = layout
            for job, film_mm in shares_of(section):
                let_go(roll, job, film_mm, who=who)
    tell(
        "cutting.dropped",
        f"Layout {layout.number} was dropped"
        + (f"; what it had reserved of {layout.roll} is free." if was_kept else "."),
        layout,
        who=who,
        before={"layout": layout.pk},
    )
