"""The law of a film that cannot push: the tension field.

A film so thin that bending costs nothing cannot bear compression: it gives way sideways, in
fingers, and what is left is pulled in one direction only, or hangs slack. Its energy is the least
of Hencky's over all ways of taking film up in fingers,

    w(e1, e2) = min over d1, d2 >= 0 of w_Hencky(e1 + d1, e2 + d2)

(A. C. Pipkin, The relaxed energy density for isotropic elastic membranes, IMA J. Appl. Math. 36
(1986) 85-99, from memory; the minimum was derived anew and is tested by brute force). With e the
greater log strain and nu the Poisson ratio:

    taut      both principal stresses pull                  Hencky's energy
    fingered  the lesser one would press, e > 0             w = (1 - nu²) e² / 2
    slack     e <= 0                                        w = 0

It is convex in (e1, e2), its stress is continuous, and it lies nowhere above Hencky's.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, SettingError
from layflat.film.energy import HenckyLaw

SLACK_STIFFNESS = 1e-3
"""What `RelaxedLaw` leaves of the stiffness where film is slack, unless told otherwise.

A film that is slack has no single equilibrium: a minimiser may wander without end. A thousandth of
the plain stiffness picks one, and moves stresses by about as much.
"""


@dataclass(frozen=True)
class RelaxedLaw:
    """The tension field, scaled by the film's stiffness ``E h / (1 - nu²)`` as `HenckyLaw` is.

    Attributes:
        poisson_ratio: 0 to below 0.5.
        slack_stiffness: the part of the plain energy that is mixed in everywhere, 0 to 1: 0 is the
            tension field itself, 1 is `HenckyLaw`. In a direction in which film is slack, just so
            much of its stiffness is left.

    Raises:
        SettingError: a value is out of its range.
    """

    poisson_ratio: float
    slack_stiffness: float = SLACK_STIFFNESS

    def __post_init__(self) -> None:
        HenckyLaw(self.poisson_ratio)
        if not 0.0 <= self.slack_stiffness <= 1.0:
            raise SettingError(
                f"The stiffness left where film is slack is {self.slack_stiffness:g} of the plain "
                "one; it must lie between 0 and 1."
            )

    def density(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """The energy w per unit area at log strains *e1* and *e2*, elementwise, in any order."""
        plain, kept = HenckyLaw(self.poisson_ratio), self.slack_stiffness
        relaxed = plain.density(*self.without_fingers(e1, e2))
        return np.asarray((1.0 - kept) * relaxed + kept * plain.density(e1, e2))

    def stress(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The derivatives of `density` with respect to *e1* and *e2*.

        Neither is negative where `slack_stiffness` is 0.
        """
        plain, kept = HenckyLaw(self.poisson_ratio), self.slack_stiffness
        t1, t2 = plain.stress(*self.without_fingers(e1, e2))
        s1, s2 = plain.stress(e1, e2)
        return (1.0 - kept) * t1 + kept * s1, (1.0 - kept) * t2 + kept * s2

    def swelling(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """How fast the sum of both stresses grows when both strains grow alike."""
        nu, kept = self.poisson_ratio, self.slack_stiffness
        greater, lesser = np.maximum(e1, e2), np.minimum(e1, e2)
        taut = 2.0 * (1.0 + nu)
        bare = np.where(lesser > -nu * greater, taut, np.where(greater > 0.0, 1.0 - nu * nu, 0.0))
        return np.asarray((1.0 - kept) * bare + kept * taut)

    def without_fingers(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The strains of the film itself when fingers have taken up what would press.

        Film pulled by e > 0 narrows freely to -nu e; it is never narrower than that, and never
        shorter than it lay on the roll.
        """
        nu = self.poisson_ratio
        return np.maximum(e1, -nu * np.maximum(e2, 0.0)), np.maximum(e2, -nu * np.maximum(e1, 0.0))

    def taken_up(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The log strains that fingers take up along either direction; not negative."""
        t1, t2 = self.without_fingers(e1, e2)
        return t1 - e1, t2 - e2
