"""A week's file: the jobs' pieces, the rolls and offcuts, and what is weighed against what."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layflat.base import SettingError, Settings, read_settings
from layflat.job.single_drawing import parse_answers
from layflat.nest import Stock, Stretch, parse_turns
from layflat.plan import FilmKind, Size, Storing, Supply, WeekRates

_FAR_MM = 1e6
_MUCH = 1e6


@dataclass(frozen=True, kw_only=True)
class PieceOrder:
    """The pieces of one drawing for one job.

    Attributes:
        job: whose.
        drawing: file; each closed loop on OUTLINE is a piece.
        film: which film they are cut from.
        answers: to what the drawing asks; see `layflat.job.parse_answers`.
        copies, turns, mirrored: of each; see `layflat.nest.Request`.
        visible: whether they are seen on the car, beside others.
        lay: their turn in laying, or None.
    """

    job: str
    drawing: Path
    answers: Mapping[str, str]
    film: str
    copies: int
    turns: tuple[float, ...] | None
    mirrored: bool
    visible: bool
    lay: int | None


@dataclass(frozen=True, kw_only=True)
class WeekOrder:
    """A week as it was written down.

    Attributes:
        path: the file.
        pieces: what is wanted.
        supplies: what there is.
        rates: what is weighed beside film.
        past: the boxes of past jobs' pieces, by film.
        gap_mm, max_section_mm, seconds, seed: as for `layflat.plan.plan_week`.
        defaults: values that the file did not give.
    """

    path: Path
    pieces: tuple[PieceOrder, ...]
    supplies: tuple[Supply, ...]
    rates: WeekRates
    past: Mapping[str, tuple[tuple[Size, ...], ...]]
    gap_mm: float
    max_section_mm: float
    seconds: float
    seed: int
    defaults: Mapping[str, Any]


def read_week(path: Path) -> WeekOrder:
    """The week's file at *path*.

    Raises:
        SettingError: a value is missing, out of range or unknown.
        InputError: the file cannot be read, or film in it cannot be.
    """
    top = read_settings(path)
    defaults: dict[str, Any] = {}
    pieces = tuple(_piece(table, path, defaults) for table in top.tables("piece"))
    supplies = tuple(_supply(table, defaults) for table in top.tables("stock"))
    if not pieces or not supplies:
        lacking = "[[stock]]" if pieces else "[[piece]]"
        raise SettingError(f"{top.where}: there is no {lacking}; name at least one.")
    past: dict[str, tuple[tuple[Size, ...], ...]] = {}
    for table in top.tables("past", optional=True):
        film = table.text("film")
        past[film] = (*past.get(film, ()), _sizes(table))
        table.finish()
    order = WeekOrder(
        path=path,
        pieces=pieces,
        supplies=supplies,
        rates=_rates(top.table("rates"), defaults),
        past=past,
        gap_mm=top.number("gap_mm", least=0, most=100, default=4.0),
        max_section_mm=top.number("max_section_mm", least=100, most=30_000, default=3000.0),
        seconds=top.number("seconds", least=1, most=86_400, default=60.0),
        seed=top.integer("seed", least=0, most=2**31 - 1, default=1),
        defaults=defaults,
    )
    defaults.update(top.defaults)
    top.finish()
    return order


def _piece(table: Settings, path: Path, defaults: dict[str, Any]) -> PieceOrder:
    order = PieceOrder(
        job=table.text("job"),
        drawing=path.parent / table.text("drawing"),
        answers=parse_answers(table.texts("answers")) if "answers" in table else {},
        film=table.text("film"),
        copies=table.integer("copies", least=1, most=200, default=1),
        turns=parse_turns(table.text("turns", default="0,180")),
        mirrored=table.flag("mirrored", default=False),
        visible=table.flag("visible", default=True),
        lay=table.integer("lay", least=1, most=999) if "lay" in table else None,
    )
    table.finish()
    defaults.update({f"piece.{key}": value for key, value in table.defaults.items()})
    return order


def _supply(table: Settings, defaults: dict[str, Any]) -> Supply:
    faults = []
    for fault in table.tables("faults", optional=True):
        faults.append(
            Stretch(
                start_mm=fault.number("start_mm", least=0, most=_FAR_MM),
                end_mm=fault.number("end_mm", least=0, most=_FAR_MM),
                reason=fault.text("reason"),
            )
        )
        fault.finish()
    width = table.number("width_mm", least=50, most=4000)
    supply = Supply(
        name=table.text("name", most=40),
        film=table.text("film"),
        kind=FilmKind(table.choice("kind", tuple(FilmKind))),
        lot=table.text("lot", most=60),
        stock=Stock(
            width_mm=width,
            edge_margin_mm=table.number("edge_margin_mm", least=0, most=200, default=20.0),
            end_margin_mm=table.number("end_margin_mm", least=0, most=500, default=5.0),
            length_mm=table.number("length_mm", least=10, most=200_000),
            faults=tuple(faults),
        ),
        cost_per_m=table.number("per_m2", least=0, most=_MUCH) * width / 1e3,
        is_offcut=table.flag("offcut", default=False),
        age_days=table.number("age_days", least=0, most=36_500, default=0.0),
    )
    table.finish()
    defaults.update({f"stock.{key}": value for key, value in table.defaults.items()})
    return supply


def _rates(table: Settings, defaults: dict[str, Any]) -> WeekRates:
    usual, storing = WeekRates(), Storing()
    rates = WeekRates(
        currency=table.text("currency", most=8),
        per_hour=table.number("per_hour", least=0, most=_MUCH),
        cut_minutes=table.number("cut_minutes", least=0, most=600, default=usual.cut_minutes),
        handling_minutes=table.number(
            "handling_minutes", least=0, most=600, default=usual.handling_minutes
        ),
        age_per_year=table.number("age_per_year", least=0, most=1, default=usual.age_per_year),
        storing=Storing(
            jobs_ahead=table.integer("store_jobs", least=1, most=1000, default=storing.jobs_ahead),
            minutes=table.number("store_minutes", least=0, most=600, default=storing.minutes),
            most_worth=table.number("store_worth", least=0, most=1, default=storing.most_worth),
            least_short_mm=table.number(
                "store_short_mm", least=10, most=4000, default=storing.least_short_mm
            ),
            least_long_mm=table.number(
                "store_long_mm", least=10, most=30_000, default=storing.least_long_mm
            ),
        ),
    )
    table.finish()
    defaults.update({f"rates.{key}": value for key, value in table.defaults.items()})
    return rates


def _sizes(table: Settings) -> tuple[Size, ...]:
    rows = table.lists("sizes_mm", least=1, most=30_000)
    if not rows or any(len(row) != 2 for row in rows):
        raise SettingError(
            f"{table.where}: “sizes_mm” must have a length and a width for each piece."
        )
    return tuple((row[0], row[1]) for row in rows)
