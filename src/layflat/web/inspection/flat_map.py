"""A piece's flat picture and how the flat pattern's millimetres lie on it."""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from layflat.web.cover.models import Piece
from layflat.web.files.store import path_of

_REMEMBERED = 2048
_NUMBERS = 6
_END = 1024
"""Bytes at the end of a flat's file, which may be more than a megabyte."""
Numbers = tuple[float, float, float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class FlatMap:
    """The size of a piece's map and where flat points lie on it.

    Attributes:
        width, height: of the map's viewBox, mm.
        to_map: (a, b, c, d, e, f): X = ax + cy + e, Y = bx + dy + f.
    """

    width: float
    height: float
    to_map: Numbers

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A flat point on the map, not outside it."""
        a, b, c, d, e, f = self.to_map
        across, down = a * x_mm + c * y_mm + e, b * x_mm + d * y_mm + f
        return min(max(across, 0.0), self.width), min(max(down, 0.0), self.height)


def flat_map_of(piece: Piece) -> FlatMap | None:
    """How a piece's flat lies on its map; None where its file does not say so, or is gone."""
    return _read(piece.flat.sha256)


# Contents are named by their hash and never change, so that each is read once.
@lru_cache(maxsize=_REMEMBERED)
def _read(sha256: str) -> FlatMap | None:
    try:
        found = _map_in(path_of(sha256))
        numbers = tuple(float(value) for value in found["to_map"])
        width, height = float(found["width_mm"]), float(found["height_mm"])
    except (OSError, ValueError, TypeError, KeyError):
        return None
    if len(numbers) != _NUMBERS or min(width, height) <= 0:
        return None
    a, b, c, d, e, f = numbers
    return FlatMap(width=width, height=height, to_map=(a, b, c, d, e, f))


def _map_in(path: Path) -> dict[str, Any]:
    """What a flat's file says of its map: the last thing in it, so that its end mostly will do."""
    with path.open("rb") as file:
        file.seek(max(path.stat().st_size - _END, 0))
        end = file.read()
    place = end.rfind(b'"map":')
    try:
        found = json.loads(b"{" + end[place:])["map"] if place >= 0 else None
    except ValueError:
        found = None
    if not isinstance(found, dict):
        found = json.loads(path.read_bytes())["map"]
    return dict(found)
