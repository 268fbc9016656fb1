"""Fit notes as numbers: where on the outline, in which direction, how much."""

import math
from dataclasses import dataclass

import numpy as np
from shapely import Point, Polygon

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern
from layflat.revise.carry import moves, rim_moves
from layflat.revise.outline import Outline, Side
from layflat.revise.plate import Taps
from layflat.revise.records import FINGER_MM, Note, NoteKind, Spot

NEAR_MM = 30.0
"""A tap this far from the outline is still meant for it."""

_EVERY_MM = 30.0
_MOST_STEPS = 24
_LOCAL_MM = 0.2
"""How far the film's end lies along a stretch from what one reading says of all of it."""


@dataclass(frozen=True, eq=False)
class Reading:
    """One note on the outline.

    Attributes:
        note: the note.
        taps: the sums of the field that it measures.
        values: (k,) float64, what they shall come to, in mm.
        noise: (k, k) float64, in mm².
        point_mm: (2,) float64, the middle of its place.
        direction: (2,) float64, unit vector along which it is read; 0 where there are several.
        words: its place in words.
    """

    note: Note
    taps: Taps
    values: FloatArray
    noise: FloatArray
    point_mm: FloatArray
    direction: FloatArray
    words: str


def read_notes(
    notes: tuple[Note, ...], pattern: Pattern, outline: Outline, sides: tuple[Side, ...]
) -> tuple[Reading, ...]:
    """Every note on the outline.

    Raises:
        InputError: an edge or a cut-out is not there, or a place is off the piece.
    """
    return tuple(_reading(note, pattern, outline, sides) for note in notes)


def station(spot: Spot, note: Note, outline: Outline, sides: tuple[Side, ...]) -> float:
    """Where on the outline a spot is, in mm.

    Raises:
        InputError: the edge is not known, or the point is too far off.
    """
    if spot.point_mm is None:
        side = next((side for side in sides if side.name == spot.edge), None)
        if side is None:
            known = ", ".join(f"“{each.name}”" for each in sides[:12])
            more = f" and {len(sides) - 12} more" if len(sides) > 12 else ""
            raise InputError(
                f"Fit note “{note.name}” names the edge “{spot.edge}”; the piece has {known}{more}."
            )
        # The ends belong to two edges; a hair inside there is no doubt which is meant.
        share = min(max(spot.share, 1e-6), 1.0 - 1e-6)
        return (side.start_mm + share * side.length_mm) % outline.length_mm
    found, away = outline.nearest(np.array([spot.point_mm]))
    if float(away[0]) > NEAR_MM:
        x, y = spot.point_mm
        raise InputError(
            f"Fit note “{note.name}” at x {x:.0f}, y {y:.0f} mm lies {away[0]:.0f} mm from the "
            f"piece's edge; tap it within {NEAR_MM:g} mm."
        )
    return float(found[0])


def _reading(note: Note, pattern: Pattern, outline: Outline, sides: tuple[Side, ...]) -> Reading:
    if note.kind is NoteKind.SHIFT:
        return _shift(note, pattern, outline)
    at = station(note.at, note, outline, sides)
    if note.kind is NoteKind.CORNER:
        return _corner(note, at, outline, sides)
    if note.to is None:
        return _along(note, np.array([at]), outline, sides)
    end = station(note.to, note, outline, sides)
    length = (end - at) % outline.length_mm
    if length > 0.5 * outline.length_mm:
        raise InputError(
            f"Fit note “{note.name}” spans more than half of the outline; a stretch runs "
            "counter-clockwise from its beginning to its end, so change them round or tap two."
        )
    count = min(_MOST_STEPS, max(2, math.ceil(length / _EVERY_MM)))
    if note.kind is NoteKind.FINGER:
        return _finger(note, at + np.linspace(0.0, length, count + 1), outline, sides)
    return _along(note, at + np.linspace(0.0, length, count + 1), outline, sides)


def _words(at: float, outline: Outline, sides: tuple[Side, ...]) -> str:
    for side in sides:
        along = (at - side.start_mm) % outline.length_mm
        if along <= side.length_mm:
            return f"on “{side.name}”, {along:.0f} of {side.length_mm:.0f} mm along"
    return "on the outline"


def _along(note: Note, stations: FloatArray, outline: Outline, sides: tuple[Side, ...]) -> Reading:
    """Short, over or fits, at one place or all along a stretch: one reading, so one error."""
    sign = {NoteKind.SHORT: 1.0, NoteKind.OVER: -1.0}.get(note.kind, 0.0)
    element, part = outline.place(stations)
    normals = outline.normals(stations)
    taps = moves(outline, element, part).along(normals)
    count = len(stations)
    local = _LOCAL_MM**2 * np.eye(count) if count > 1 else np.zeros((1, 1))
    middle = stations[[count // 2]]
    return Reading(
        note,
        taps,
        np.full(count, sign * (note.mm[0] if note.mm else 0.0)),
        np.full((count, count), note.doubt_mm**2) + local,
        outline.points(middle)[0],
        outline.normals(middle)[0],
        _words(float(middle[0]), outline, sides),
    )


def _finger(note: Note, stations: FloatArray, outline: Outline, sides: tuple[Side, ...]) -> Reading:
    """The outline's length between two places: what each step's ends do along it."""
    element, part = outline.place(stations)
    points = outline.points(stations)
    steps = np.diff(points, axis=0)
    along = steps / np.hypot(*steps.T)[:, None]
    pull = np.zeros_like(points)
    pull[:-1] -= along
    pull[1:] += along
    each = moves(outline, element, part).along(pull)
    taps = Taps(each.points_mm, each.weights, np.zeros(len(each.row), np.int64))
    middle = stations[[len(stations) // 2]]
    amount = note.mm[0] if note.mm else FINGER_MM
    return Reading(
        note,
        taps,
        np.array([-amount]),
        np.array([[note.doubt_mm**2]]),
        outline.points(middle)[0],
        np.zeros(2),
        _words(float(middle[0]), outline, sides),
    )


def _corner(note: Note, at: float, outline: Outline, sides: tuple[Side, ...]) -> Reading:
    """Excess over both edges that meet at the nearest corner."""
    if not len(outline.corners):
        raise InputError(f"Fit note “{note.name}” is of a corner; the piece has none.")
    starts = outline.starts_mm[outline.corners]
    away = np.abs(
        (starts - at + 0.5 * outline.length_mm) % outline.length_mm - 0.5 * outline.length_mm
    )
    which = int(np.argmin(away))
    if float(away[which]) > NEAR_MM:
        raise InputError(
            f"Fit note “{note.name}” is of a corner; the nearest is {away[which]:.0f} mm away, "
            f"tap within {NEAR_MM:g} mm of it."
        )
    joint = int(outline.corners[which])
    before = (joint - 1) % outline.joints
    element, part = np.array([before, joint]), np.array([1.0, 0.0])
    tangent = outline.tangents(element, part)
    normals = np.column_stack((tangent[:, 1], -tangent[:, 0]))
    here = np.array([joint, joint]), np.zeros(2)
    return Reading(
        note,
        moves(outline, *here).along(normals),
        -np.asarray(note.mm, np.float64),
        note.doubt_mm**2 * np.eye(2),
        outline.curve.points_mm[joint],
        np.zeros(2),
        _corner_words(float(starts[which]), sides),
    )


def _corner_words(at: float, sides: tuple[Side, ...]) -> str:
    """A corner by the sides that end and begin there."""
    first = min(sides, key=lambda side: abs(side.start_mm - at))
    return f"at the corner between “{sides[sides.index(first) - 1].name}” and “{first.name}”"


def _shift(note: Note, pattern: Pattern, outline: Outline) -> Reading:
    """A cut-out that should lie elsewhere, or a landmark on or in the piece."""
    if note.cut_out is not None:
        if not 0 <= note.cut_out < len(pattern.cut_outs):
            raise InputError(
                f"Fit note “{note.name}” is of cut-out {note.cut_out + 1}; the piece has "
                f"{len(pattern.cut_outs)}."
            )
        rim = rim_moves(pattern.cut_outs[note.cut_out])
        points, weight = rim.points_mm, 1.0 / len(rim.points_mm)
        words = f"at cut-out {note.cut_out + 1}"
    else:
        if note.at.point_mm is None:
            raise InputError(f"Fit note “{note.name}” needs the landmark's place, x and y.")
        points, weight = np.array([note.at.point_mm]), 1.0
        _require_on_piece(note, outline)
        words = f"at the landmark x {points[0, 0]:.0f}, y {points[0, 1]:.0f} mm"
    count = len(points)
    weights = np.zeros((2 * count, 2))
    weights[:count, 0] = weight
    weights[count:, 1] = weight
    return Reading(
        note,
        Taps(np.vstack((points, points)), weights, np.repeat([0, 1], count)),
        np.asarray(note.mm, np.float64),
        note.doubt_mm**2 * np.eye(2),
        points.mean(axis=0),
        np.zeros(2),
        words,
    )


def _require_on_piece(note: Note, outline: Outline) -> None:
    assert note.at.point_mm is not None
    _, away = outline.nearest(np.array([note.at.point_mm]))
    inside = Polygon(outline.points(outline.starts_mm)).contains(Point(note.at.point_mm))
    if not inside and float(away[0]) > NEAR_MM:
        raise InputError(
            f"Fit note “{note.name}” is of a landmark {away[0]:.0f} mm outside the piece; give its "
            "place in the pattern's own millimetres."
        )
