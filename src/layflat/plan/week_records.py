"""A week's film as values: what is wanted, what there is, and which piece comes from what."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from layflat.base import InputError, SettingError
from layflat.nest import FilmAccount, Layout, Offcut, Request, Stock
from layflat.plan.chance import Chance, Size, Storing


class FilmKind(StrEnum):
    """What film looks like, and so whether lots of it may be mixed on one car."""

    CLEAR = "clear"
    MATT = "matt"
    TINTED = "tinted"
    COLOURED = "coloured"

    @property
    def one_lot(self) -> bool:
        """Whether a job's visible pieces come from one lot and lie in one direction."""
        return self is not FilmKind.CLEAR


@dataclass(frozen=True, kw_only=True)
class Supply:
    """A roll or an offcut.

    Attributes:
        name: told apart by it.
        film: which film it is; a piece is cut from the film that it asks for.
        kind: of that film.
        lot: the maker's lot number.
        stock: its width, margins, length left and faults; the length must be known.
        cost_per_m: what a metre of it costs when bought.
        is_offcut: whether it is an offcut.
        age_days: since it was made or came.
    """

    name: str
    film: str
    kind: FilmKind
    lot: str
    stock: Stock
    cost_per_m: float
    is_offcut: bool = False
    age_days: float = 0.0

    def __post_init__(self) -> None:
        length = self.stock.length_mm
        if length is None or not 0 < length < math.inf:
            told = "is not known" if length is None else f"is {length:g} mm"
            raise InputError(f"The length of “{self.name}” {told}; it must be above 0.")
        if not 0 <= self.cost_per_m < math.inf:
            raise InputError(
                f"A metre of “{self.name}” costs {self.cost_per_m:g}; it must be 0 or more."
            )
        if not 0 <= self.age_days < math.inf:
            raise InputError(
                f"The age of “{self.name}” is {self.age_days:g} days; it must be 0 or more."
            )

    @property
    def length_mm(self) -> float:
        """How much of it there is."""
        return self.stock.length_mm or 0.0

    @property
    def per_m2(self) -> float:
        """What a square metre of it cost."""
        return self.cost_per_m / (self.stock.width_mm / 1e3)


@dataclass(frozen=True, kw_only=True)
class Demand:
    """Pieces of a job.

    Attributes:
        job: which.
        request: the pattern, how many, and how it may lie.
        film: which film it is cut from.
        visible: whether it is seen on the car, beside others.
        lot: of the job's pieces that have film already; visible ones come from it too where lots
            are not mixed. None where there are none.
    """

    job: str
    request: Request
    film: str
    visible: bool = True
    lot: str | None = None

    def may_come_from(self, supply: Supply) -> bool:
        """Whether a supply is of its film, and of its lot where that counts."""
        any_lot = self.lot is None or not self.visible or not supply.kind.one_lot
        return supply.film == self.film and (any_lot or supply.lot == self.lot)


@dataclass(frozen=True, kw_only=True)
class WeekRates:
    """What the plan weighs beside film. Every default: assumption of this program.

    Attributes:
        currency: as it is written before an amount.
        per_hour: what a person's hour costs.
        cut_minutes: of one person, for each section: parting it off, a look at the feed.
        handling_minutes: for each roll or offcut that is put on the plotter.
        age_per_year: film that is a year old counts by so much less, so that it goes first; at
            most a half.
        storing: of offcuts.
    """

    currency: str = ""
    per_hour: float = 0.0
    cut_minutes: float = 3.0
    handling_minutes: float = 8.0
    age_per_year: float = 0.05
    storing: Storing = field(default_factory=Storing)

    def __post_init__(self) -> None:
        for name in ("per_hour", "cut_minutes", "handling_minutes", "age_per_year"):
            value: float = getattr(self, name)
            if not 0 <= value < math.inf:
                raise SettingError(f"“{name}” is {value:g}; it must be 0 or more.")

    @property
    def cut(self) -> float:
        """What a section costs beside its film."""
        return self.cut_minutes / 60.0 * self.per_hour

    @property
    def handling(self) -> float:
        """What a roll or an offcut costs beside its film."""
        return self.handling_minutes / 60.0 * self.per_hour

    def age_part(self, supply: Supply) -> float:
        """How much less a supply's film counts for its age, as a part of its cost."""
        return min(0.5, self.age_per_year * supply.age_days / 365.0)


@dataclass(frozen=True, kw_only=True)
class KeptOffcut:
    """An offcut that pays for its shelf.

    Attributes:
        offcut: where on its film it is.
        worth: what it is worth to keep it, in money; less where all that is kept of a film would
            count for more than the film.
        chance: how likely it is used.
    """

    offcut: Offcut
    worth: float
    chance: Chance


@dataclass(frozen=True, kw_only=True)
class Use:
    """What is cut from one roll or offcut.

    Attributes:
        supply: which.
        layout: its pieces, in sections.
        jobs: whose piece each placement is.
        kept: the offcuts that are kept, the largest first.
        thrown: how many more rectangles were large enough, and do not pay for a shelf.
        account: where its film went.
        film, cuts, handling, age, offcuts: the parts of its cost, in money; the last two are what
            is taken off.
    """

    supply: Supply
    layout: Layout
    jobs: tuple[str, ...]
    kept: tuple[KeptOffcut, ...]
    thrown: int
    account: FilmAccount
    film: float
    cuts: float
    handling: float
    age: float
    offcuts: float

    @property
    def cost(self) -> float:
        """All of it."""
        return self.film + self.cuts + self.handling - self.age - self.offcuts


@dataclass(frozen=True, kw_only=True)
class WeekPlan:
    """Which piece comes from which roll or offcut.

    Attributes:
        uses: what is cut from each that is used, offcuts first.
        bound: no plan costs less.
        estimate_bound: OR-Tools' lower bound on the assignment by estimates; None where nothing
            was assigned.
        alone: what it would cost to lay each job by itself, by the same search.
        seconds: the time budget.
        seed: of everything random.
        past: the boxes of past jobs' pieces, by film, that offcuts were judged by.
        notes: sentences on what a person should know.
    """

    uses: tuple[Use, ...]
    bound: float
    estimate_bound: float | None
    alone: float
    seconds: float
    seed: int
    past: Mapping[str, Sequence[Sequence[Size]]]
    notes: tuple[str, ...] = ()

    @property
    def cost(self) -> float:
        """What the plan costs."""
        return sum(use.cost for use in self.uses)

    @property
    def film(self) -> float:
        """Of it, what the film costs that is used."""
        return sum(use.film for use in self.uses)

    def lots_of(self, job: str) -> dict[str, tuple[str, ...]]:
        """The lots that a job's pieces come from, by film."""
        found: dict[str, set[str]] = {}
        for use in self.uses:
            if job in use.jobs:
                found.setdefault(use.supply.film, set()).add(use.supply.lot)
        return {film: tuple(sorted(lots)) for film, lots in sorted(found.items())}


def one_lot_groups(
    demands: Sequence[Demand], supplies: Sequence[Supply]
) -> dict[tuple[str, str], list[int]]:
    """The demands whose pieces must come from one lot together, by job and film."""
    kinds = {supply.film: supply.kind for supply in supplies}
    groups: dict[tuple[str, str], list[int]] = {}
    for index, demand in enumerate(demands):
        if demand.visible and kinds[demand.film].one_lot:
            groups.setdefault((demand.job, demand.film), []).append(index)
    return groups
