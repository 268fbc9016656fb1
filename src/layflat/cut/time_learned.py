"""The estimated time of a cut corrected by what the shop has recorded.

Each record is a section's estimate and what it took. The logarithm of their ratio scatters about
the machine's own; a lift of the film or a pause makes some far too long. So: Huber's estimate of
the middle (P. J. Huber, Robust Estimation of a Location Parameter, Annals of Mathematical
Statistics 35 (1964) 73-101, from memory), with a scale that few records do not decide alone,
drawn towards “as estimated” as strongly as a normal prior of the width `PRIOR` says. With no
record the ratio is 1 and its interval that of the prior.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from layflat.base import InputError, counted

PRIOR = 0.3
"""How far off an estimate from a machine file is taken to be, as a logarithm: by a third either
way in two of three shops. An assumption."""

SCATTER = 0.1
"""How far single sections scatter about the shop's ratio until records say; an assumption."""

_SCATTER_WEIGHT = 4.0
_HUBER = 1.5
_ROUNDS = 60
_SPREAD_80 = 1.2816
_MOST_RATIO = 50.0


@dataclass(frozen=True, kw_only=True)
class TimeRatio:
    """What an estimate is to be multiplied by.

    Attributes:
        ratio: the middle.
        low, high: the true ratio lies between them in four of five cases, if scatter and prior are
            as assumed.
        records: how many it rests on.
        scatter: of single sections, as a logarithm.
    """

    ratio: float
    low: float
    high: float
    records: int
    scatter: float

    @property
    def sentence(self) -> str:
        """Where it is from, for a person."""
        if not self.records:
            return (
                "No cutting times are recorded: the estimate is the machine file's alone, and may "
                f"be off by {self.low - 1.0:+.0%} to {self.high - 1.0:+.0%}."
            )
        return (
            f"{counted(self.records, 'recorded section')} took {self.ratio:.2f} of the machine "
            f"file's estimate, between {self.low:.2f} and {self.high:.2f} in four of five cases."
        )

    @property
    def deviation(self) -> float:
        """How far off the ratio may be: half of what lies between low and high."""
        return 0.5 * (self.high - self.low)

    def seconds(self, estimated_s: float) -> tuple[float, float, float]:
        """What one section will take, and between what in four of five cases.

        Both count: that the ratio is not known for certain, and that single sections scatter.

        Args:
            estimated_s: as the machine file says, 0 or more.

        Returns:
            The middle, the shortest and the longest time, in seconds.
        """
        unsure = math.log(self.high / self.low) / (2.0 * _SPREAD_80)
        factor = math.exp(_SPREAD_80 * math.hypot(unsure, self.scatter))
        middle = estimated_s * self.ratio
        return middle, middle / factor, middle * factor


def time_ratio(records: Iterable[tuple[float, float]]) -> TimeRatio:
    """The ratio of real to estimated time from (estimated, real) seconds of sections.

    Raises:
        InputError: a time is not above 0, or a section took 50 times longer or shorter than
            estimated.
    """
    logs = np.array([_log(estimated, real) for estimated, real in records])
    count = len(logs)
    if not count:
        return _ratio(0.0, PRIOR, 0, SCATTER)
    middle = float(np.median(logs))
    spread = 1.4826 * float(np.median(np.abs(logs - middle)))
    scatter = math.sqrt(
        (_SCATTER_WEIGHT * SCATTER**2 + (count - 1) * spread**2) / (_SCATTER_WEIGHT + count - 1)
    )
    for _ in range(_ROUNDS):
        away = np.abs(logs - middle) / scatter
        weights = np.minimum(1.0, _HUBER / np.maximum(away, 1e-12))
        middle = float(np.sum(weights * logs) / np.sum(weights))
    inside = np.abs(logs - middle) <= _HUBER * scatter
    # A record that is cut down to the limit says less where the middle lies, as Huber's variance.
    information = max(1.0, float(np.count_nonzero(inside))) / scatter**2
    certainty = information + 1.0 / PRIOR**2
    return _ratio(middle * information / certainty, certainty**-0.5, count, scatter)


def _log(estimated_s: float, real_s: float) -> float:
    if not (0.0 < estimated_s < math.inf and 0.0 < real_s < math.inf):
        raise InputError(
            f"A section estimated at {estimated_s:g} s that took {real_s:g} s is no record: both "
            "must be above 0."
        )
    if not 1.0 / _MOST_RATIO < real_s / estimated_s < _MOST_RATIO:
        raise InputError(
            f"A section estimated at {estimated_s:.0f} s took {real_s:.0f} s: that is no cutting "
            "time. Leave it out, or write down when the head started and stopped."
        )
    return math.log(real_s / estimated_s)


def _ratio(middle: float, deviation: float, records: int, scatter: float) -> TimeRatio:
    return TimeRatio(
        ratio=math.exp(middle),
        low=math.exp(middle - _SPREAD_80 * deviation),
        high=math.exp(middle + _SPREAD_80 * deviation),
        records=records,
        scatter=scatter,
    )
