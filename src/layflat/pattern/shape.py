"""Whole patterns as shapes: polygons for checks, areas, and patterns moved into place."""

from dataclasses import replace

import numpy as np
from shapely import Polygon

from layflat.pattern.curve import curve_area_mm2, curve_length_mm, sample, transform, turn_points
from layflat.pattern.piece import Mark, Pattern


def to_polygon(pattern: Pattern, *, deviation_mm: float = 0.01) -> Polygon:
    """The piece as a polygon with holes, for checks by independent geometry.

    Args:
        pattern: the piece.
        deviation_mm: the greatest sagitta of the chords that stand for arcs; above 0.

    Raises:
        InputError: *deviation_mm* is not above 0.
    """
    return Polygon(
        sample(pattern.outline, deviation_mm=deviation_mm),
        [sample(hole, deviation_mm=deviation_mm) for hole in pattern.cut_outs],
    )


def coarse_polygon(pattern: Pattern, *, deviation_mm: float) -> Polygon:
    """The piece as a polygon of few corners, for pictures and labels; sound if the piece is.

    Chords that are coarse from the start may cross where film is thin, so that the fine polygon
    is simplified with its topology kept.

    Args:
        pattern: the piece.
        deviation_mm: the greatest distance of a left-out corner from the result; above 0.
    """
    fine = to_polygon(pattern)
    coarse = fine.simplify(deviation_mm, preserve_topology=True)
    return coarse if isinstance(coarse, Polygon) else fine


def pattern_area_mm2(pattern: Pattern) -> float:
    """The exact area of the film in the piece: the outline's less that of its cut-outs, mm²."""
    holes = sum(abs(curve_area_mm2(hole)) for hole in pattern.cut_outs)
    return abs(curve_area_mm2(pattern.outline)) - holes


def pattern_cut_mm(pattern: Pattern) -> float:
    """How long the cuts round the piece are, its outline's and its cut-outs', in mm."""
    return sum(curve_length_mm(curve) for curve in (pattern.outline, *pattern.cut_outs))


def place(
    pattern: Pattern,
    *,
    turn_deg: float = 0.0,
    x_mm: float = 0.0,
    y_mm: float = 0.0,
    mirrored: bool = False,
) -> Pattern:
    """The pattern mirrored (x to -x) if asked, turned counter-clockwise, then moved.

    Outline, cut-outs and marks go together and keep their sense; see `transform`.
    """
    corners = pattern.outline_corners
    if corners is not None and mirrored:
        count = len(pattern.outline.points_mm)
        corners = np.sort((count - corners) % count)

    def moved_mark(mark: Mark) -> Mark:
        points = turn_points(
            mark.points_mm, turn_deg=turn_deg, x_mm=x_mm, y_mm=y_mm, mirrored=mirrored
        )
        return replace(mark, points_mm=points)

    curves = [
        transform(curve, turn_deg=turn_deg, x_mm=x_mm, y_mm=y_mm, mirrored=mirrored)
        for curve in (pattern.outline, *pattern.cut_outs)
    ]
    return replace(
        pattern,
        outline=curves[0],
        cut_outs=tuple(curves[1:]),
        marks=tuple(moved_mark(mark) for mark in pattern.marks),
        outline_corners=corners,
    )
