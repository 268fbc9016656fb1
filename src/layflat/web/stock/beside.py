"""Rests beside what was cut, kept as offcuts: never more than there was of such film.

Their film was booked off the roll with the pieces, or with an offcut that is narrower than the
roll, so the roll loses nothing by them.
"""

from django.db.models import Q, Sum

from layflat.base import InputError
from layflat.web.people.shop import the_shop
from layflat.web.stock.additions import pieces_mm2
from layflat.web.stock.amounts import film_length
from layflat.web.stock.models import Movement, Roll

_OFF = (Movement.Kind.CUT, Movement.Kind.SPOILED, Movement.Kind.OFFCUT)
_KEPT = (Roll.Kept.OFF, Roll.Kept.BESIDE)


def kept_mm2(roll: Roll) -> int:
    """The area of the offcuts that were kept of a roll, as they were cut."""
    kept = Movement.objects.filter(
        roll__cut_from=roll, roll__kept__in=_KEPT, kind=Movement.Kind.OFFCUT, delta_mm__gt=0
    )
    return sum(long * wide for long, wide in kept.values_list("delta_mm", "roll__width_mm"))


def is_by_hand(offcut: Roll) -> bool:
    """Whether somebody kept it on its roll's page, of film that had been booked off before.

    What is kept of a section is kept, and taken back, with the section, for its job.
    """
    if offcut.kept != Roll.Kept.BESIDE:
        return False
    return offcut.movements.filter(kind=Movement.Kind.OFFCUT, delta_mm__gt=0, job=None).exists()


def require_rest(roll: Roll, *, width_mm: int, length_mm: int) -> None:
    """See that a rest can lie beside pieces and offcuts in what is cut off a locked roll.

    Args:
        roll: that it was cut out of.
        width_mm, length_mm: whole millimetres.

    Raises:
        InputError: it is longer than what was cut, or larger than pieces and kept offcuts leave.
    """
    shop, off_mm = the_shop(), _off_mm(roll)
    if length_mm > off_mm:
        raise InputError(
            f"{film_length(off_mm, shop)} of {roll} are booked as cut off or spoiled, so no rest "
            f"of {film_length(length_mm, shop)} lies beside pieces of it."
        )
    room_mm2 = _room_mm2(roll)
    if width_mm * length_mm > room_mm2:
        room = film_length(max(0.0, room_mm2 / width_mm), shop)
        raise InputError(
            f"Pieces and kept offcuts leave {room} in this width of what was cut off {roll}, less "
            f"than {film_length(length_mm, shop)}."
        )


def require_kept(roll: Roll) -> None:
    """See that there still is film for the kept rests of a locked roll, once film was given back.

    Raises:
        InputError: there is not.
    """
    if not kept_mm2(roll) or _room_mm2(roll) >= 0:
        return
    names = ", ".join(str(one) for one in roll.offcuts.order_by("number") if is_by_hand(one))
    raise InputError(
        f"Offcuts are kept of the film that was cut of {roll} ({names}), more than there is "
        "without this; say on their pages first that they were not kept."
    )


def _off_mm(roll: Roll) -> int:
    """What was cut off a roll, or spoiled."""
    # What a correction gives back was never taken; film that an offcut began with came.
    rows = roll.movements.filter(Q(kind__in=_OFF, delta_mm__lt=0) | Q(gives_back__kind__in=_OFF))
    return -(rows.aggregate(sum=Sum("delta_mm"))["sum"] or 0)


def _room_mm2(roll: Roll) -> float:
    return _off_mm(roll) * roll.width_mm - pieces_mm2(roll) - kept_mm2(roll)
