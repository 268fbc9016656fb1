"""What people do to a roll on its page: each reads what was typed and answers a sentence."""

from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django.http import Http404

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.offer.words import capital
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_length, the_shop
from layflat.web.record.models import write_event
from layflat.web.stock.amounts import film_length, read_length, read_width
from layflat.web.stock.beside import is_by_hand
from layflat.web.stock.booking import GIVEN_BACK, cut_offcut, release, uncut_offcut
from layflat.web.stock.faults import (
    correct_fault,
    fault_of,
    note,
    places_of,
    put_back,
    take_back,
)
from layflat.web.stock.models import Fault, Roll
from layflat.web.stock.rows import touch
from layflat.web.stock.setting_right import correct, discard, put_elsewhere, rename

Values = Mapping[str, str]
Act = Callable[[Roll, Values], str]


def changed(pk: int, values: Values, act: Act) -> str:
    """Lock a roll, see that it is still as it was shown, and act; call it in a transaction.

    A job that is named in *values* is locked first: whoever works on a job locks it before rolls.

    Raises:
        Http404: there is no such roll.
        InputError: it was changed since, or the act is refused.
    """
    if values.get("job"):
        Job.objects.select_for_update().filter(number=values["job"]).first()
    roll = Roll.objects.select_for_update().filter(pk=pk).first()
    if roll is None:
        raise Http404("There is no such roll.")
    if values.get("version", "") != str(roll.version):
        raise InputError(_what_happened(roll))
    return act(roll, values)


def _what_happened(roll: Roll) -> str:
    newest = roll.movements.select_related("who").last()
    told = "Somebody"
    if newest is not None and newest.who is not None:
        told = f"{newest.who} (last: {newest.get_kind_display()})"
    left = film_length(roll.left_mm, the_shop())
    return (
        f"{told} changed {roll} since you opened this page; {left} are left now."
        " Look at it again, then send what you typed once more."
    )


def correcting(who: Person | None) -> Act:
    """What was measured counts."""

    def act(roll: Roll, values: Values) -> str:
        shop = the_shop()
        counted = read_length(values.get("length", ""), shop)
        correct(roll, counted, reason=values.get("reason", ""), who=who)
        return f"{roll} has {film_length(roll.left_mm, shop)} left now."

    return act


def discarding(who: Person | None) -> Act:
    """Throw some of it away, or all."""

    def act(roll: Roll, values: Values) -> str:
        shop = the_shop()
        is_all = values.get("what") == "all"
        length_mm = None if is_all else read_length(values.get("length", ""), shop)
        movement = discard(roll, length_mm=length_mm, reason=values.get("reason", ""), who=who)
        gone = film_length(-movement.delta_mm, shop)
        rest = " It is finished." if roll.is_finished else ""
        return f"{gone} of {roll} are booked as thrown away.{rest}"

    return act


def cutting_off(who: Person | None) -> Act:
    """Keep a rest as an offcut."""

    def act(roll: Roll, values: Values) -> str:
        shop = the_shop()
        offcut = cut_offcut(
            roll,
            width_mm=read_width(values.get("width", ""), shop),
            length_mm=read_length(values.get("length", ""), shop),
            place=values.get("place", ""),
            who=who,
            was_taken=values.get("was_taken") == "yes",
        )
        size = f"{film_length(offcut.left_mm, shop)}, {shown_length(offcut.width_mm, shop)} wide"
        return f"The offcut is {offcut}: {size}. Write {offcut} and lot {offcut.lot} on it."

    return act


def not_keeping(who: Person | None) -> Act:
    """A rest beside pieces that was kept by hand was not kept after all."""

    def act(roll: Roll, _values: Values) -> str:
        if roll.kept == Roll.Kept.BESIDE and not is_by_hand(roll):
            raise InputError(
                f"{roll} is kept of a section of a layout; take it back on the layout's page."
            )
        uncut_offcut(roll, who=who)
        return f"{roll} was not kept; its number is not used again."

    return act


def placing(who: Person | None) -> Act:
    """Say where it lies."""

    def act(roll: Roll, values: Values) -> str:
        put_elsewhere(roll, values.get("place", ""), who=who)
        return f"{roll} lies here now: {roll.place}." if roll.place else f"{roll} has no place now."

    return act


def renaming(who: Person | None) -> Act:
    """Set film and lot right."""

    def act(roll: Roll, values: Values) -> str:
        family = rename(
            roll,
            film=values.get("film", ""),
            lot=values.get("lot", ""),
            reason=values.get("reason", ""),
            who=who,
        )
        names = ", ".join(str(one) for one in family)
        verb = "is" if len(family) == 1 else "are"
        return (
            f"{names} {verb} {family[0].film}, lot {family[0].lot}, now. Passports that were given "
            "out keep what they said; make a new version of them."
        )

    return act


def releasing(who: Person | None) -> Act:
    """Give a job's reservation back, and say so in the job's history."""

    def act(roll: Roll, values: Values) -> str:
        job = Job.objects.filter(number=values.get("job", "")).first()
        freed = release(roll, job, how=GIVEN_BACK, who=who) if job is not None else 0
        if job is None or not freed:
            raise InputError(f"No film of {roll} is reserved for this job any more.")
        length = film_length(freed, the_shop())
        sentence = f"{length} of {roll} are no longer reserved."
        write_event("stock.released", sentence, who=who, job=job, after={"roll": roll.number})
        return f"{length} of {roll} are free again; job {job} has to be laid out anew for them."

    return act


def noting_fault(who: Person | None) -> Act:
    """Write down a fault that was measured."""

    def act(roll: Roll, values: Values) -> str:
        fault = note(roll, **_measured(values), who=who)
        return f"{capital(_as_it_lies(fault))}: new layouts leave it out."

    return act


def correcting_fault(who: Person | None) -> Act:
    """Write down anew where a fault lies or what it is."""

    def act(roll: Roll, values: Values) -> str:
        was = fault_of(roll, values.get("fault", ""))
        return f"Set right: {_as_it_lies(correct_fault(was, **_measured(values), who=who))}."

    return act


def taking_fault_back(who: Person | None) -> Act:
    """A fault is not there."""

    def act(roll: Roll, values: Values) -> str:
        fault = fault_of(roll, values.get("fault", ""))
        if not take_back(fault, who=who):
            raise InputError(f"“{fault}” was taken back already.")
        return f"“{fault}” is taken back; new layouts may use the film."

    return act


def putting_fault_back(who: Person | None) -> Act:
    """A fault that was taken back is there all the same."""

    def act(roll: Roll, values: Values) -> str:
        fault = fault_of(roll, values.get("fault", ""))
        if not put_back(fault, who=who):
            raise InputError(f"“{fault}” is among the faults of this roll already.")
        return f"{capital(_as_it_lies(fault))}: new layouts leave it out."

    return act


def _as_it_lies(fault: Fault) -> str:
    found = next((one for one in places_of(fault.roll) if one.fault.pk == fault.pk), None)
    return f"{fault}, cut off since" if found is None else found.shown(the_shop())


def _measured(values: Values) -> dict[str, Any]:
    shop = the_shop()
    until = values.get("to", "").strip()
    return {
        "kind": values.get("kind", ""),
        "words": values.get("words", ""),
        "from_mm": read_length(values.get("from", ""), shop),
        "to_mm": read_length(until, shop) if until else None,
    }


def costing(roll: Roll, values: Values) -> str:
    """What the roll cost."""
    roll.cost = read_cost(values.get("cost", ""))
    roll.save(update_fields=["cost"])
    touch(roll)
    return f"What {roll} cost is written down."


def read_cost(text: str) -> Decimal | None:
    """A typed cost; None when nothing is typed.

    Raises:
        InputError: it is no sum of money.
    """
    if not text.strip():
        return None
    try:
        cost = Decimal(text.strip())
    except InvalidOperation:
        cost = Decimal("NaN")
    if not cost.is_finite() or not 0 <= cost < 10_000_000:
        raise InputError(f"“{text.strip()[:40]}” is no cost; write it such as 980.00.")
    return cost.quantize(Decimal("0.01"))
