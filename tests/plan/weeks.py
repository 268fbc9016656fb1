"""Weeks that the tests of planning share: few pieces, so that nothing needs a search."""

from layflat.nest import Request, Stock, Stretch
from layflat.plan import Demand, FilmKind, Supply, WeekPlan, WeekRates, plan_week
from nest.pieces import rectangle

GAP, END, EDGE = 4.0, 5.0, 20.0
SECTION = 3000.0
RATES = WeekRates(currency="EUR", per_hour=60.0)


def film(
    name: str,
    width: float,
    length: float,
    *,
    cost: float = 50.0,
    kind: FilmKind = FilmKind.CLEAR,
    called: str = "gloss",
    lot: str = "A1",
    faults: tuple[Stretch, ...] = (),
    is_offcut: bool = False,
    age: float = 0.0,
) -> Supply:
    stock = Stock(
        width_mm=width, edge_margin_mm=EDGE, end_margin_mm=END, length_mm=length, faults=faults
    )
    return Supply(
        name=name,
        film=called,
        kind=kind,
        lot=lot,
        stock=stock,
        cost_per_m=cost,
        is_offcut=is_offcut,
        age_days=age,
    )


def bars(
    job: str,
    *sizes: tuple[float, float],
    called: str = "gloss",
    visible: bool = True,
    turns: tuple[float, ...] | None = (0.0,),
) -> list[Demand]:
    """A piece for each size, along and across the roll."""
    return [
        Demand(
            job=job,
            film=called,
            visible=visible,
            request=Request(pattern=rectangle(*size, name=f"{job}-{i}"), turns_deg=turns),
        )
        for i, size in enumerate(sizes)
    ]


def planned(
    demands: list[Demand],
    supplies: list[Supply],
    *,
    seconds: float = 0.3,
    rates: WeekRates = RATES,
    **more,
) -> WeekPlan:
    return plan_week(
        demands,
        supplies,
        rates,
        gap_mm=GAP,
        max_section_mm=SECTION,
        seconds=seconds,
        seed=1,
        **more,
    )
