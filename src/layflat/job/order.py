"""A job file: what one job covers, on which body, from which stock, at which rates.

Everything a person decides about a job stands in one TOML file; paths in it are relative to it.
"""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from layflat.base import FloatArray, SettingError, Settings, frozen, read_settings
from layflat.cut import HINGES_MM, MOST_TABS, STRIPS_MM, TAB_MM, TABS_MM
from layflat.fit import TOLERANCE_MM, TOLERANCES_MM
from layflat.nest import Stock
from layflat.pattern import EdgeFinish, Finish
from layflat.plan import Step
from layflat.surface import EdgeKind

_UNITS = ("mm", "cm", "m", "in")
_FAR_MM = 30_000.0
_DEFAULT_FINISH = {
    EdgeKind.OPEN: EdgeFinish(Finish.SHORT, 1.5),
    EdgeKind.GAP: EdgeFinish(Finish.SHORT, 1.5),
    EdgeKind.TRIM: EdgeFinish(Finish.SHORT, 1.5),
    EdgeKind.INNER: EdgeFinish(Finish.FLUSH),
}


@dataclass(frozen=True, eq=False)
class Cover:
    """One panel of the job: whole, or up to a line.

    Attributes:
        panel: the panel's name on the body.
        line_mm: (k, 3) float64 picked points of the line that film ends at, or None.
        keep_mm: (3,) float64, a point on the side of the line that is covered, or None.
        finishes: edges, by name, that end otherwise than the job's rule for their kind says.
        film_over: keep-outs, by name, that are covered all the same, with the reason.
        lay: the panel's turn in laying, from 1, or None: after those that have one (see
            `layflat.job.laying`).
        reliefs: paths of cuts from an edge of the piece inward, each (k, 3) float64, k >= 2.
        seams: paths from edge to edge along which the panel is covered with more pieces than
            one, each (k, 3) float64, k >= 2; see `layflat.fit.split_region`.
    """

    panel: str
    line_mm: FloatArray | None = None
    keep_mm: FloatArray | None = None
    finishes: Mapping[str, EdgeFinish] = field(default_factory=dict)
    film_over: Mapping[str, str] = field(default_factory=dict)
    lay: int | None = None
    reliefs: tuple[FloatArray, ...] = ()
    seams: tuple[FloatArray, ...] = ()


@dataclass(frozen=True)
class LayoutOrder:
    """How the pieces are laid out: the stock, and the search's bounds.

    Attributes:
        stock: the roll.
        lot: the maker's lot number of the roll, or "".
        gap_mm: least distance between pieces.
        max_section_mm: no section is longer.
        turns_deg: allowed turns; None is any.
        seconds, seed: the search's time budget and seed.
    """

    stock: Stock
    lot: str
    gap_mm: float
    max_section_mm: float
    turns_deg: tuple[float, ...] | None
    seconds: float
    seed: int


@dataclass(frozen=True, kw_only=True)
class CutOrder:
    """How the pieces are cut, beyond what the drawing says.

    Attributes:
        in_laying_order: whether sections follow the order of laying, as far as whole sections can,
            so that pieces that are laid first are cut first.
        first: names of pieces that are cut first within their section; see `layflat.cut.Wishes`.
        strips_mm: weed lines divide waste that is wider; None for no weed lines.
        tabs, tab_mm, hinge_mm: bridges that hold each piece; see `layflat.cut.Wishes`.
    """

    in_laying_order: bool = False
    first: tuple[str, ...] = ()
    strips_mm: float | None = None
    tabs: int = 0
    tab_mm: float = TAB_MM
    hinge_mm: float | None = None


@dataclass(frozen=True)
class PriceOrder:
    """What the price is made from; see `layflat.plan`."""

    currency: str
    film_per_metre: float
    rate_per_hour: float
    tax_rate: float
    consumables: float
    minutes: Mapping[str, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class FilmOrder:
    """What is covered, and how its film is laid out: all that pieces and layout depend on.

    Attributes:
        finger_aversion: see `layflat.film.flatten`.
        finishes: how pieces end, by edge kind.
        covers: what is covered, at least one.
        layout: how the pieces are laid out.
        cut: how they are cut.
        share_sides: whether a left and a right panel share one pattern, mirrored, where they are
            each other's image.
        sides_tolerance_mm: how far they may differ for that; see `layflat.fit.compare_pair`.
    """

    finger_aversion: float
    finishes: Mapping[EdgeKind, EdgeFinish]
    covers: tuple[Cover, ...]
    layout: LayoutOrder
    cut: CutOrder = CutOrder()
    share_sides: bool = True
    sides_tolerance_mm: float = TOLERANCE_MM


@dataclass(frozen=True, eq=False, kw_only=True)
class Order(FilmOrder):
    """One job as it was ordered in a file.

    Attributes:
        path: the job file.
        name, number, customer, vehicle, workshop: for people.
        dated: the day that the papers are dated.
        body, panels: files; `unit` is the body file's unit, or "" where the file fixes it.
        film, machine: files, or None for the generic ones.
        price: what the price is made from.
        defaults: values that the file did not give.
    """

    path: Path
    name: str
    number: str
    customer: str
    vehicle: str
    workshop: str
    dated: datetime.date
    body: Path
    unit: str
    panels: Path
    film: Path | None
    machine: Path | None
    price: PriceOrder
    defaults: Mapping[str, Any]


def read_order(path: Path) -> Order:
    """The job file at *path*.

    Raises:
        SettingError: a value is missing, out of range or unknown.
        InputError: the file cannot be read.
    """
    top = read_settings(path)
    defaults: dict[str, Any] = {}
    order = Order(
        path=path,
        name=top.text("name"),
        number=top.text("number"),
        customer=top.text("customer"),
        vehicle=top.text("vehicle"),
        workshop=top.text("workshop"),
        dated=top.day("dated"),
        body=path.parent / top.text("body"),
        unit=top.choice("unit", _UNITS) if "unit" in top else "",
        panels=path.parent / top.text("panels"),
        film=path.parent / top.text("film") if "film" in top else None,
        machine=path.parent / top.text("machine") if "machine" in top else None,
        finger_aversion=top.number("finger_aversion", least=1, most=100, default=1.0),
        share_sides=top.flag("share_sides", default=True),
        sides_tolerance_mm=top.number(
            "sides_tolerance_mm",
            least=TOLERANCES_MM[0],
            most=TOLERANCES_MM[1],
            default=TOLERANCE_MM,
        ),
        finishes=_finish_rules(top.table("finish", optional=True), defaults),
        covers=_covers(top),
        layout=_layout(top.table("stock"), defaults),
        cut=_cut(top.table("cut", optional=True), defaults),
        price=_price(top.table("price"), defaults),
        defaults=defaults,
    )
    defaults.update(top.defaults)
    top.finish()
    return order


def _finish_rules(table: Settings, defaults: dict[str, Any]) -> dict[EdgeKind, EdgeFinish]:
    rules = dict(_DEFAULT_FINISH)
    for kind in EdgeKind:
        if kind.value in table:
            rules[kind] = _finish(table.table(kind.value))
        else:
            rule = rules[kind]
            defaults[f"finish.{kind.value}"] = f"{rule.finish.value} {rule.distance_mm:g} mm"
    table.finish()
    return rules


def _finish(table: Settings) -> EdgeFinish:
    finish = Finish(table.choice("finish", tuple(Finish)))
    if finish is Finish.FLUSH:
        distance_mm = table.number("distance_mm", least=0, most=0, default=0.0)
    else:
        distance_mm = table.number("distance_mm", least=0.1, most=60)
    table.finish()
    return EdgeFinish(finish, distance_mm)


def _covers(top: Settings) -> tuple[Cover, ...]:
    covers = tuple(_cover(table) for table in top.tables("cover"))
    if not covers:
        raise SettingError(f"{top.where}: there is no [[cover]]; name at least one panel.")
    names = [cover.panel for cover in covers]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise SettingError(f"{top.where}: the panel “{twice[0]}” is covered twice.")
    return covers


def _cover(table: Settings) -> Cover:
    edges = table.table("edges", optional=True)
    cover = Cover(
        panel=table.text("panel"),
        line_mm=_points(table, "line_mm") if "line_mm" in table else None,
        keep_mm=_point(table, "keep_mm") if "line_mm" in table else None,
        finishes={name: _finish(edges.table(name)) for name in edges.names()},
        film_over=dict(_film_over(table)),
        lay=table.integer("lay", least=1, most=999) if "lay" in table else None,
        reliefs=_paths(table, "reliefs") if "reliefs" in table else (),
        seams=_paths(table, "seams") if "seams" in table else (),
    )
    table.finish()
    return cover


def _film_over(table: Settings) -> list[tuple[str, str]]:
    found = []
    for item in table.tables("film_over", optional=True):
        found.append((item.text("keep_out"), item.text("reason")))
        item.finish()
    return found


def _point(table: Settings, key: str) -> FloatArray:
    values = table.numbers(key, least=-_FAR_MM, most=_FAR_MM)
    if len(values) != 3:
        raise SettingError(f"{table.where}: “{key}” must have three coordinates.")
    return frozen(values)


def _points(table: Settings, key: str) -> FloatArray:
    rows = table.lists(key, least=-_FAR_MM, most=_FAR_MM)
    if len(rows) < 2 or any(len(row) != 3 for row in rows):
        raise SettingError(f"{table.where}: “{key}” must have two or more points [x, y, z].")
    return frozen(np.array(rows))


def _paths(table: Settings, key: str) -> tuple[FloatArray, ...]:
    """Paths on the surface, each of two or more points."""
    paths = table.paths(key, least=-_FAR_MM, most=_FAR_MM)
    for number, path in enumerate(paths, start=1):
        if len(path) < 2 or any(len(point) != 3 for point in path):
            raise SettingError(
                f"{table.where}: “{key}”: path {number} must have two or more points [x, y, z]."
            )
    return tuple(frozen(np.array(path)) for path in paths)


def _layout(table: Settings, defaults: dict[str, Any]) -> LayoutOrder:
    turns = table.numbers("turns_deg", least=-360, most=360, default=(0.0, 180.0))
    order = LayoutOrder(
        stock=Stock(
            width_mm=table.number("width_mm", least=50, most=4000),
            edge_margin_mm=table.number("edge_margin_mm", least=0, most=200, default=20.0),
            end_margin_mm=table.number("end_margin_mm", least=0, most=500, default=5.0),
            length_mm=table.number("length_mm", least=100, most=200_000)
            if "length_mm" in table
            else None,
        ),
        lot=table.text("lot") if "lot" in table else "",
        gap_mm=table.number("gap_mm", least=0.5, most=100, default=4.0),
        max_section_mm=table.number("max_section_mm", least=100, most=30_000, default=3000.0),
        turns_deg=turns,
        seconds=table.number("seconds", least=1, most=3600, default=20.0),
        seed=table.integer("seed", least=0, most=2**31 - 1, default=1),
    )
    table.finish()
    defaults.update({f"stock.{key}": value for key, value in table.defaults.items()})
    return order


def _cut(table: Settings, defaults: dict[str, Any]) -> CutOrder:
    order = CutOrder(
        in_laying_order=table.flag("in_laying_order", default=False),
        first=table.texts("first") if "first" in table else (),
        strips_mm=table.number("strips_mm", least=STRIPS_MM[0], most=STRIPS_MM[1])
        if "strips_mm" in table
        else None,
        tabs=table.integer("tabs", least=0, most=MOST_TABS, default=0),
        tab_mm=table.number("tab_mm", least=TABS_MM[0], most=TABS_MM[1], default=TAB_MM),
        hinge_mm=table.number("hinge_mm", least=HINGES_MM[0], most=HINGES_MM[1])
        if "hinge_mm" in table
        else None,
    )
    if order.tabs and order.hinge_mm is not None:
        raise SettingError(f"{table.where}: pieces are held by tabs or by a hinge; name one.")
    table.finish()
    defaults.update({f"cut.{key}": value for key, value in table.defaults.items()})
    return order


def _price(table: Settings, defaults: dict[str, Any]) -> PriceOrder:
    minutes = table.table("minutes", optional=True)
    order = PriceOrder(
        currency=table.text("currency", most=8),
        film_per_metre=table.number("film_per_metre", least=0, most=100_000),
        rate_per_hour=table.number("rate_per_hour", least=0, most=100_000),
        tax_rate=table.number("tax_rate", least=0, most=1),
        consumables=table.number("consumables", least=0, most=1_000_000, default=0.0),
        minutes={name: minutes.number(name, least=0, most=10_000) for name in minutes.names()},
    )
    unknown = sorted(set(order.minutes) - set(Step))
    if unknown:
        raise SettingError(
            f"{minutes.where}: the step “{unknown[0]}” is not known; known are {', '.join(Step)}."
        )
    table.finish()
    defaults.update({f"price.{key}": value for key, value in table.defaults.items()})
    return order
