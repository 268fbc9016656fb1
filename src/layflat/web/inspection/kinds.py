"""The faults that inspection looks for.

Common practice, no source; the film maker's instructions go first.
"""

from dataclasses import dataclass
from typing import Final

from layflat.web.inspection.models import Flag

_Remedy = Flag.Remedy


@dataclass(frozen=True)
class Kind:
    """One kind of fault on laid film.

    Attributes:
        name: as it is kept, and in a sentence.
        says: what it looks like.
        remedy: what is usually done about it.
        may_wait: whether it may clear by itself within weeks.
        caution: what to do at once, or "".
    """

    name: str
    says: str
    remedy: Flag.Remedy
    may_wait: bool = False
    caution: str = ""

    @property
    def word(self) -> str:
        """On its button."""
        return self.name.capitalize()


KINDS: Final = (
    Kind("lifted edge", "the edge stands off the paint", _Remedy.PRESS),
    Kind("finger", "a fold that ends at the edge", _Remedy.RELAY),
    Kind("air bubble", "round and springy; air never clears by itself", _Remedy.PRESS),
    Kind(
        "water pocket",
        "flat and soft; a small one may take up to a month to clear",
        _Remedy.WAIT,
        may_wait=True,
    ),
    Kind("dirt under film", "a point that tents the film; it never clears", _Remedy.REMAKE),
    Kind(
        "stretch haze",
        "milky where film was pulled far; slight haze may clear in the first weeks",
        _Remedy.WAIT,
        may_wait=True,
    ),
    Kind("glue line", "a line of glue where a laid place was lifted", _Remedy.RELAY),
    Kind(
        "knife mark in paint",
        "a cut that goes below the film",
        _Remedy.REMAKE,
        caution="Tell the owner now: the customer hears of it from us before the car goes.",
    ),
    Kind("scratch in film", "on the film's own surface", _Remedy.REMAKE),
    Kind("edge out of true", "an uneven gap along the edge", _Remedy.RELAY),
    Kind("short", "paint is left bare that film was to cover", _Remedy.REMAKE),
    Kind("silvering", "bright air round a letter or a tight curve", _Remedy.PRESS),
    Kind(
        "keep-out touched",
        "film lies on a sensor, an emblem or another place that stays free",
        _Remedy.REMAKE,
        caution=(
            "Film over cameras, radar or other sensors can blind them: take it off there before "
            "the car is driven."
        ),
    ),
)
"""In the order of their buttons."""
_BY_NAME: Final = {kind.name: kind for kind in KINDS}


def kind_named(name: str) -> Kind:
    """The kind of that name; one that is made anew for names that other versions kept."""
    return _BY_NAME.get(name) or Kind(name, "", _Remedy.REMAKE)


def is_known(name: str) -> bool:
    """Whether a kind has that name."""
    return name in _BY_NAME
