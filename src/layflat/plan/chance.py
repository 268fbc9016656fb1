"""Whether an offcut is worth a shelf: the chance that it is used, learned from past jobs.

Of n past jobs of the same film, k had a piece that would have gone onto the offcut. Before any
job is known, the share of such jobs is taken to be anything from none to all (the beta
distribution with both parameters 1, Laplace's rule of succession); with them it is beta with 1 +
k and 1 + n - k. How many of the next m jobs have such a piece is then beta-binomial (A. Gelman
and others, *Bayesian Data Analysis*, chapter 2; from memory). An offcut that stands behind j
others of its kind is used only if more than j of the m have one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from layflat.base import SettingError

Size = tuple[float, float]
"""The box of a piece, in mm, along and across the roll."""


@dataclass(frozen=True, kw_only=True)
class Storing:
    """What storing costs, and how far ahead is looked. Every default: assumption of this program.

    Attributes:
        jobs_ahead: an offcut that is not used within so many jobs of its film is thrown away.
        minutes: of one person, to trim it, label it, shelve it and find it again.
        most_worth: an offcut is worth at most this part of what its film costs on a roll.
        least_short_mm, least_long_mm: smaller is never kept.
    """

    jobs_ahead: int = 12
    minutes: float = 6.0
    most_worth: float = 0.5
    least_short_mm: float = 250.0
    least_long_mm: float = 400.0

    def __post_init__(self) -> None:
        if not 1 <= self.jobs_ahead <= 1000:
            raise SettingError(
                f"An offcut is kept for {self.jobs_ahead} jobs; it must be from 1 to 1000."
            )
        if not 0 <= self.minutes <= 600:
            raise SettingError(
                f"Storing an offcut takes {self.minutes:g} minutes; it must be from 0 to 600."
            )
        if not 0 <= self.most_worth <= 1:
            raise SettingError(
                f"An offcut is worth at most {self.most_worth:g} of its film; it must be a part "
                "from 0 to 1."
            )
        if not 0 < self.least_short_mm <= self.least_long_mm:
            raise SettingError(
                f"The least offcut is {self.least_short_mm:g} by {self.least_long_mm:g} mm; the "
                "short side comes first, and both are above 0."
            )


@dataclass(frozen=True, kw_only=True)
class Chance:
    """How likely an offcut is used.

    Attributes:
        chance: 0 to 1.
        fitting, jobs: of so many past jobs, so many had a piece for it.
        saved_mm2: the film that such a piece would save, on average of the largest of each job.
    """

    chance: float
    fitting: int
    jobs: int
    saved_mm2: float


def chance_of_use(
    size: Size,
    past: Sequence[Sequence[Size]],
    *,
    jobs_ahead: int,
    before: int = 0,
    margins_mm: Size = (10.0, 40.0),
    may_turn: bool = True,
) -> Chance:
    """How likely an offcut is used within the next jobs of its film.

    Args:
        size: of the offcut, along and across the roll.
        past: for each past job of this film the boxes of its pieces.
        jobs_ahead: within how many jobs.
        before: how many offcuts that would serve as well are taken before this one.
        margins_mm: what plotting on it takes of its length and width (end and edge margins).
        may_turn: whether pieces may lie along or across.
    """
    along, across = size[0] - margins_mm[0], size[1] - margins_mm[1]
    largest = []
    for job in past:
        areas = [
            one * other
            for one, other in job
            if (one <= along and other <= across) or (may_turn and one <= across and other <= along)
        ]
        if areas:
            largest.append(max(areas))
    # Read only here: it takes longer than all else that a process reads at its start.
    from scipy.stats import betabinom

    fitting, jobs = len(largest), len(past)
    chance = float(betabinom.sf(before, jobs_ahead, 1 + fitting, 1 + jobs - fitting))
    # Nobody knows yet what it would be used for: half of it, which is said with the rule.
    saved = sum(largest) / fitting if fitting else 0.5 * max(0.0, along * across)
    return Chance(chance=chance, fitting=fitting, jobs=jobs, saved_mm2=saved)


def offcut_worth(
    chance: Chance, area_mm2: float, *, per_m2: float, per_hour: float, storing: Storing
) -> float:
    """What it is worth to keep an offcut, in money; not above 0 means that it is not kept.

    Args:
        chance: that it is used.
        area_mm2: its own.
        per_m2: what film on a roll costs.
        per_hour: what a person's hour costs.
        storing: what storing costs.
    """
    saves = min(chance.chance * chance.saved_mm2, storing.most_worth * area_mm2) * per_m2 / 1e6
    return saves - storing.minutes / 60.0 * per_hour
