"""The stretch from which film no longer comes back, from readings with the weights off.

Below some stretch film comes back wholly; beyond it, what stays grows with the stretch (residual
strain depends on the deformation only past the one that leaves permanent set: L. Bartolomé et al.,
Mater. Design 49 (2013) 974-980, abstract). With the stretch e under the load that was taken off,

    length = marked (1 + k max(0, e - limit)),      0 <= k <= 1:

no more can stay than was pulled beyond the limit. The limit is the one of least chi-square; its
95 % interval holds all limits whose chi-square is at most 3.84 more (profile likelihood).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri

from layflat.base import FloatArray
from layflat.film.strip_test import StripTest

FEWEST_STRETCHES = 3
"""Below so many stretches a limit cannot be told from chance."""

_STEP = 1e-4
"""Limits are looked at in steps of so much: a hundredth of a per cent."""

_ODDS = 0.95
_LEAST_ODDS = 0.01


@dataclass(frozen=True, kw_only=True)
class Recovery:
    """From which stretch the film no longer came back.

    Attributes:
        greatest: the greatest stretch that was taken off again; 0 without such readings.
        stretches: from how many different stretches film was let go.
        limit: the limit that the readings speak for; None where none of them shows a set.
        low, high: its 95 % interval; without a set, `high` is infinite.
        set_share: how much of each stretch beyond the limit stays.
        wait_min: the shortest wait with the weight off.
        notes: sentences for a person.
    """

    greatest: float
    stretches: int
    limit: float | None
    low: float
    high: float
    set_share: float
    wait_min: float
    notes: tuple[str, ...]

    @property
    def proposed(self) -> float | None:
        """The stretch that surely comes back, as a fraction down to a tenth of a per cent.

        The low end of the interval; None where too little was read, or where the interval
        reaches below half of its limit.
        """
        if self.stretches < FEWEST_STRETCHES:
            return None
        if self.limit is not None and self.low < 0.5 * self.limit:
            return None
        safe = math.floor(self.low * 1e3 + 1e-9) / 1e3
        return safe if safe > 0.0 else None


def recovery_of(test: StripTest) -> Recovery:
    """What the unloaded readings of *test* say."""
    if not test.unloaded:
        return _nothing("No reading was taken with the weights off, so recovery is not known.")
    strip = test.strip
    stretch = np.array([test.stretch_under(row.after_g) for row in test.unloaded])
    lengths = np.array([row.length_mm for row in test.unloaded])
    deviation = strip.reading_mm / math.sqrt(3.0)
    greatest = float(stretch.max())
    limits = np.arange(0.0, greatest + _STEP, _STEP)
    chi_square, share = _profile(limits, stretch, np.r_[lengths, strip.marked_mm], deviation)
    none, least = float(chi_square[-1]), float(chi_square.min())
    allowed = float(chdtri(1, 1.0 - _ODDS))
    within = np.flatnonzero(chi_square <= least + allowed)
    # Where several limits are equally good, their middle stands for them.
    best = limits[chi_square <= least + 1e-6]
    limit = 0.5 * float(best[0] + best[-1])
    seen = none > least + allowed
    low = float(limits[within[0]]) if seen else greatest
    stretches = len(set(np.round(stretch, 4).tolist()))
    notes = _notes(test, stretches, none if not seen else least, len(lengths) + 1)
    if seen and low == 0.0:
        notes = (*notes, "A set shows from the smallest stretch on; try smaller weights as well.")
    return Recovery(
        greatest=greatest,
        stretches=stretches,
        limit=limit if seen else None,
        low=low,
        high=float(limits[within[-1]]) if seen else math.inf,
        set_share=float(share[int(chi_square.argmin())]) if seen else 0.0,
        wait_min=min(row.wait_min for row in test.unloaded),
        notes=notes,
    )


def _profile(
    limits: FloatArray, stretch: FloatArray, read: FloatArray, deviation: float
) -> tuple[FloatArray, FloatArray]:
    """The least chi-square for each limit, and the share k that it is reached with.

    The marked length, the last of *read*, is fitted with the rest. For each limit the least
    squares are those of a straight line in max(0, e - limit) whose slope is kept in its bounds.
    """
    beyond = np.maximum(0.0, np.append(stretch, 0.0) - limits[:, None])
    centred = beyond - beyond.mean(axis=1, keepdims=True)
    spread = np.sum(centred**2, axis=1)
    slope = (centred @ read) / np.where(spread > 0.0, spread, 1.0)
    # The marked length turns the slope, in mm, into the share; its error does not matter there.
    slope = np.clip(slope, 0.0, read[-1])
    level = read.mean() - slope * beyond.mean(axis=1)
    off = (read - level[:, None] - slope[:, None] * beyond) / deviation
    return np.sum(off**2, axis=1), slope / read[-1]


def _nothing(note: str) -> Recovery:
    return Recovery(
        greatest=0.0,
        stretches=0,
        limit=None,
        low=0.0,
        high=math.inf,
        set_share=0.0,
        wait_min=0.0,
        notes=(note,),
    )


def _notes(test: StripTest, stretches: int, chi_square: float, count: int) -> tuple[str, ...]:
    notes = []
    if stretches < FEWEST_STRETCHES:
        notes.append(
            f"Film was let go from {stretches} stretch{'es' if stretches > 1 else ''} only; "
            f"{FEWEST_STRETCHES} at least are needed to tell where it no longer comes back."
        )
    freedom = count - 3
    if freedom > 0 and float(chdtrc(freedom, chi_square)) < _LEAST_ODDS:
        notes.append(
            f"The readings with the weights off contradict each other (chi-square {chi_square:.1f} "
            f"on {freedom} degrees of freedom); take them again."
        )
    if min(row.wait_min for row in test.unloaded) < 10.0:
        notes.append(
            "Some readings with the weight off were taken after less than 10 minutes; film still "
            "creeps back then."
        )
    return tuple(notes)
