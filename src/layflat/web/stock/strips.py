"""Rolls drawn as strips to scale: what is left, reserved and gone, and faults in it.

Places and lengths are per cent of the drawing's width, so that one drawing serves every screen.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Final

from layflat.web.people.models import Shop
from layflat.web.people.shop import INCH_MM
from layflat.web.stock.faults import Place
from layflat.web.stock.models import Reservation, Roll

_PX_PER_MM: Final = 44 / 1524
"""How tall a strip of a width is drawn: the usual roll is as tall as what is pressed."""
_LEAST_PX: Final = 10
_STEPS_MM: Final = (1_000, 2_000, 5_000, 10_000, 20_000, 50_000)
_STEPS_FT: Final = (2, 5, 10, 20, 50, 100, 200)
_MOST_TICKS: Final = 6


@dataclass(frozen=True)
class Part:
    """A job's share of a strip.

    Attributes:
        letter: on it, and before the job in the list.
        reservation: of the job.
        start, width: per cent.
        middle: where the letter stands; `is_lettered` when there is room for it.
    """

    letter: str
    reservation: Reservation
    start: float
    width: float

    @property
    def middle(self) -> float:
        """Where the letter stands, per cent."""
        return round(self.start + self.width / 2, 3)

    @property
    def is_lettered(self) -> bool:
        """Whether there is room for the letter on it, also on a phone."""
        return self.width >= 5


@dataclass(frozen=True)
class Flaw:
    """A fault on a strip: a stretch, and the number that it has in the list below.

    Attributes:
        number: from 1, from the cut end.
        place: where it lies.
        start, width: per cent.
    """

    number: int
    place: Place
    start: float
    width: float

    @property
    def middle(self) -> float:
        """Where its number points, per cent."""
        return round(self.start + self.width / 2, 3)


@dataclass(frozen=True)
class Strip:
    """A roll as it is drawn.

    Attributes:
        height_px: by the roll's width.
        came, left: per cent: all that ever came, and what is left.
        parts: what jobs have reserved, from the cut end.
        flaws: its faults, from the cut end.
    """

    height_px: int
    came: float
    left: float
    parts: tuple[Part, ...]
    flaws: tuple[Flaw, ...] = ()


@dataclass(frozen=True)
class Rule:
    """The rule below the strips: places per cent, and the words beside the ticks."""

    whole_mm: float
    ticks: tuple[tuple[float, str], ...]


def rule_for(lengths_mm: Iterable[int], shop: Shop) -> Rule:
    """A rule that is as long as the longest of some lengths, in whole steps."""
    longest = max([1_000, *lengths_mm])
    unit = 12 * INCH_MM if shop.inches else 1.0
    steps: Sequence[int] = _STEPS_FT if shop.inches else _STEPS_MM
    step = next((s for s in steps if longest / (s * unit) <= _MOST_TICKS), steps[-1])
    count = max(1, -int(-longest // (step * unit)))
    word = "ft" if shop.inches else "m"
    shown = [place * step if shop.inches else place * step // 1_000 for place in range(count + 1)]
    ticks = [(round(100 * n / count, 3), f"{value}") for n, value in enumerate(shown)]
    ticks[-1] = (100.0, f"{shown[-1]} {word}")
    return Rule(count * step * unit, tuple(ticks))


def strip_of(
    roll: Roll,
    reservations: Sequence[Reservation],
    *,
    came_mm: int,
    rule: Rule,
    faults: Sequence[Place] = (),
) -> Strip:
    """A roll on a rule; *came_mm* is all that ever came of it."""

    def share(mm: float) -> float:
        return round(100 * mm / rule.whole_mm, 3)

    parts, start = [], 0
    for letter, reservation in zip(_letters(), reservations, strict=False):
        parts.append(Part(letter, reservation, share(start), share(reservation.length_mm)))
        start += reservation.length_mm
    return Strip(
        height_px=max(_LEAST_PX, round(roll.width_mm * _PX_PER_MM)),
        came=share(max(came_mm, roll.left_mm)),
        left=share(roll.left_mm),
        parts=tuple(parts),
        flaws=tuple(
            Flaw(number, place, share(place.start_mm), share(place.end_mm - place.start_mm))
            for number, place in enumerate(faults, start=1)
        ),
    )


def _letters() -> Iterable[str]:
    for turn in range(100):
        yield from (letter + (str(turn) if turn else "") for letter in ascii_uppercase)
