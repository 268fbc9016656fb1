"""Blank or fitted: a bulk rectangle trimmed on the car beside a pattern cut before.

A blank saves plotter and weeding, costs film and trimming, and brings a knife near paint. Every
number of `BlankRates` is an assumption of this program or the shop's own; the comparison says
which.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FitError, SettingError
from layflat.film import Flat, stretch_summary
from layflat.fit.blank_rectangle import Rectangle, least_rectangle
from layflat.pattern import Pattern, pattern_area_mm2, sample
from layflat.surface import EdgeKind, KeepOut, KeepOutKind, Region, edge_lengths_mm

CAUTION = (
    "A knife on or beside paint is for practised hands only, with a new blade and hardly any "
    "force: test on scrap first, and never trim over lamps, seals or trim with sensors, cameras or "
    "radar behind it."
)

_WORDS = {
    "margin_mm": "margin for trimming in mm",
    "least_rest_mm": "least useful rest in mm",
    "fitted_yield": "used share of a layout",
    "cut_blank_min": "minutes to cut a blank",
    "trim_per_m_min": "minutes to trim a metre",
    "film_per_m2": "film per m²",
    "per_hour": "work per hour",
}

_FINGER_SHARE = 0.02
"""More of the surface beyond the finger limit, and film is hard to lay even when fitted."""

_GUARDED = (KeepOutKind.SENSOR, KeepOutKind.EMBLEM)
"""Emblems can hide a radar."""


@dataclass(frozen=True, kw_only=True)
class BlankRates:
    """What film and minutes are worth. Every default: assumption of this program.

    Attributes:
        margin_mm: film left all round the piece, to hold and to trim.
        least_rest_mm: a strip beside the blank that is narrower is of no use.
        fitted_yield: share of the roll that fitted pieces make use of in a layout.
        cut_blank_min: measuring a blank and cutting it off the roll.
        trim_per_m_min: trimming a metre of edge on the car.
        film_per_m2, per_hour: what film and work cost, in one currency.
        own: the names of those above that are the shop's own; the others are said to be assumed.
    """

    margin_mm: float = 30.0
    least_rest_mm: float = 300.0
    fitted_yield: float = 0.75
    cut_blank_min: float = 3.0
    trim_per_m_min: float = 4.0
    film_per_m2: float = 40.0
    per_hour: float = 60.0
    own: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for name, most in (("margin_mm", 500.0), ("fitted_yield", 1.0), ("film_per_m2", 1e6)):
            if not 0.0 < getattr(self, name) <= most:
                raise SettingError(
                    f"For a blank, “{name}” is {getattr(self, name):g}; it must lie above 0 and "
                    f"be at most {most:g}."
                )
        for name in ("least_rest_mm", "cut_blank_min", "trim_per_m_min", "per_hour"):
            if not 0.0 <= getattr(self, name) < 1e6:
                raise SettingError(
                    f"For a blank, “{name}” is {getattr(self, name):g}; it must be 0 or more."
                )


@dataclass(frozen=True, eq=False, kw_only=True)
class BlankOrFitted:
    """Both ways to cover a panel, side by side.

    Attributes:
        name: the piece's.
        rectangle: the blank, or None where the roll is too narrow.
        blank_mm2, fitted_mm2: film off the roll for each, waste counted.
        blank_min, fitted_min: minutes of cutting, weeding and trimming for each.
        trimmed_mm: length of all edges trimmed on the car.
        on_paint_mm: of these, on the panel's own open paint (lines across it, keep-outs).
        beside_paint_mm: of these, with paint next to them (gaps and free edges).
        costs: what the blank costs more than the fitted piece (negative: less).
        can_lie: whether a rectangle can be laid, by the strain of the fitted piece.
        take_blank: the proposal.
        against: what speaks against any blank, whatever it costs; a sentence each.
        sentence: the proposal, for a person.
        reasons: what it rests on, a sentence each, with the assumptions.
        caution: what to mind with a knife on a car.
    """

    name: str
    rectangle: Rectangle | None
    blank_mm2: float
    fitted_mm2: float
    blank_min: float
    fitted_min: float
    trimmed_mm: float
    on_paint_mm: float
    beside_paint_mm: float
    costs: float
    can_lie: bool
    take_blank: bool
    against: tuple[str, ...]
    sentence: str
    reasons: tuple[str, ...]
    caution: str = CAUTION


def blank_or_fitted(
    flat: Flat,
    region: Region,
    pattern: Pattern,
    *,
    roll_mm: float,
    fitted_min: float,
    keep_outs: tuple[KeepOut, ...] = (),
    fitted_mm2: float | None = None,
    rates: BlankRates | None = None,
) -> BlankOrFitted:
    """A bulk rectangle for a panel beside its pattern.

    Whether a rectangle can be laid at all is judged by the strain of the fitted piece: what asks
    much of the film there asks more of a rectangle, which nobody relieved.

    Args:
        flat: the panel, flattened.
        region: its surface with its edges.
        pattern: its piece, x along the roll.
        roll_mm: width of the roll.
        fitted_min: minutes of cutting and weeding the fitted piece.
        keep_outs: places on it that stay free.
        fitted_mm2: its share of the film in the layout; without, from its area and the yield.
        rates: the shop's own, or None for the assumptions of this program.

    Raises:
        SettingError: the roll or the minutes are impossible.
    """
    if not 0.0 < roll_mm < 1e5 or not 0.0 <= fitted_min < 1e5:
        raise SettingError(
            f"A roll of {roll_mm:g} mm and {fitted_min:g} minutes of cutting and weeding cannot be."
        )
    own = rates or BlankRates()
    assumed = [key for key in _WORDS if key not in own.own]
    if fitted_mm2 is None:
        fitted_mm2 = pattern_area_mm2(pattern) / own.fitted_yield
    elif "fitted_yield" in assumed:
        assumed.remove("fitted_yield")
    on_paint, beside, trimmed = _knife(region, keep_outs)
    blank_min = own.cut_blank_min + trimmed / 1e3 * own.trim_per_m_min
    against = _against(flat, keep_outs, on_paint)
    try:
        rectangle = least_rectangle(
            sample(pattern.outline, deviation_mm=0.5),
            roll_mm=roll_mm,
            margin_mm=own.margin_mm,
            one_direction=flat.film.one_direction,
            least_rest_mm=own.least_rest_mm,
        )
    except FitError as error:
        rectangle, against = None, [*against, str(error)]
    blank_mm2 = rectangle.used_mm2 if rectangle else float("inf")
    film = (blank_mm2 - fitted_mm2) / 1e6
    minutes = blank_min - fitted_min
    costs = film * own.film_per_m2 + minutes / 60.0 * own.per_hour
    take = not against and costs < 0.0
    reasons = [*against]
    if rectangle:
        reasons.append(
            f"The blank takes {blank_mm2 / 1e6:.2f} m² of film, the fitted piece "
            f"{fitted_mm2 / 1e6:.2f} m²; cutting, weeding and trimming take {blank_min:.0f} "
            f"minutes against {fitted_min:.0f}."
        )
    reasons.append(
        f"The knife would run {trimmed / 1e3:.1f} m, {beside / 1e3:.1f} m of it with paint beside "
        f"it and {on_paint / 1e3:.1f} m on paint."
    )
    if assumed:
        listed = ", ".join(f"{_WORDS[key]} {getattr(own, key):g}" for key in assumed)
        reasons.append(f"Assumed by this program: {listed}.")
    return BlankOrFitted(
        name=pattern.name,
        rectangle=rectangle,
        blank_mm2=blank_mm2,
        fitted_mm2=fitted_mm2,
        blank_min=blank_min,
        fitted_min=fitted_min,
        trimmed_mm=trimmed,
        on_paint_mm=on_paint,
        beside_paint_mm=beside,
        costs=costs,
        can_lie=_can_lie(flat),
        take_blank=take,
        against=tuple(against),
        sentence=_sentence(pattern.name, rectangle, against, costs),
        reasons=tuple(reasons),
    )


def _sentence(name: str, rectangle: Rectangle | None, against: list[str], costs: float) -> str:
    if rectangle is None or against:
        return f"Cut “{name}” fitted: a blank is no choice here."
    sides = f"{rectangle.along_mm:.0f} mm along and {rectangle.across_mm:.0f} mm across the roll"
    if costs < 0.0:
        return (
            f"A blank will do for “{name}”: {sides}; trimmed on the car it costs {-costs:.2f} less."
        )
    return f"Cut “{name}” fitted: a blank of {sides} would cost {costs:.2f} more."


def _can_lie(flat: Flat) -> bool:
    found = stretch_summary(flat)
    return (
        found.greatest_p99 - 1.0 <= flat.film.stretch_limit
        and found.share_under_finger_limit <= _FINGER_SHARE
    )


def _against(flat: Flat, keep_outs: tuple[KeepOut, ...], on_paint_mm: float) -> list[str]:
    """What speaks against any blank, whatever it costs."""
    found = stretch_summary(flat)
    against = []
    if not _can_lie(flat):
        against.append(
            f"Even fitted the film is stretched by {100 * (found.greatest_p99 - 1.0):.1f} % and "
            f"{100 * found.share_under_finger_limit:.1f} % of it is beyond the finger limit: a "
            "plain rectangle would not lie down."
        )
    guarded = [item.name or item.kind.value for item in keep_outs if item.kind in _GUARDED]
    if guarded:
        against.append(
            f"It leaves {', '.join(guarded)} free: nobody trims there on the car, since a sensor "
            "may be behind it."
        )
    if on_paint_mm > 0.0:
        against.append(f"{on_paint_mm / 1e3:.1f} m would be trimmed on the panel's own open paint.")
    return against


def _knife(region: Region, keep_outs: tuple[KeepOut, ...]) -> tuple[float, float, float]:
    """Lengths trimmed on the car, mm: on open paint, with paint beside it, in all."""
    by_kind = dict.fromkeys(EdgeKind, 0.0)
    for loop, lengths in zip(region.loops, edge_lengths_mm(region), strict=True):
        for edge, length in zip(loop.edges, lengths.tolist(), strict=True):
            by_kind[edge.kind] += length
    rims = 0.0
    for item in keep_outs:
        ring = item.points_mm
        rims += float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())
    on_paint = by_kind[EdgeKind.INNER] + rims
    beside = by_kind[EdgeKind.GAP] + by_kind[EdgeKind.OPEN]
    return on_paint, beside, sum(by_kind.values()) + rims
