"""The least rectangle of film that covers a piece, off a roll of a given width."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from shapely import Polygon, get_coordinates

from layflat.base import FitError, FloatArray

_BISECTIONS = 50
_SAME_MM = 1e-9


@dataclass(frozen=True, kw_only=True)
class Rectangle:
    """A rectangle off the roll.

    Attributes:
        along_mm, across_mm: its sides, the margin for trimming included.
        turn: how far the piece is turned on it, counter-clockwise, in radians.
        used_mm2: the film that it takes off the roll, a rest that serves nothing counted.
    """

    along_mm: float
    across_mm: float
    turn: float
    used_mm2: float


def least_rectangle(
    outline: FloatArray,
    *,
    roll_mm: float,
    margin_mm: float,
    one_direction: bool,
    least_rest_mm: float,
) -> Rectangle:
    """The rectangle that takes the least film.

    Between two turns at which a side of the piece's hull lies along or across the roll, each extent
    is a piece of a sine that bends down, so that their product is least at one of the ends (H.
    Freeman, R. Shapira, Commun. ACM 18 (1975) 409-413, from memory). The best turn is one of these,
    or one at which the piece just fits the roll, or just leaves a rest that is of use.

    Args:
        outline: (k, 2) float64, the piece, x along the roll.
        roll_mm: the roll's width; no side across may be longer.
        margin_mm: film left all round for trimming.
        one_direction: whether the piece must lie as it is.
        least_rest_mm: a strip beside the rectangle that is narrower serves nothing.

    Raises:
        FitError: it fits the roll in no allowed turn; says by how much.
    """
    hull = get_coordinates(Polygon(outline).convex_hull)[:-1]

    def sides(turn: float) -> tuple[float, float]:
        cos, sin = math.cos(turn), math.sin(turn)
        along = np.ptp(hull @ np.array([cos, -sin])) + 2.0 * margin_mm
        across = np.ptp(hull @ np.array([sin, cos])) + 2.0 * margin_mm
        return float(along), float(across)

    turns = [0.0] if one_direction else _flush(hull)
    found = list(turns)
    for limit in (roll_mm, roll_mm - least_rest_mm):
        for turn, after in pairwise([*turns, turns[0] + math.pi]):
            if (sides(turn)[1] <= limit) != (sides(after)[1] <= limit):
                good, bad = (turn, after) if sides(turn)[1] <= limit else (after, turn)
                for _ in range(_BISECTIONS):
                    middle = 0.5 * (good + bad)
                    good, bad = (middle, bad) if sides(middle)[1] <= limit else (good, middle)
                found.append(good)
    fitting = [turn for turn in found if sides(turn)[1] <= roll_mm + _SAME_MM]
    if not fitting:
        short = min(sides(turn)[1] for turn in found) - roll_mm
        raise FitError(
            f"A plain rectangle would have to be {short:.0f} mm wider than the roll of "
            f"{roll_mm:g} mm; cut the piece fitted, or take a wider roll."
        )

    def made(turn: float) -> Rectangle:
        along, across = sides(turn)
        # A rest is of use, too, at the very turn at which it just is, rounded as it may be.
        wide = roll_mm if roll_mm - across < least_rest_mm - _SAME_MM else across
        return Rectangle(
            along_mm=along, across_mm=across, turn=turn % math.pi, used_mm2=along * wide
        )

    return min((made(turn) for turn in fitting), key=lambda item: (item.used_mm2, item.turn))


def _flush(hull: FloatArray) -> list[float]:
    """The turns, 0 to pi, at which a side of the hull lies along the roll or across it."""
    side = np.roll(hull, -1, axis=0) - hull
    angle = -np.arctan2(side[:, 1], side[:, 0])
    every = np.concatenate((angle, angle + 0.5 * np.pi)) % np.pi
    return [float(turn) for turn in np.unique(np.round(every, 12))]
