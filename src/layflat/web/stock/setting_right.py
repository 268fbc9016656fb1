"""Setting the record right: what was measured, thrown away, put elsewhere."""

from layflat.base import InputError
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.stock.amounts import checked_length, checked_text, film_length
from layflat.web.stock.booking import take
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.reserving import free_mm
from layflat.web.stock.rows import book, lock


def correct(roll: Roll, counted_mm: int, *, reason: str, who: Person | None) -> Movement:
    """Set right what is left, after somebody measured it.

    Raises:
        InputError: without a reason, where nothing differs, or less than jobs have reserved.
    """
    lock(roll)
    shop = the_shop()
    counted_mm = checked_length(counted_mm, shop, least_mm=0)
    reason = checked_text(
        reason, "reason", needed="Say why it is corrected; it stays with the roll."
    )
    reserved = roll.left_mm - free_mm(roll)
    if counted_mm == roll.left_mm:
        raise InputError(f"{roll} has {film_length(counted_mm, shop)} left in the record already.")
    if counted_mm < reserved:
        raise InputError(
            f"Jobs have reserved {film_length(reserved, shop)} of {roll}, more than"
            f" {film_length(counted_mm, shop)}; give a reservation back first."
        )
    kind = Movement.Kind.CORRECTED
    delta = counted_mm - roll.left_mm
    return book(roll, Movement(delta_mm=delta, kind=kind, reason=reason, who=who))


def discard(
    roll: Roll, *, reason: str, who: Person | None, length_mm: int | None = None
) -> Movement:
    """Throw film away, for a reason; all that is left when no length is given.

    Raises:
        InputError: without a reason, when nothing is left, or more than is free.
    """
    lock(roll)
    if roll.left_mm == 0:
        raise InputError(f"Nothing is left of {roll}.")
    length_mm = roll.left_mm if length_mm is None else length_mm
    kind = Movement.Kind.DISCARDED
    return take(roll, length_mm, kind=kind, job=None, who=who, source="", reason=reason)


def put_elsewhere(roll: Roll, place: str, *, who: Person | None) -> Movement | None:
    """Say where a roll lies now; None when it lies there already."""
    lock(roll)
    place = checked_text(place, "place")
    if place == roll.place:
        return None
    words = f"from {roll.place or 'no place'} to {place or 'no place'}"
    roll.place = place
    kind = Movement.Kind.MOVED
    return book(roll, Movement(delta_mm=0, kind=kind, reason=words[:200], who=who))


def rename(roll: Roll, *, film: str, lot: str, reason: str, who: Person | None) -> list[Roll]:
    """Set right a film's name or a lot number that was written down wrongly.

    What was cut off as an offcut has film and lot of the roll that it came from: all of them are
    set right together.

    Returns:
        The roll and its offcuts, and theirs, from wherever the first was cut.

    Raises:
        InputError: without a reason, a name or a lot, or where nothing differs.
    """
    film = checked_text(film, "film", needed="Say which film it is, as it stands on the roll.")
    lot = checked_text(
        lot, "lot", needed="Write the maker's lot number; it stands on the core or box."
    )
    reason = checked_text(
        reason, "reason", needed="Say why it is set right; it stays with the roll."
    )
    lock(roll)
    if (film, lot) == (roll.film, roll.lot):
        raise InputError(f"{roll} is {film}, lot {lot}, in the record already.")
    first = roll
    while first.cut_from is not None:
        first = first.cut_from
    family = [first]
    for one in family:
        family.extend(one.offcuts.order_by("pk"))
    # The roll in hand itself, not a second copy of its row: whoever holds it may save it again.
    family = [roll if one.pk == roll.pk else one for one in family]
    for one in family:
        lock(one)
        words = f"{one.film}, lot {one.lot}, is {film}, lot {lot}: {reason}"
        one.film, one.lot = film, lot
        one.save(update_fields=["film", "lot", "lot_bare", "words_folded"])
        book(one, Movement(delta_mm=0, kind=Movement.Kind.RENAMED, reason=words[:200], who=who))
    return family
