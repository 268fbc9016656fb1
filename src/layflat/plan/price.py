"""The price of a job: film, time, consumables and tax, in exact decimal arithmetic."""

from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from layflat.base import SettingError
from layflat.nest import Layout
from layflat.plan.minutes import Minutes, Step
from layflat.plan.rates import Rates, as_decimal, to_money

_WORDS = {
    Step.INTAKE: "Intake: walking round the car, agreeing, pictures",
    Step.WASH: "Washing, iron and tar removal, drying",
    Step.CUT: "Cutting",
    Step.WEED: "Weeding",
    Step.LAY: "Laying",
    Step.EDGES: "Edges, on the next day",
    Step.INSPECT: "Inspection by a second person",
    Step.HAND_BACK: "Handing back",
}


@dataclass(frozen=True, kw_only=True)
class PriceLine:
    """One line of a price.

    Attributes:
        text: what it is for.
        quantity, unit: how much: metres ("m"), whole minutes ("min"), or a lump ("").
        rate: without tax, per metre, per hour, or for the lump.
        amount: quantity times rate, rounded once.
        step: whose time it is; None for film and consumables.
        assumed: whether the quantity rests on an assumption of this program.
    """

    text: str
    quantity: Decimal
    unit: str
    rate: Decimal
    amount: Decimal
    step: Step | None = None
    assumed: bool = False


@dataclass(frozen=True, kw_only=True)
class Price:
    """A price with its lines.

    Attributes:
        rates: what it was made with.
        lines: as they stand on the sheet.
        net: the sum of the lines.
        tax: on the net sum, rounded once.
        gross: net and tax.
    """

    rates: Rates
    lines: tuple[PriceLine, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal


def film_metres(layout: Layout) -> Decimal:
    """The metres of roll that a layout uses up, whole sections counted, up to the next cm."""
    return metres_of(layout.length_mm)


def metres_of(length_mm: float) -> Decimal:
    """The metres that a length of roll is charged as: up to the next cm."""
    metres = as_decimal(length_mm) / 1000
    return metres.quantize(Decimal("0.01"), rounding=ROUND_CEILING)


def price(*, metres: Decimal, minutes: Minutes, rates: Rates) -> Price:
    """The price of a job.

    Args:
        metres: of roll, see `film_metres`.
        minutes: of every step, charged to the whole minute; a step without any has no line.
        rates: the shop's.

    Raises:
        SettingError: *metres* is negative or not a number.
    """
    if not metres.is_finite() or metres < 0:
        raise SettingError(f"The job uses {metres} m of film; that cannot be.")
    lines = [_line("Film, whole sections", metres, "m", rates.film_per_metre, rates)]
    for step in minutes.steps:
        if step.minutes > 0:
            whole = as_decimal(step.minutes).quantize(Decimal(1), rounding=ROUND_HALF_UP)
            line = _line(_WORDS[step.step], whole, "min", rates.per_hour, rates)
            lines.append(replace(line, step=step.step, assumed=step.assumed))
    if rates.consumables > 0:
        text = "Solutions, cloths, blades"
        lines.append(_line(text, Decimal(1), "", rates.consumables, rates))
    net = sum((line.amount for line in lines), Decimal(0))
    tax = to_money(net * rates.tax, decimals=rates.decimals)
    return Price(rates=rates, lines=tuple(lines), net=net, tax=tax, gross=net + tax)


def _line(text: str, quantity: Decimal, unit: str, rate: Decimal, rates: Rates) -> PriceLine:
    units = quantity / 60 if unit == "min" else quantity
    amount = to_money(units * rate, decimals=rates.decimals)
    return PriceLine(text=text, quantity=quantity, unit=unit, rate=rate, amount=amount)
