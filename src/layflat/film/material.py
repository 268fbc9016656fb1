"""The film as a material."""

from collections.abc import Mapping
from dataclasses import dataclass, field


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
        one_direction: whether pieces must keep one direction on the roll (matt, tinted).
        sources: for each value above, a sentence that says where it is from.
    """

    name: str
    thickness_um: float
    youngs_modulus_mpa: float
    poisson_ratio: float
    stretch_limit: float
    finger_limit: float
    one_direction: bool
    sources: Mapping[str, str] = field(default_factory=dict)
