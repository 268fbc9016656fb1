"""How a film slips under the head, as programs are bent against it.

What is read off a section's marks is how far the film slips beside what that section's program was
bent against already: large and small crosses were both cut by it. The film's own slip is the sum
of both, and it is the sum that the sections behind must be bent against, from their straight
programs.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.cut.drift import Drift


@dataclass(frozen=True, eq=False, kw_only=True)
class Slip:
    """How far what is cut is shifted, for 1 mm of progress.

    Attributes:
        fed: (2,) float64, along and across the roll, for film that is fed for the first time.
        travelled: the same for every way to and fro along the roll.
    """

    fed: FloatArray
    travelled: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "fed", frozen(self.fed))
        object.__setattr__(self, "travelled", frozen(self.travelled))

    def __add__(self, other: "Slip") -> "Slip":
        return Slip(fed=self.fed + other.fed, travelled=self.travelled + other.travelled)


NO_SLIP = Slip(fed=np.zeros(2), travelled=np.zeros(2))
"""That of a film which stays where it is."""


def slip_of(drift: Drift) -> Slip:
    """The slip that marks told of, beside what their own program was bent against."""
    rates = {"fed": np.zeros(2), "travelled": np.zeros(2)}
    return Slip(**rates | {drift.by: drift.rate})
