"""What a workshop charges, as exact decimal numbers."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from layflat.base import SettingError

ROUNDING = (
    "Each line is rounded once to the smallest coin, half a coin upwards; tax is rounded once, "
    "on the sum of the lines."
)
"""The rule that every price here follows, as a sentence for the sheet."""

_DIGITS = 9


@dataclass(frozen=True, kw_only=True)
class Rates:
    """What a workshop charges, without tax.

    Attributes:
        currency: as it is written before an amount, e.g. "EUR".
        film_per_metre: per metre of roll, whole sections counted.
        per_hour: per person and hour.
        consumables: for the whole job: solutions, cloths, blades.
        tax: as a fraction of the net sum, e.g. 0.2.
        decimals: digits after the point of the currency's smallest coin.
    """

    currency: str
    film_per_metre: Decimal
    per_hour: Decimal
    consumables: Decimal = Decimal(0)
    tax: Decimal = Decimal(0)
    decimals: int = 2

    def __post_init__(self) -> None:
        for name in ("film_per_metre", "per_hour", "consumables", "tax"):
            value: Decimal = getattr(self, name)
            if not value.is_finite() or value < 0:
                raise SettingError(f"The rate “{name}” is {value}; it must be 0 or more.")
        if self.tax > 1:
            raise SettingError(
                f"The tax is {self.tax}; give it as a fraction, 0.2 for 20 per cent."
            )
        if not 0 <= self.decimals <= 3:
            raise SettingError(f"A currency with {self.decimals} decimals is not known; 0 to 3.")

    @staticmethod
    def from_numbers(
        *,
        currency: str,
        film_per_metre: float,
        per_hour: float,
        consumables: float = 0.0,
        tax: float = 0.0,
        decimals: int = 2,
    ) -> "Rates":
        """Rates from the numbers of a settings file, each as it is written there.

        Raises:
            SettingError: a number is negative or not finite, or the tax is above 1.
        """
        return Rates(
            currency=currency,
            film_per_metre=as_decimal(film_per_metre),
            per_hour=as_decimal(per_hour),
            consumables=as_decimal(consumables),
            tax=as_decimal(tax),
            decimals=decimals,
        )


def as_decimal(value: float) -> Decimal:
    """The number as a person wrote it: 0.1 becomes one tenth, not its binary neighbour."""
    return Decimal(f"{value:.{_DIGITS}g}")


def to_money(amount: Decimal, *, decimals: int = 2) -> Decimal:
    """*amount* rounded to the smallest coin, half a coin away from zero."""
    return amount.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
