"""A piece's flat picture and how the flat pattern's millimetres lie on it."""

import json
from dataclasses import dataclass
from functools import lru_cache

from layflat.web.cover.models import Piece
from layflat.web.files.store import path_of

_REMEMBERED = 2048
_NUMBERS = 6
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
        found = json.loads(path_of(sha256).read_bytes())["map"]
        numbers = tuple(float(value) for value in found["to_map"])
        width, height = float(found["width_mm"]), float(found["height_mm"])
    except (OSError, ValueError, TypeError, KeyError):
        return None
    if len(numbers) != _NUMBERS or min(width, height) <= 0:
        return None
    a, b, c, d, e, f = numbers
    return FlatMap(width=width, height=height, to_map=(a, b, c, d, e, f))
