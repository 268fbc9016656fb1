"""The strain scale as a picture for screens; see `docs/look.md`."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from layflat.papers import strain_colours

WIDTH = 400
HEIGHT = 20
_STEPS = 100
_HATCH = 8


@dataclass(frozen=True)
class Cell:
    """One colour of the scale, from `x` on and `wide` units wide."""

    x: float
    wide: float
    colour: str


@cache
def cells() -> tuple[Cell, ...]:
    """The scale from compressed to stretched, each a little wider so that no gaps show."""
    wide = WIDTH / _STEPS
    positions = (np.arange(_STEPS) + 0.5) / _STEPS * 2.0 - 1.0
    return tuple(
        Cell(round(i * wide, 2), wide + 0.3, "#{:02x}{:02x}{:02x}".format(*colour))
        for i, colour in enumerate(strain_colours(positions).tolist())
    )


@cache
def strokes() -> str:
    r"""The path of the hatching beyond both limits: \\\\ for fingers, //// for stretch."""
    left = (f"M{x} 0L{x + HEIGHT} {HEIGHT}" for x in range(0, WIDTH // 4 - HEIGHT + 1, _HATCH))
    right = (
        f"M{x} {HEIGHT}L{x + HEIGHT} 0" for x in range(3 * WIDTH // 4, WIDTH - HEIGHT + 1, _HATCH)
    )
    return "".join((*left, *right))
