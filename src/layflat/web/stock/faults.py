"""Faults in a roll: creases, dirt, splices; where they lie, noted, corrected, taken back.

People measure a fault from the cut end as it stands at the moment. It is kept as its distance from
the core, so that it stays where it is when film is cut off in front of it. What is shown is counted
from the cut end again, by what is left.

Where the record of what is left is corrected later, nobody knows whether it was wrong when the
fault was measured: then both places count until it is measured again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import Prefetch, QuerySet, prefetch_related_objects

from layflat.base import InputError
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import the_shop
from layflat.web.stock.amounts import checked_text, film_length
from layflat.web.stock.models import Fault, Movement, Roll
from layflat.web.stock.rows import book, lock

ASIDE_MM: Final = 10
"""How far a fault reaches to either side of the one place that was written for it."""
MOST: Final = 40
"""More faults than that are no film to lay out on."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """A fault as it lies now.

    Attributes:
        fault: its row.
        start_mm, end_mm: from the cut end as it stands now, within what is left.
        is_loose: what is left was corrected since it was measured, so it covers both places.
    """

    fault: Fault
    start_mm: int
    end_mm: int
    is_loose: bool

    def shown(self, shop: Shop) -> str:
        """It within a sentence: "crease, 2.100 m to 2.150 m"."""
        ends = f"{film_length(self.start_mm, shop)} to {film_length(self.end_mm, shop)}"
        return f"{self.fault}, {ends}"


def with_faults() -> "Prefetch[str, QuerySet[Fault], str]":
    """Has rolls bring all their faults along, for `faults_of` and `gone_faults`."""
    rows = Fault.objects.select_related("noted__who", "gone__who")
    return Prefetch("faults", rows, to_attr="all_faults")


def faults_of(rolls: Sequence[Roll]) -> dict[int, list[Place]]:
    """What faults lie in rolls that `with_faults` gave, from the cut end, by the rolls' keys.

    One query, none where there is no fault.
    """
    standing = [fault for roll in rolls for fault in _all_of(roll) if fault.gone_id is None]
    if not standing:
        return {}
    by_key = {roll.pk: roll for roll in rolls}
    corrections: dict[int, list[Movement]] = {}
    touched = {fault.roll_id for fault in standing}
    for move in Movement.objects.filter(roll__in=touched, kind=Movement.Kind.CORRECTED):
        corrections.setdefault(move.roll_id, []).append(move)
    found: dict[int, list[Place]] = {}
    for fault in standing:
        place = _place(fault, by_key[fault.roll_id], corrections.get(fault.roll_id, []))
        if place is not None:
            found.setdefault(fault.roll_id, []).append(place)
    for places in found.values():
        places.sort(key=lambda place: (place.start_mm, place.fault.pk))
    return found


def places_of(roll: Roll) -> list[Place]:
    """What faults lie in a roll, from the cut end; asked of the database anew."""
    now = Roll(pk=roll.pk, number=roll.number, left_mm=roll.left_mm)
    prefetch_related_objects([now], with_faults())
    return faults_of([now]).get(roll.pk, [])


def gone_faults(roll: Roll, shown: Sequence[Place]) -> list[tuple[Fault, bool]]:
    """The faults of a roll, from `with_faults`, that lie in it no more, the newest first.

    Taken back, measured anew, or cut off; each with whether somebody may say that it is there all
    the same.
    """
    still = {place.fault.pk for place in shown}
    noted = {fault.noted_id for fault in _all_of(roll)}
    gone = [fault for fault in _all_of(roll) if fault.pk not in still]
    gone.sort(key=lambda fault: -fault.pk)
    return [(one, one.gone_id is not None and one.gone_id not in noted) for one in gone]


def _all_of(roll: Roll) -> list[Fault]:
    found: list[Fault] = getattr(roll, "all_faults")  # noqa: B009
    return found


def _place(fault: Fault, roll: Roll, corrections: Sequence[Movement]) -> Place | None:
    """Where a fault lies now; None when it is cut off."""
    near_mm, far_mm, is_loose = fault.near_mm, fault.far_mm, False
    for move in corrections:
        # Film that a tick took and gave back since then was there all the time.
        took_later = move.gives_back_id is not None and move.gives_back_id > fault.noted_id
        if move.pk < fault.noted_id or took_later or move.delta_mm == 0:
            continue
        is_loose = True
        near_mm += min(0, move.delta_mm)
        far_mm += max(0, move.delta_mm)
    start_mm, end_mm = max(0, roll.left_mm - far_mm), min(roll.left_mm, roll.left_mm - near_mm)
    if start_mm >= end_mm:
        return None
    return Place(fault=fault, start_mm=start_mm, end_mm=end_mm, is_loose=is_loose)


def note(
    roll: Roll, *, kind: str, words: str, from_mm: int, to_mm: int | None, who: Person | None
) -> Fault:
    """Write down a fault that somebody measured.

    Args:
        roll: changed as the row is.
        kind: one of `Fault.Kind`.
        words: more of it; needed for "other".
        from_mm, to_mm: from the cut end as it stands now; without the second it is one place, and
            `ASIDE_MM` to either side of it count.
        who: measured it.

    Raises:
        InputError: it is no stretch of this roll, or not said what it is.
    """
    lock(roll)
    return _add(roll, _checked(roll, kind, words, from_mm, to_mm), who=who)


def correct_fault(
    fault: Fault, *, kind: str, words: str, from_mm: int, to_mm: int | None, who: Person | None
) -> Fault:
    """Write down anew what was measured wrongly; the old fault stays in the record.

    Raises:
        InputError: somebody took it back meanwhile, or as for `note`.
    """
    roll = fault.roll
    lock(roll)
    fault.refresh_from_db()
    if fault.gone_id is not None:
        raise InputError("Somebody took this fault back meanwhile; note it anew if it is there.")
    now = _checked(roll, kind, words, from_mm, to_mm, beside=fault)
    before = places_of(roll)
    was = next((place.shown(the_shop()) for place in before if place.fault.pk == fault.pk), "")
    made = _add(roll, now, who=who, before=was or f"{fault}, cut off before")
    Fault.objects.filter(pk=fault.pk).update(gone=made.noted)
    return made


def take_back(fault: Fault, *, who: Person | None) -> bool:
    """Say that a fault is not there; whether anything was changed by it."""
    roll = fault.roll
    lock(roll)
    fault.refresh_from_db()
    if fault.gone_id is not None:
        return False
    move = book(roll, _moved(f"{fault}: it is not there after all", who))
    Fault.objects.filter(pk=fault.pk).update(gone=move)
    return True


def put_back(fault: Fault, *, who: Person | None) -> bool:
    """Say that a fault that was taken back is there all the same; whether anything was changed."""
    roll = fault.roll
    lock(roll)
    fault.refresh_from_db()
    if fault.gone_id is None:
        return False
    if roll.faults.filter(noted=fault.gone_id).exists():
        raise InputError("This fault was measured anew; correct the newer one instead.")
    Fault.objects.filter(pk=fault.pk).update(gone=None)
    book(roll, _moved(f"{fault}: it is there all the same", who))
    return True


def carry_over(roll: Roll, offcut: Roll, *, before_mm: int, who: Person | None) -> None:
    """Note on an offcut, cut from the cut end of a roll, the faults that went with it.

    Args:
        roll: after the offcut's film was booked off.
        offcut: as long as it was cut.
        before_mm: what was left of the roll before.
        who: cut it.
    """
    was = Roll(pk=roll.pk, number=roll.number, left_mm=before_mm)
    for place in places_of(was):
        if place.start_mm < offcut.left_mm:
            end_mm = min(place.end_mm, offcut.left_mm)
            fault = place.fault
            _add(offcut, (fault.kind, fault.words, place.start_mm, end_mm), who=who)


def fault_of(roll: Roll, key: str) -> Fault:
    """A fault of a roll by its key as a form sends it.

    Raises:
        InputError: there is none.
    """
    number = int(key) if key.isascii() and key.isdigit() and len(key) <= 12 else 0
    found = roll.faults.filter(pk=number).first()
    if found is None:
        raise InputError("There is no such fault of this roll; look at it again.")
    found.roll = roll
    return found


_Checked = tuple[str, str, int, int]


def _checked(
    roll: Roll,
    kind: str,
    words: str,
    from_mm: int,
    to_mm: int | None,
    *,
    beside: Fault | None = None,
) -> _Checked:
    if kind not in Fault.Kind.values:
        raise InputError("Choose what it is: a crease, dirt, a splice or something else.")
    is_other = kind == Fault.Kind.OTHER
    words = checked_text(
        words, "fault", needed="Say in a few words what it is." if is_other else ""
    )
    shop = the_shop()
    if to_mm is None:
        start_mm, end_mm = max(0, from_mm - ASIDE_MM), min(from_mm + ASIDE_MM, roll.left_mm)
    else:
        start_mm, end_mm = from_mm, to_mm
    left = film_length(roll.left_mm, shop)
    if from_mm >= roll.left_mm or end_mm > roll.left_mm:
        raise InputError(
            f"{roll} has {left} left, so it has no place "
            f"{film_length(max(from_mm, end_mm), shop)} from the cut end; measure again from there."
        )
    if end_mm <= start_mm:
        raise InputError(
            f"The fault would end at {film_length(end_mm, shop)}, before it begins at "
            f"{film_length(start_mm, shop)}; both are measured from the cut end."
        )
    standing = roll.faults.filter(gone=None)
    if beside is not None:
        standing = standing.exclude(pk=beside.pk)
    if standing.count() >= MOST:
        raise InputError(
            f"{roll} has {MOST} faults already; throw away what cannot be used, or note fewer, "
            "longer ones."
        )
    return kind, words, start_mm, end_mm


def _add(roll: Roll, what: _Checked, *, who: Person | None, before: str = "") -> Fault:
    """A fault of a locked roll, with the movement that notes it."""
    kind, words, start_mm, end_mm = what
    fault = Fault(
        roll=roll,
        kind=kind,
        words=words,
        near_mm=roll.left_mm - end_mm,
        far_mm=roll.left_mm - start_mm,
    )
    place = Place(fault=fault, start_mm=start_mm, end_mm=end_mm, is_loose=False)
    said = f"{place.shown(the_shop())} from the cut end"
    if before:
        said += f"; it was noted as {before}"
    fault.noted = book(roll, _moved(said, who))
    fault.save(force_insert=True)
    return fault


def _moved(reason: str, who: Person | None) -> Movement:
    return Movement(delta_mm=0, kind=Movement.Kind.FAULT, reason=reason[:200], who=who)
