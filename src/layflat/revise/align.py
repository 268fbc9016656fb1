"""One outline laid on another: turned and moved, mirrored where asked, never scaled.

Equally spaced points of two closed outlines are compared at every shift round them at once: for
each shift the best turn is that of a complex sum (P. H. Schönemann 1966, in the plane), and all
sums come from one Fourier transform. The best few are followed by nearest points (P. J. Besl,
N. D. McKay, IEEE PAMI 14 (1992) 239–256), both ways, with landmarks of the same name as known
pairs; the best of these is settled by the distances between the curves themselves.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.linalg import orthogonal_procrustes
from scipy.optimize import least_squares
from scipy.spatial import KDTree

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern, place
from layflat.revise.outline import Outline

POINTS = 360
"""How many points of each outline are compared."""

Landmarks = Mapping[str, tuple[float, float]]

_STARTS = 4
_ROUNDS = 60
_SETTLED_MM = 1e-4
_LANDMARK_SHARE = 0.25
_MOST_TRIES = 40


@dataclass(frozen=True, eq=False)
class Alignment:
    """How a pattern lies on a template.

    Attributes:
        turn_deg, x_mm, y_mm, mirrored: what `layflat.pattern.place` is told.
        rms_mm: root mean square of the distances between both outlines, both ways.
        most_mm: the greatest of them.
        stations_mm: (k,) float64, places along the template's outline.
        misfit_mm: (k,) float64, how far the pattern's outline is there, positive where it reaches
            over the template.
        landmarks_mm: for each landmark in common, how far the two are apart.
    """

    turn_deg: float
    x_mm: float
    y_mm: float
    mirrored: bool
    rms_mm: float
    most_mm: float
    stations_mm: FloatArray
    misfit_mm: FloatArray
    landmarks_mm: dict[str, float]

    def carried(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: points of the pattern where they lie on the template."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 2)
        if self.mirrored:
            points = points * (-1.0, 1.0)
        turned: FloatArray = points @ _turn(math.radians(self.turn_deg)).T
        moved: FloatArray = turned + np.array([self.x_mm, self.y_mm])
        return moved


def rigid(
    source: FloatArray, target: FloatArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The turn (2, 2) and move (2,) that bring (n, 2) points nearest to others, no mirroring.

    target ≈ source @ turn.T + move, by least squares with (n,) weights.
    """
    share = (weights / weights.sum())[:, None]
    middle, goal = (source * share).sum(axis=0), (target * share).sum(axis=0)
    root = np.sqrt(share)
    turn, _ = orthogonal_procrustes(root * (source - middle), root * (target - goal))
    turn = turn.T
    if np.linalg.det(turn) < 0.0:
        # The best proper turn in the plane, where the best of all would mirror.
        both = ((target - goal) * share).T @ (source - middle)
        angle = np.arctan2(both[1, 0] - both[0, 1], both[0, 0] + both[1, 1])
        turn = _turn(float(angle))
    return turn, goal - turn @ middle


def _turn(angle: float) -> FloatArray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([[cos, -sin], [sin, cos]])


def aligned(
    pattern: Pattern,
    template: Pattern,
    *,
    mirrored: bool = False,
    landmarks: Landmarks | None = None,
    template_landmarks: Landmarks | None = None,
) -> Alignment:
    """The best lie of a pattern on a template.

    Args:
        pattern: what is laid.
        template: what it is laid on.
        mirrored: whether it is mirrored first.
        landmarks, template_landmarks: places by name, in each one's own mm.

    Raises:
        InputError: a landmark is not finite.
    """
    own = {name: (-x if mirrored else x, y) for name, (x, y) in (landmarks or {}).items()}
    goals = template_landmarks or {}
    common = [name for name in own if name in goals]
    known = np.array([own[name] for name in common]).reshape(-1, 2)
    goal = np.array([goals[name] for name in common]).reshape(-1, 2)
    if not (np.isfinite(known).all() and np.isfinite(goal).all()):
        raise InputError("A landmark's place is not finite; give x and y in mm.")
    laid = place(pattern, mirrored=mirrored)
    source, target = (_points(shape) for shape in (laid, template))
    found = [_followed(source, target, known, goal, start) for start in _starts(source, target)]
    _, turn, move = min(found, key=lambda item: item[0])
    turn, move = _settled(laid, template, known, goal, (turn, move))
    angle = float(np.degrees(np.arctan2(turn[1, 0], turn[0, 0])))
    moved = place(pattern, turn_deg=angle, x_mm=move[0], y_mm=move[1], mirrored=mirrored)
    outline = Outline(template.outline, template.outline_corners)
    over = Outline(moved.outline, moved.outline_corners)
    stations = np.linspace(0.0, outline.length_mm, POINTS, endpoint=False)
    points, normals = outline.points(stations), outline.normals(stations)
    there, away = over.nearest(points)
    signed = np.copysign(away, np.einsum("ij,ij->i", over.points(there) - points, normals))
    apart = np.hypot(*(known @ turn.T + move - goal).T)
    back = outline.nearest(_points(moved))[1]
    return Alignment(
        turn_deg=angle,
        x_mm=float(move[0]),
        y_mm=float(move[1]),
        mirrored=mirrored,
        rms_mm=float(np.sqrt(np.mean(np.concatenate((away, back)) ** 2))),
        most_mm=float(max(away.max(), back.max())),
        stations_mm=stations,
        misfit_mm=signed,
        landmarks_mm=dict(zip(common, apart.tolist(), strict=True)),
    )


def _points(pattern: Pattern) -> FloatArray:
    outline = Outline(pattern.outline, pattern.outline_corners)
    return outline.points(np.linspace(0.0, outline.length_mm, POINTS, endpoint=False))


def _starts(source: FloatArray, target: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """The best turns over all shifts round the outlines, those that are much alike left out."""
    one, two = (points - points.mean(axis=0) for points in (source, target))
    first, second = one[:, 0] + 1j * one[:, 1], two[:, 0] + 1j * two[:, 1]
    sums = np.fft.ifft(np.fft.fft(second) * np.conj(np.fft.fft(first)))
    size = np.abs(sums)
    peaks = np.flatnonzero((size >= np.roll(size, 1)) & (size >= np.roll(size, -1)))
    best = peaks[np.argsort(-size[peaks])][:_STARTS]
    starts = []
    for shift in best:
        turn = _turn(float(np.angle(sums[shift])))
        starts.append((turn, target.mean(axis=0) - turn @ source.mean(axis=0)))
    return starts


def _followed(
    source: FloatArray,
    target: FloatArray,
    known: FloatArray,
    goal: FloatArray,
    start: tuple[FloatArray, FloatArray],
) -> tuple[float, FloatArray, FloatArray]:
    """Nearest points, both ways, until they settle: the misfit, the turn and the move."""
    turn, move = start
    tree = KDTree(target)
    weight = np.ones(2 * len(source) + len(known))
    if len(known):
        weight[2 * len(source) :] = _LANDMARK_SHARE * 2 * len(source) / len(known)
    rms = np.inf
    for _ in range(_ROUNDS):
        laid = source @ turn.T + move
        away, to = tree.query(laid)
        back, of = KDTree(laid).query(target)
        apart = np.hypot(*(known @ turn.T + move - goal).T)
        now = float(np.sqrt(np.average(np.concatenate((away, back, apart)) ** 2, weights=weight)))
        if rms - now < _SETTLED_MM:
            return min(rms, now), turn, move
        rms = now
        turn, move = rigid(
            np.vstack((source, source[of], known)), np.vstack((target[to], target, goal)), weight
        )
    return rms, turn, move


def _settled(
    laid: Pattern,
    template: Pattern,
    known: FloatArray,
    goal: FloatArray,
    start: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """The turn and move for which the curves themselves, and the landmarks, are nearest."""
    own, other = (Outline(shape.outline, shape.outline_corners) for shape in (laid, template))
    source, target = _points(laid), _points(template)
    share = math.sqrt(_LANDMARK_SHARE * 2 * len(source) / max(1, len(known)))

    def away(lie: FloatArray) -> FloatArray:
        turn, move = _turn(float(lie[0])), lie[1:]
        there = _signed(other, source @ turn.T + move)
        back = _signed(own, (target - move) @ turn)
        apart = share * (known @ turn.T + move - goal)
        return np.concatenate((there, back, apart.ravel()))

    turn, move = start
    first = [math.atan2(turn[1, 0], turn[0, 0]), *move.tolist()]
    found = least_squares(away, first, x_scale=[1e-3, 1.0, 1.0], method="trf", max_nfev=_MOST_TRIES)
    if np.sum(found.fun**2) > np.sum(away(np.array(first)) ** 2):
        return start
    return _turn(float(found.x[0])), found.x[1:]


def _signed(outline: Outline, points: FloatArray) -> FloatArray:
    """(n,) how far points lie from an outline, positive outside it."""
    there, away = outline.nearest(points)
    side = np.einsum("ij,ij->i", points - outline.points(there), outline.normals(there))
    return np.asarray(np.copysign(away, side))
