"""Lines in millimetres as pictures of a page, y upwards."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

_ROOM = 0.04
_MARK = 0.022
_MOST_MARKS = 60


@dataclass(frozen=True)
class Spot:
    """A numbered place on a picture, in its own units."""

    word: str
    x: float
    y: float
    is_question: bool


@dataclass(frozen=True)
class View:
    """The part of the plane that a picture shows.

    Attributes:
        box: as SVG's viewBox.
        unit: the radius of a mark, in mm.
    """

    box: str
    unit: float
    wide: float
    high: float

    @property
    def letter(self) -> float:
        """The height of a number in a mark, in mm."""
        return round(1.3 * self.unit, 2)

    @property
    def dot(self) -> float:
        """The radius of a corner's dot, in mm."""
        return round(0.4 * self.unit, 2)

    @property
    def drop(self) -> float:
        """How far a number's foot lies below the middle of its mark."""
        return round(0.45 * self.unit, 2)


def view_of(lines: Iterable[Sequence[float]]) -> View:
    """A view of flat lists of x and y in mm, with room round them."""
    found = [line for line in lines if line]
    if not found:
        return View("0 0 100 100", 2.0, 100.0, 100.0)
    low_x, high_x = min(min(line[::2]) for line in found), max(max(line[::2]) for line in found)
    low_y, high_y = min(min(line[1::2]) for line in found), max(max(line[1::2]) for line in found)
    extent = max(high_x - low_x, high_y - low_y, 1.0)
    room = _ROOM * extent
    wide, high = high_x - low_x + 2 * room, high_y - low_y + 2 * room
    box = f"{low_x - room:.2f} {-high_y - room:.2f} {wide:.2f} {high:.2f}"
    return View(box, round(_MARK * extent, 3), wide, high)


def path_of(lines: Iterable[Sequence[float]]) -> str:
    """The d of an SVG path of flat lists of x and y; one that ends where it begins is closed."""
    parts = []
    for line in lines:
        points = [f"{x:g},{-y:g}" for x, y in zip(line[::2], line[1::2], strict=True)]
        if len(points) > 2 and points[0] == points[-1]:
            parts.append(f"M{' '.join(points[:-1])}Z")
        elif points:
            parts.append(f"M{' '.join(points)}")
    return "".join(parts)


def spots_of(result: Mapping[str, Any]) -> list[Spot]:
    """The places of what was mended, by numbers, and of what is asked, by letters and numbers."""
    spots = [
        Spot(str(number), item["place"][0], -item["place"][1], is_question=False)
        for number, item in enumerate(result["mended"], 1)
        if item["place"] is not None
    ]
    spots += [
        Spot(f"Q{number}", item["place"][0], -item["place"][1], is_question=True)
        for number, item in enumerate(result["questions"], 1)
        if item["place"] is not None
    ]
    return spots[-_MOST_MARKS:]
