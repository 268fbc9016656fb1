"""Lines and sums of one alternative, in exact decimals.

Every amount is a text with the currency's decimals, such as "1234.50"; see `layflat.plan.ROUNDING`
for how they were rounded.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from layflat.base import InputError
from layflat.plan import Price, PriceLine, Step, to_money
from layflat.web.people.shop import feet, shown_duration

_GROUPS: Final = (
    ("prepare", "Preparing the paint", (Step.INTAKE, Step.WASH)),
    ("cut", "Cutting the film to shape", (Step.CUT, Step.WEED)),
    ("lay", "Laying the film and finishing its edges", (Step.LAY, Step.EDGES)),
    ("inspect", "Inspection by a second person, handing back", (Step.INSPECT, Step.HAND_BACK)),
)
"""What a customer reads of the work, and the steps that it sums up."""
_MINUTES_PER_HOUR: Final = 60


@dataclass(frozen=True)
class OwnLine:
    """A line that a person added.

    Attributes:
        text: what it is for.
        amount: without tax; below nought for a discount.
        cover: key of the cover that it goes with; None for every alternative.
    """

    text: str
    amount: Decimal
    cover: int | None = None


def lines_of(
    price: Price, own: Sequence[OwnLine], *, in_feet: bool = False
) -> list[dict[str, Any]]:
    """The lines of an alternative, as its content holds them.

    A line that sums up steps has the exact sum of their amounts, each rounded once, so that sums
    are to the coin those of the cover's own page. With *in_feet*, film is said in feet as well.
    """
    groups = [
        ("film", "Film, cut to your vehicle", [line for line in price.lines if line.unit == "m"]),
        *(
            (kind, text, [line for line in price.lines if line.step in steps])
            for kind, text, steps in _GROUPS
        ),
        ("consumables", "Solutions, cloths, blades", [x for x in price.lines if not x.unit]),
    ]
    found = [_group(kind, text, parts, in_feet=in_feet) for kind, text, parts in groups if parts]
    decimals = price.rates.decimals
    for line in own:
        amount = to_money(line.amount, decimals=decimals)
        found.append(
            {
                "kind": "own",
                "text": line.text,
                "quantity": "",
                "rate": "",
                "amount": f"{amount:f}",
                "parts": [],
            }
        )
    return found


def _group(kind: str, text: str, parts: Sequence[PriceLine], *, in_feet: bool) -> dict[str, Any]:
    units = {line.unit for line in parts}
    quantity = sum((line.quantity for line in parts), Decimal(0))
    amount = sum((line.amount for line in parts), Decimal(0))
    rate = f"{parts[0].rate:f}"
    if units == {"min"}:
        shown, rate = shown_duration(int(quantity)), f"{rate} an hour"
    elif units == {"m"}:
        also = f"{feet(quantity)}, " if in_feet else ""
        # Charged by the metre all the same: that is what the owner's rate is for.
        shown, rate = f"{also}{quantity:f} m", f"{rate} a metre"
    else:
        shown, rate = "", ""
    steps = [
        {
            "text": line.text,
            "quantity": shown_duration(int(line.quantity)),
            "amount": f"{line.amount:f}",
        }
        for line in parts
        if line.unit == "min" and len(parts) > 1
    ]
    return {
        "kind": kind,
        "text": text,
        "quantity": shown,
        "rate": rate,
        "amount": f"{amount:f}",
        "parts": steps,
    }


def sums(lines: Sequence[dict[str, Any]], *, tax: Decimal, decimals: int) -> dict[str, str]:
    """Net, tax and gross of lines.

    Args:
        lines: as `lines_of` made them.
        tax: as a fraction.
        decimals: of the currency.

    Raises:
        InputError: discounts are more than everything else.
    """
    net = sum((Decimal(line["amount"]) for line in lines), Decimal(0))
    if net < 0:
        raise InputError("The discounts are more than all that is charged; write less.")
    on_top = to_money(net * tax, decimals=decimals)
    return {"net": f"{net:f}", "tax": f"{on_top:f}", "gross": f"{net + on_top:f}"}


def costs_of(
    *, metres: Decimal, minutes: Decimal, net: Decimal, film: Decimal, hour: Decimal, other: Decimal
) -> dict[str, str]:
    """What an alternative costs the shop, and what it leaves; for the owner only.

    Args:
        metres: of film.
        minutes: of one person.
        net: what the customer pays without tax.
        film, hour, other: what the shop pays for a metre, an hour, and consumables.
    """
    parts = {
        "film": to_money(metres * film),
        "time": to_money(minutes / _MINUTES_PER_HOUR * hour),
        "consumables": to_money(other),
    }
    total = sum(parts.values(), Decimal(0))
    left = net - total
    share = (100 * left / net).quantize(Decimal("0.1")) if net else Decimal(0)
    return {
        **{name: f"{amount:f}" for name, amount in parts.items()},
        "total": f"{total:f}",
        "margin": f"{left:f}",
        "per_cent": f"{share:f}",
    }
