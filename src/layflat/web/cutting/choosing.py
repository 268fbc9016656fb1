"""Which rolls pieces may be laid out on, and the one that is chosen for a hurried person."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import prefetch_related_objects

from layflat.web.cover.models import Piece
from layflat.web.cutting.first import taken_by
from layflat.web.cutting.lots import lot_of_job
from layflat.web.cutting.reserved import planned_of
from layflat.web.cutting.turns import turns_for
from layflat.web.jobs.models import Job
from layflat.web.stock.models import Roll
from layflat.web.stock.rolls import usable_rolls


@dataclass(frozen=True, kw_only=True)
class Free:
    """A roll with what one more layout of the job may use of it, in whole millimetres.

    Attributes:
        is_first_choice: whether it is what a hurried person should get.
        takes: numbers of the pieces that go on it, of an offcut of the film that is chosen; None of
            another, or where it was not looked at.
    """

    roll: Roll
    free_mm: int
    is_first_choice: bool = False
    takes: tuple[int, ...] | None = None


def free_rolls(job: Job) -> list[Free]:
    """Rolls of which a layout of *job* may use something, offcuts first."""
    planned = planned_of(job)
    found = []
    for usable in usable_rolls(job=job):
        # Of what the job has reserved itself, its other sections need a part.
        spare_mm = max(0, usable.own_mm - planned[usable.roll.pk])
        free_mm = usable.free_mm - usable.own_mm + spare_mm
        if free_mm > 0:
            found.append(Free(roll=usable.roll, free_mm=free_mm))
    return found


def with_first_choice(
    rolls: list[Free], *, width_mm: float, film_mm: float = 0.0, roll: Roll | None = None
) -> list[Free]:
    """The same, one chosen.

    It is *roll* itself; else the first as wide as was computed for, one of the film that most is
    there of before others, and of these one that holds all of it; else the widest.
    """
    if not rolls:
        return []
    same = [one for one in rolls if roll is not None and one.roll.pk == roll.pk]
    wide = [one for one in rolls if one.roll.width_mm >= width_mm]
    there_mm: Counter[str] = Counter()
    for one in rolls:
        there_mm[one.roll.film] += one.free_mm
    wide.sort(key=lambda one: (-there_mm[one.roll.film], one.free_mm < film_mm))
    first = (same or wide or [max(rolls, key=lambda one: one.roll.width_mm)])[0]
    return [replace(one, is_first_choice=one is first) for one in rolls]


def suited_first(
    rolls: list[Free], pieces: Sequence[Piece], *, job: Job, lot: str | None = None
) -> list[Free]:
    """The same, with what offcuts take; the smallest that takes every piece is chosen instead.

    In film that shows its direction a roll of the lot that the job has is chosen, if there is one.

    Args:
        rolls: one of them chosen; offcuts of its film are looked at.
        job: whose pieces; in film that shows its direction they take that which it has already.
        pieces: that need film.
        lot: that pieces beside them come from; only an offcut of it is chosen. None for any, or
            for that of the job's film that shows its direction.
    """
    chosen = next((one for one in rolls if one.is_first_choice), None)
    if chosen is None:
        return rolls
    same = [one.roll for one in rolls if one.roll.film == chosen.roll.film]
    if len({roll.lot for roll in same}) == 1 and not any(roll.cut_from_id for roll in same):
        return rolls
    turns = turns_for(job, chosen.roll.film)
    if len(turns) == 1 and (own := lot_of_job(job, chosen.roll.film)) is not None:
        lot = lot or own
        chosen = _of_lot(rolls, chosen, own, sum(piece.area_mm2 for piece in pieces))
    offcuts = [one for one in rolls if one.roll.cut_from_id and one.roll.film == chosen.roll.film]
    takes: dict[int, tuple[int, ...]] = {}
    if offcuts:
        prefetch_related_objects(list(pieces), "pattern")
        takes = taken_by([(one.roll, one.free_mm) for one in offcuts], pieces, turns_deg=turns)
    wanted = tuple(sorted(piece.number for piece in pieces))
    whole = [
        one
        for one in offcuts
        if wanted and takes.get(one.roll.pk) == wanted and lot in (None, one.roll.lot)
    ]
    first = min(whole, key=lambda one: one.free_mm * one.roll.width_mm, default=chosen)
    return [
        replace(one, is_first_choice=one is first, takes=takes.get(one.roll.pk)) for one in rolls
    ]


def _of_lot(rolls: Sequence[Free], chosen: Free, lot: str, area_mm2: float) -> Free:
    """What is chosen if it is of a lot, else what suits best of that; as it is if there is none."""
    same = [one for one in rolls if (one.roll.film, one.roll.lot) == (chosen.roll.film, lot)]
    if chosen in same:
        return chosen
    return min(
        same,
        key=lambda one: (
            one.roll.width_mm < chosen.roll.width_mm,
            one.free_mm * one.roll.width_mm < area_mm2,
            one.roll.cut_from_id is not None,
        ),
        default=chosen,
    )
