"""A layout as a picture of the roll: where pieces lie, sections, the lower bound.

x runs along the roll to the right, y down the page; a piece's own shape has y upwards, so that its
transform turns it over.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from layflat.web.cutting.models import Layout, called
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of

_LETTERS = 40.0
"""The roll's picture is so many numbers long."""
_ROOM_PART = 1.3


@dataclass(frozen=True, kw_only=True)
class DrawnPiece:
    """A piece on the picture.

    Attributes:
        number, title: as everywhere; the number within the layout.
        called: the number as people read it.
        d: its outline, in its own millimetres.
        turn_deg, x_mm, y_mm: where it lies, as in the layout.
        transform: of its shape onto the picture.
        text_x, text_y: where its number stands on the picture.
        size: of its number.
    """

    number: int
    title: str
    called: str
    d: str
    turn_deg: float
    x_mm: float
    y_mm: float
    transform: str
    text_x: float
    text_y: float
    size: float


@dataclass(frozen=True, kw_only=True)
class DrawnSection:
    """A stretch of the roll on the picture."""

    number: int
    start_mm: float
    end_mm: float

    @property
    def middle_mm(self) -> float:
        """Where its name stands."""
        return 0.5 * (self.start_mm + self.end_mm)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A layout, or one of its sections, as a picture.

    Attributes:
        start_mm, length_mm, width_mm: what is shown of the roll.
        rim_mm: the strip at each roll edge.
        bound_mm: no layout is shorter; None where it does not matter.
        pieces, sections: on it.
        faults: stretches of the roll that no piece may lie on, each its start and length.
        offcuts: what may be kept: start, distance from the upper edge, length, width.
    """

    start_mm: float
    length_mm: float
    width_mm: float
    rim_mm: float
    bound_mm: float | None
    pieces: list[DrawnPiece] = field(default_factory=list)
    sections: list[DrawnSection] = field(default_factory=list)
    faults: list[tuple[float, float]] = field(default_factory=list)
    offcuts: list[tuple[float, float, float, float]] = field(default_factory=list)

    @property
    def end_mm(self) -> float:
        """Along the roll."""
        return self.start_mm + self.length_mm

    @property
    def size(self) -> float:
        """Of a number on the picture."""
        return self.length_mm / _LETTERS

    @property
    def view_box(self) -> str:
        """Of the picture: the roll, with room for the sections' names above it and a word below."""
        above = 1.4 * self.size if self.sections else 0.4 * self.size
        below = 1.4 * self.size if self.bound_mm else 0.4 * self.size
        high = self.width_mm + above + below
        return f"{self.start_mm:.1f} {-above:.1f} {self.length_mm:.1f} {high:.1f}"

    @property
    def far_rim_mm(self) -> float:
        """The other edge's strip."""
        return self.width_mm - self.rim_mm


def shapes_of(layout: Layout) -> Mapping[str, Any]:
    """The drawn shapes of a layout's pieces by number; none before the search has made them."""
    return _read(layout.shapes)


def _read(stored: StoredFile | None) -> Mapping[str, Any]:
    if stored is None:
        return {}
    try:
        found: Mapping[str, Any] = json.loads(path_of(stored.sha256).read_bytes())["pieces"]
    except (OSError, ValueError, KeyError):
        # A picture less; the layout itself is in the database.
        return {}
    return found


def drawn(
    data: Mapping[str, Any],
    shapes: Mapping[str, Any],
    *,
    section: int | None = None,
    with_bound: bool = False,
    faults: Iterable[tuple[float, float]] = (),
    offcuts: Iterable[tuple[float, float, float, float]] = (),
) -> Drawn:
    """The picture of a stored layout.

    Args:
        data: see `layflat.web.cutting.stored`.
        shapes: from `shapes_of`.
        section: one section only, by its index; None for the roll.
        with_bound: whether the lower bound is marked.
        faults: from where to where they lie along the layout, beside those it leaves out.
        offcuts: what may be kept: its start along and across the roll, its length and width.
    """
    stock = data["stock"]
    start_mm, end_mm = (0.0, data["length_mm"]) if section is None else data["sections"][section]
    placements = [
        item for item in data["placements"] if section is None or item["section"] == section
    ]
    found = Drawn(
        start_mm=round(start_mm, 2),
        length_mm=round(end_mm - start_mm, 2),
        width_mm=stock["width_mm"],
        rim_mm=stock["edge_margin_mm"],
        bound_mm=round(data["bound_mm"], 2) if with_bound else None,
        sections=[
            DrawnSection(number=i, start_mm=round(start, 2), end_mm=round(end, 2))
            for i, (start, end) in enumerate(data["sections"], start=1)
        ]
        if section is None
        else [],
    )
    left_out = [(one["start_mm"], one["end_mm"]) for one in stock.get("faults", ())]
    for start, end in (*left_out, *faults):
        low, high = max(start, found.start_mm), min(end, found.end_mm)
        if low < high:
            found.faults.append((round(low, 1), round(high - low, 1)))
    for along, low, length, width in offcuts:
        above = found.width_mm - low - width
        found.offcuts.append((round(along, 1), round(above, 1), length, width))
    for item in placements:
        shape = shapes.get(str(item["piece"]))
        if shape is not None:
            found.pieces.append(_piece(item, shape, found))
    return found


def _piece(item: Mapping[str, Any], shape: Mapping[str, Any], roll: Drawn) -> DrawnPiece:
    turn = np.radians(item["turn_deg"])
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    x = item["x_mm"] + cos * shape["x"] - sin * shape["y"]
    y = item["y_mm"] + sin * shape["x"] + cos * shape["y"]
    return DrawnPiece(
        number=item["piece"],
        # On a plan of the week pieces are called by their jobs' letters already.
        called=called(item["piece"]) if isinstance(item["piece"], int) else item["piece"],
        title=shape["title"],
        d=shape["d"],
        turn_deg=item["turn_deg"],
        x_mm=item["x_mm"],
        y_mm=item["y_mm"],
        transform=(
            f"matrix({cos:.6f} {-sin:.6f} {-sin:.6f} {-cos:.6f} {item['x_mm']:.2f} "
            f"{roll.width_mm - item['y_mm']:.2f})"
        ),
        text_x=round(x, 1),
        text_y=round(roll.width_mm - y, 1),
        size=round(min(roll.size, _ROOM_PART * shape["r"]), 1),
    )
