"""Slip and tack solution: how much of what for a wanted amount.

Common practice, no source; the film maker's instructions go first. Alcohol is mixed by the rule of
dilution, V1 · C1 = V2 · C2, with parts by volume. Alcohol and water take up a little less room
together than apart (at most about 4 %), which does not matter here; it is said beside the result.
"""

import math
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError

AMOUNT_ML: Final = (50.0, 20_000.0)
SHAMPOO_ML_PER_L: Final = (3.0, 8.0)
TACK_PERCENT: Final = (10.0, 25.0)
BOTTLE_PERCENT: Final = (25.0, 100.0)
"""Below the first a bottle is too weak for the strongest tack; there is no more than the second."""
DEFAULT_ML: Final = 1000.0
DEFAULT_SHAMPOO: Final = 5.0
DEFAULT_TACK: Final = 15.0
DEFAULT_BOTTLE: Final = 70.0
BAY_C: Final = (18.0, 25.0)
_ML_PER_L: Final = 1000.0
_PER_CENT: Final = 100.0

SLIP_CAUTIONS: Final = (
    "Wet floors are slippery; lamps and pumps near water have residual-current protection.",
)
TACK_CAUTIONS: Final = (
    "Isopropyl alcohol and its vapour catch fire: ventilate, no flame, no sparks.",
    "No hot air until it has dried off: hot-air tools light the vapour.",
    "Gloves and goggles; mark the bottle with what is in it.",
)


@dataclass(frozen=True, kw_only=True)
class Slip:
    """Slip solution: nothing bites yet.

    Attributes:
        shampoo_ml: of mild shampoo.
        water_ml: of distilled water.
    """

    shampoo_ml: float
    water_ml: float


@dataclass(frozen=True, kw_only=True)
class Tack:
    """Tack solution: film holds where it is pressed.

    Attributes:
        alcohol_ml: from the bottle.
        water_ml: of distilled water.
    """

    alcohol_ml: float
    water_ml: float


def slip(amount_ml: float, *, shampoo_ml_per_l: float = DEFAULT_SHAMPOO) -> Slip:
    """What goes into an amount of slip solution.

    Args:
        amount_ml: wanted, in millilitres.
        shampoo_ml_per_l: millilitres of shampoo in a litre of the solution.

    Raises:
        InputError: a number is out of bounds.
    """
    _within(amount_ml, AMOUNT_ML, "The amount", "ml")
    _within(shampoo_ml_per_l, SHAMPOO_ML_PER_L, "Shampoo", "ml per litre")
    shampoo = amount_ml * shampoo_ml_per_l / _ML_PER_L
    return Slip(shampoo_ml=shampoo, water_ml=amount_ml - shampoo)


def tack(
    amount_ml: float, *, percent: float = DEFAULT_TACK, bottle_percent: float = DEFAULT_BOTTLE
) -> Tack:
    """What goes into an amount of tack solution.

    Args:
        amount_ml: wanted, in millilitres.
        percent: wanted strength, alcohol in per cent by volume.
        bottle_percent: strength of the alcohol at hand.

    Raises:
        InputError: a number is out of bounds.
    """
    _within(amount_ml, AMOUNT_ML, "The amount", "ml")
    _within(percent, TACK_PERCENT, "The strength that is wanted", "%")
    _within(bottle_percent, BOTTLE_PERCENT, "The strength of the alcohol at hand", "%")
    alcohol = amount_ml * percent / bottle_percent
    return Tack(alcohol_ml=alcohol, water_ml=amount_ml - alcohol)


def shampoo_for(temperature_c: float) -> float:
    """Shampoo in ml per litre that suits a temperature: the middle in a usual bay, more in warmth.

    Common practice, no source: the least at the bay's coolest, the most at its warmest.
    """
    low, high = BAY_C
    least, most = SHAMPOO_ML_PER_L
    share = min(max((temperature_c - low) / (high - low), 0.0), 1.0)
    return round(least + share * (most - least), 1)


def temperature_hint(temperature_c: float) -> str:
    """What a temperature asks for, in a sentence."""
    low, high = BAY_C
    suits = f"{shampoo_for(temperature_c):g} ml of shampoo per litre suits {temperature_c:g} °C"
    if temperature_c > high:
        return f"{suits}, warmer than the bay should be ({low:g}–{high:g} °C): work fast, stay wet."
    if temperature_c < low:
        return f"{suits}, cooler than the bay should be ({low:g}–{high:g} °C): film is stiff."
    return f"{suits}."


def _within(value: float, bounds: tuple[float, float], what: str, unit: str) -> None:
    least, most = bounds
    if not math.isfinite(value) or not least <= value <= most:
        raise InputError(f"{what} is between {least:g} and {most:g} {unit}.")
