"""The film as a material."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from layflat.base import SettingError

NOT_STATED = "not stated"
"""What stands for a source or a basis that nobody gave."""

QUANTITIES = {
    "thickness_um": "thickness",
    "stretch_limit": "stretch limit",
    "finger_limit": "finger limit",
    "wrap_finger_limit": "finger limit of warmed wraps",
    "poisson_ratio": "Poisson ratio",
    "youngs_modulus_mpa": "Young's modulus",
}
"""The numbers of a film, with what people call them."""

STRETCH_LIMITS = (0.0, 1.0)
FINGER_LIMITS = (0.0, 0.5)
"""What the limits may lie between, as fractions."""

WRAP_FINGER_LIMIT = 0.1
"""The finger limit of warmed wraps, as a fraction, where a film does not state one."""

WRAP_FINGER_SOURCE = (
    "Assumption: warmed and pressed down behind an edge, the film takes up 10 % of its length; an "
    "8 mm wrap then goes square round an outer radius of 72 mm without a notch. Test it on your "
    "own film."
)
"""Where that comes from."""


class Basis(StrEnum):
    """What a value of a film rests on."""

    MEASURED = "measured"
    """By the shop, on this film."""
    TEST_REPORT = "test report"
    """By a laboratory, after a standard that the source names."""
    ASSUMED = "assumed"
    """On nothing that was done to this film."""


@dataclass(frozen=True, kw_only=True)
class Film:
    """A film, as far as mechanics and layout need it.

    Attributes:
        name: what the shop calls it.
        thickness_um: film without liner, in micrometres.
        youngs_modulus_mpa: in MPa; flat shapes do not depend on it, energies do.
        poisson_ratio: 0 to below 0.5.
        stretch_limit: the greatest strain that goes unnoticed, as a fraction (0.05 = 5 %).
        finger_limit: the greatest compressive strain that lies flat, as a fraction.
        wrap_finger_limit: the greatest compressive strain that a wrap's outer line takes up, warmed
            and pressed down behind an edge, as a fraction.
        one_direction: whether pieces must keep one direction on the roll (matt, tinted).
        sources: for each value above, a sentence that says where it is from.
        basis: for each number above, a word of `Basis`; one that is missing is not stated.

    Raises:
        SettingError: the Poisson ratio, the modulus or the thickness is out of physics, a limit
            is out of its bounds, or the basis of something is no word of `Basis`.
    """

    name: str
    thickness_um: float
    youngs_modulus_mpa: float
    poisson_ratio: float
    stretch_limit: float
    finger_limit: float
    one_direction: bool
    wrap_finger_limit: float = WRAP_FINGER_LIMIT
    sources: Mapping[str, str] = field(default_factory=dict)
    basis: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require_physical(
            poisson_ratio=self.poisson_ratio,
            youngs_modulus_mpa=self.youngs_modulus_mpa,
            thickness_um=self.thickness_um,
        )
        _require_limit("stretch limit", self.stretch_limit, STRETCH_LIMITS)
        _require_limit("finger limit", self.finger_limit, FINGER_LIMITS)
        _require_limit("finger limit of warmed wraps", self.wrap_finger_limit, FINGER_LIMITS)
        for key, word in self.basis.items():
            if key not in QUANTITIES or word not in tuple(Basis):
                raise SettingError(
                    f"The basis of the film's “{key}” is {word!r}; it must be one of "
                    f"{', '.join(Basis)}, for one of {', '.join(QUANTITIES)}."
                )

    def basis_of(self, key: str) -> str:
        """What the number called *key* rests on: a word of `Basis`, or "not stated"."""
        return str(self.basis.get(key, NOT_STATED))


def require_physical(
    *, poisson_ratio: float, youngs_modulus_mpa: float = 1.0, thickness_um: float = 1.0
) -> None:
    """Refuse a material that cannot be.

    Raises:
        SettingError: the Poisson ratio is not 0 to below 0.5 (at 0.5 no pressure would change
            the film's volume), or the modulus or the thickness is not above zero.
    """
    if not 0.0 <= poisson_ratio < 0.5:
        raise SettingError(
            f"The film's Poisson ratio is {poisson_ratio:g}; it must be at least 0 and below 0.5 "
            "(soft films have 0.45 to 0.499)."
        )
    for what, value, unit in (
        ("Young's modulus", youngs_modulus_mpa, "MPa"),
        ("thickness", thickness_um, "micrometres"),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise SettingError(f"The film's {what} is {value:g} {unit}; it must be more than zero.")


def _require_limit(what: str, value: float, bounds: tuple[float, float]) -> None:
    least, most = bounds
    if not least <= value <= most:
        raise SettingError(
            f"The film's {what} is {value:g}; it is a fraction, from {least:g} to {most:g} "
            "(0.05 is 5 %)."
        )
