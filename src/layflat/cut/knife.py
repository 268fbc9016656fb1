"""Where the pivot must go for the blade's tip to run along a given line.

The tip trails behind the pivot at the knife offset L and moves only along the blade, as the
rear wheel of a bicycle follows the front one. For the tip to run along g(s) with the unit
tangent T(s), the pivot runs along g + L T: the track of the front wheel (S. R. Dunbar,
R. J. C. Bosman, S. E. M. Nooij, The Track of a Bicycle Back Tire, Mathematics Magazine 74
(2001) 273-287). For a line that is the line, moved along; for an arc of radius r an arc about
the same centre of radius sqrt(r² + L²), whatever r is; at a corner, the case r = 0, an arc of
radius L about the corner, on which the tip stands still.
"""

import math
from collections.abc import Sequence

import numpy as np
import shapely

from layflat.base import FloatArray
from layflat.cut.elements import Element

CHORD_MM = 0.005
"""The greatest sagitta of the chords that stand for the pivot's arcs."""

THIN_MM = 0.002
"""Pivot points that lie this close to the line between their neighbours are left out."""

_NO_TURN_MM = 1e-4
_WIDE_RAD = 1.5


def _arcs(centres_mm: FloatArray, away_mm: FloatArray, turns_rad: FloatArray) -> FloatArray:
    """Points along arcs, after the start of each, with chords within `CHORD_MM` of them.

    The points between the ends lie a little outside, so that the chords enclose the arc's own
    area. Chords within the arc would bring the pivot nearer to the centre on average, and the
    tip, whose radius is sqrt(R² - L²), by R/r times as much.

    Args:
        centres_mm: (n, 2) float64.
        away_mm: (n, 2) float64, from each centre to where its arc starts; not zero.
        turns_rad: (n,) float64, how far round each goes; one that does not turn has one point.

    Returns:
        (m, 2) float64, arc after arc.
    """
    sagitta = np.minimum(CHORD_MM / np.hypot(away_mm[:, 0], away_mm[:, 1]), 1.0)
    least = np.ceil(np.abs(turns_rad) / (2.0 * np.arccos(1.0 - sagitta)) - 1e-9)
    counts = np.maximum(1, least.astype(np.int64))
    steps = turns_rad / counts
    outside = np.sqrt(1.0 / np.sinc(np.where(np.abs(steps) < _WIDE_RAD, steps, 0.0) / math.pi))
    arc = np.repeat(np.arange(len(counts)), counts)
    ends = np.cumsum(counts)
    angle = (np.arange(1, len(arc) + 1) - (ends - counts)[arc]) * steps[arc]
    scale = outside[arc]
    scale[ends - 1] = 1.0
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    x, y = away_mm[arc].T
    points: FloatArray = centres_mm[arc] + np.column_stack((cos * x - sin * y, sin * x + cos * y))
    return points


def pivot_path(elements: Sequence[Element], *, heading_rad: float, offset_mm: float) -> FloatArray:
    """The pivot's polyline for the tip to run along joined elements.

    Args:
        elements: lines and arcs, each starting where the last one ends; corners between them
            become swivels, the shorter way round.
        heading_rad: the blade's heading when it is lowered at the start of the first element.
        offset_mm: the knife offset, above 0.

    Returns:
        (n, 2) float64, from where the knife is lowered to where it is lifted.
    """
    headings, turns, lengths = np.array(
        [(one.heading_rad, one.turn_rad, one.length_mm) for one in elements]
    ).T
    tips = np.array([(one.x_mm, one.y_mm) for one in elements])
    is_line = np.array([one.is_line for one in elements])
    before = np.concatenate(([heading_rad], (headings + turns)[:-1]))
    swivels = math.pi - (math.pi - (headings - before)) % math.tau
    # Before every element a swivel about its start; then its arc about its centre. A line has its
    # end for one, about which the pivot does not turn.
    blade = np.column_stack((np.cos(headings), np.sin(headings)))
    left = blade[:, ::-1] * (-1.0, 1.0)
    radius = np.where(is_line, 0.0, lengths / np.where(is_line, 1.0, turns))  # left turns positive
    ahead = np.where(is_line, lengths, 0.0)
    centres = np.stack((tips, tips + radius[:, None] * left + ahead[:, None] * blade), axis=1)
    lag = offset_mm * np.column_stack((np.cos(before), np.sin(before)))
    away = np.stack((lag, offset_mm * blade - radius[:, None] * left), axis=1)
    angles = np.column_stack((swivels, np.where(is_line, 0.0, turns)))
    kept = np.column_stack((np.abs(swivels) * offset_mm > _NO_TURN_MM, np.ones_like(is_line)))
    points = np.vstack((tips[:1] + lag[:1], _arcs(centres[kept], away[kept], angles[kept])))
    line = shapely.linestrings(points)
    return shapely.get_coordinates(shapely.simplify(line, THIN_MM, preserve_topology=False))
