"""How far a traced line may be off, place by place, and where a person should look.

A place's interval is 1.96 standard deviations (95 of 100, by the normal distribution) of: the
plane's own doubt there, the line's by the light, and a floor for what neither knows (pixels' shape,
the file's compression, sharpening by the phone); where the line was not measured, what a hand may
have done in the gap. To it comes how far the smooth curve may lie from the measured places.
"""

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray
from layflat.pattern import Curve, curve_length_mm
from layflat.photo.candidates import Candidate
from layflat.photo.follow import HAND_DOUBT_MM, STEP_MM, Line
from layflat.photo.profile import HALF_MM
from layflat.photo.records import CurveKind, Mask, Plane, TracedCurve, Unsure
from layflat.photo.smooth import runs
from layflat.photo.working import Working

WITHIN_95 = 1.96
BRIDGED = "a gap in the line was bridged"
_FLOOR_PX = 0.08
_GAP_SHARE = 0.10
"""Standard deviation in the middle of a gap, as a share of it: a hand's line bends a little."""
_LEAST_RUN_MM = 3.0
_JOIN_MM = 6.0
_FAINT = 0.5
_MISFIT = 0.10
_NEAR_MM = 4.5
_BEYOND_MM = 8.0
_BESIDE_MM = 5.0
_SHADOW = 0.3
_PLANE_DOUBT_MM = 0.35
_CORNER_FLOOR_MM = 0.10


def intervals_mm(plane: Plane, line: Line, *, deviation_mm: float) -> FloatArray:
    """(n,) for each place of a line how far it may be off to each side, 95 of 100."""
    spread = _gap_doubt(line)
    floor = np.full(len(line.at_mm), _FLOOR_PX * plane.mm_per_px)
    floor[line.fixed] = _CORNER_FLOOR_MM
    light = np.where(line.measured, line.doubt_mm, 0.0)
    hand = np.where(line.by_hand & ~line.measured, HAND_DOUBT_MM, 0.0)
    squares = plane.doubt_at(line.at_mm) ** 2 + light**2 + floor**2 + spread**2 + hand**2
    interval: FloatArray = WITHIN_95 * np.sqrt(squares) + deviation_mm
    return interval


def _gap_doubt(line: Line) -> FloatArray:
    """(n,) standard deviation of places that were drawn through a gap: most in its middle."""
    doubt = np.zeros(len(line.at_mm))
    count = len(doubt)
    for first, length in runs(~line.measured & ~line.by_hand, closed=line.closed):
        gap = (length + 1) * STEP_MM
        part = np.arange(1, length + 1) / (length + 1)
        which = (first + np.arange(length)) % count
        doubt[which] = 0.05 + 4.0 * _GAP_SHARE * gap * part * (1.0 - part)
    return doubt


def reasons(
    plane: Plane,
    line: Line,
    picture: Working,
    others: list[Candidate],
) -> list[tuple[Mask, str]]:
    """Why places of a line are unsure: for each reason the places it holds for."""
    level = float(np.median(line.contrast[line.measured])) if line.measured.any() else 1.0
    near = _near_others(line, others)
    faint = line.contrast < _FAINT * level
    bad = line.misfit > max(_MISFIT, 4.0 * float(np.median(line.misfit)))
    bad &= ~line.fixed & line.measured
    return [
        (line.bridged & ~line.measured & ~near, BRIDGED),
        (near, "another line crosses here or runs near by"),
        (~line.measured & ~line.bridged & ~line.by_hand & ~near, "the line can hardly be seen"),
        (line.by_hand & ~line.measured, "the line was put by hand"),
        (faint & line.measured & ~near & ~line.bridged, "the line is faint"),
        (bad & ~near & ~faint, "the line is not clear: doubled, smeared or beside something else"),
        (_shadow(line, picture), "the edge of a shadow crosses the line"),
        (
            plane.doubt_at(line.at_mm) > _PLANE_DOUBT_MM,
            "the place is not well measured, or the sheet does not lie flat",
        ),
    ]


def _near_others(line: Line, others: list[Candidate]) -> Mask:
    """(n,) places near a stretch of another line."""
    near = np.zeros(len(line.at_mm), dtype=np.bool_)
    tree = KDTree(line.at_mm)
    for other in others:
        if other.model == "edge" and other.chain.length_mm < 3.0 * HALF_MM:
            continue
        for found in tree.query_ball_point(other.chain.at_mm, _NEAR_MM):
            near[found] = True
    return near


def _shadow(line: Line, picture: Working) -> Mask:
    """(n,) places where the light beside the line changes much along it."""
    count = len(line.at_mm)
    step = max(1, round(_BEYOND_MM / STEP_MM / 2))
    if count < 8 * step:
        return np.zeros(count, dtype=np.bool_)
    chord = np.roll(line.at_mm, -2, axis=0) - np.roll(line.at_mm, 2, axis=0)
    across = np.column_stack((-chord[:, 1], chord[:, 0]))
    across /= np.maximum(np.hypot(*across.T), 1e-9)[:, None]
    changed = np.ones(count, dtype=np.bool_)
    for side in (-1.0, 1.0):
        tone = picture.value(picture.sheet, line.at_mm + side * _BESIDE_MM * across)
        mean = np.convolve(np.concatenate((tone[-3:], tone, tone[:3])), np.ones(7) / 7, "valid")
        changed &= np.abs(np.roll(mean, -step) - np.roll(mean, step)) > _SHADOW
    changed &= ~line.fixed
    return changed


def traced_curve(
    kind: CurveKind,
    curve: Curve,
    line: Line,
    interval_mm: FloatArray,
    why: list[tuple[Mask, str]],
) -> TracedCurve:
    """The record of a fitted curve: the places' intervals and reasons carried over to it.

    Args:
        kind: what it is.
        curve: the fit past the line's places, running their way.
        line: the measured places, closed.
        interval_mm: (n,) of the places.
        why: (n,) flags of the places, with the reasons.
    """
    first = int(KDTree(line.at_mm).query(curve.points_mm[0])[1])
    order = (first + np.arange(len(line.at_mm))) % len(line.at_mm)
    at = line.at_mm[order]
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))))
    whole = station[-1] + float(np.hypot(*(at[0] - at[-1])))
    station *= curve_length_mm(curve) / whole
    unsure = []
    for flags, reason in why:
        # What was bridged is said however short it is.
        least = STEP_MM if reason == BRIDGED else _LEAST_RUN_MM
        unsure += _stretches(flags[order], station, curve_length_mm(curve), reason, least)
    return TracedCurve(
        kind=kind,
        curve=curve,
        interval_mm=_at_joints(curve, at, interval_mm[order]),
        unsure=tuple(sorted(unsure, key=lambda stretch: stretch.start_mm)),
    )


def _at_joints(curve: Curve, at: FloatArray, interval: FloatArray) -> FloatArray:
    """(k,) for each joint the widest interval of the elements that meet there."""
    joints: IntArray = np.asarray(KDTree(at).query(curve.points_mm)[1], dtype=np.int64)
    joints = np.maximum.accumulate(joints)
    ends = np.append(joints[1:], len(at))
    widest = np.array(
        [
            interval[low : max(high, low) + 1].max()
            for low, high in zip(joints.tolist(), ends.tolist(), strict=True)
        ]
    )
    both: FloatArray = np.maximum(widest, np.roll(widest, 1))
    return both


def _stretches(
    flags: Mask, station: FloatArray, length_mm: float, reason: str, least_mm: float
) -> list[Unsure]:
    """Runs of flagged places as stretches; near ones are one, specks are none."""
    count = len(flags)
    if not flags.any():
        return []
    wide = flags.copy()
    for first, length in runs(~flags, closed=True):
        if length * STEP_MM <= _JOIN_MM and length < count:
            wide[(first + np.arange(length)) % count] = True
    found = []
    for first, length in runs(wide, closed=True):
        if length == count:
            return [Unsure(start_mm=0.0, end_mm=length_mm, why=reason)]
        if flags[(first + np.arange(length)) % count].sum() * STEP_MM < least_mm:
            continue
        last = (first + length - 1) % count
        start, end = float(station[first]), float(station[last])
        found.append(
            Unsure(start_mm=start, end_mm=end if end >= start else end + length_mm, why=reason)
        )
    return found
