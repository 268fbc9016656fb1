"""Blank or fitted, for a piece of a job: with the job's own layout, pace and rates."""

from dataclasses import replace

from layflat.fit import BlankOrFitted, BlankRates, blank_or_fitted
from layflat.job.pieces import Piece
from layflat.nest import Layout
from layflat.pattern import Pattern, pattern_area_mm2, pattern_cut_mm
from layflat.plan import ASSUMED, Pace, Rates


def blank_of(
    piece: Piece,
    layout: Layout,
    *,
    cutting_s: float,
    pace: Pace | None = None,
    rates: Rates | None = None,
    blank_rates: BlankRates | None = None,
) -> BlankOrFitted:
    """A bulk rectangle for *piece* beside its pattern.

    Its share of the film is its area over what the layout makes use of; its share of the plotter's
    time goes by the length of its cuts. Setting up the plotter is not counted: others need it.

    Args:
        piece: of the job.
        layout: that all of the job's pieces lie in.
        cutting_s: what the whole cut program takes, in seconds.
        pace: minutes of one person, or None for the assumptions of this program.
        rates: what film and work cost, or None for the assumptions of `BlankRates`.
        blank_rates: what a blank takes, or None for its assumptions.

    Raises:
        SettingError: a value is impossible.
    """
    own = pace or Pace()
    pattern = piece.pattern
    every = sum(pattern_cut_mm(p.pattern) for p in layout.placements)
    cutting_min = cutting_s / 60.0 * pattern_cut_mm(pattern) / every
    fitted_min = weeding_min(pattern, own) + cutting_min
    worth = blank_rates or BlankRates()
    if rates is not None:
        worth = replace(
            worth,
            film_per_m2=float(rates.film_per_metre) / (layout.stock.width_mm / 1e3),
            per_hour=float(rates.per_hour),
            own=worth.own | {"film_per_m2", "per_hour"},
        )
    found = blank_or_fitted(
        piece.flat,
        piece.region,
        pattern,
        roll_mm=layout.stock.width_mm,
        fitted_min=fitted_min,
        keep_outs=piece.keep_outs,
        fitted_mm2=pattern_area_mm2(pattern) / layout.yield_,
        rates=worth,
    )
    if pace is not None:
        return found
    said = f"The minutes of cutting and weeding: {ASSUMED}."
    return replace(found, reasons=(*found.reasons, said))


def weeding_min(pattern: Pattern, pace: Pace) -> float:
    """The minutes of weeding one piece."""
    return (
        pace.weed_per_piece
        + len(pattern.cut_outs) * pace.weed_per_cut_out
        + pattern_cut_mm(pattern) / 1e3 * pace.weed_per_m
    )
