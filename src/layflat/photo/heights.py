"""What several pictures say together: where a sheet stands up from the table, or was moved.

What lies h above the table appears moved by h times the picture's lean (its distance from the
camera's foot over the camera's height). Across a line with normal n, picture k therefore shows it
at

    t_k = c + h g_k,  g_k = lean_k · n,

c being where the line is, seen from straight above, from where it was traced. Two pictures whose
leans differ across the line give both (the normal case of stereo: h is the difference of the shifts
over the difference of the leans). c and h are sought by least squares over a few millimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.photo.follow import Line, line_normals
from layflat.photo.profile import Model, measure
from layflat.photo.records import Mask, Plane
from layflat.photo.view import View

LEAST_MM = 1.0
"""Paper on a table is seldom flatter."""
_EVERY = 2
_REACH = 3
_PASSES = 24
_MOST_SHIFT_MM = 9.0
_MOST_JUMP_MM = 1.0
_FLOOR_PX = 0.08
_FLOOR_MM = 0.02
_USUAL_MM = 20.0
"""Greater heights are unlikely (standard deviation); it counts only where leans hardly differ."""
_TOLD_MM = 0.7
"""With a greater standard deviation nothing is said about the height."""
_SURE = 3.0
_WITHIN_95 = 1.96
_LEAST_CONTRAST = 0.3
_NEAR_CORNER = 3
_BEND_MM = 50.0
"""Paper that is not creased bends no sharper than by this radius. An assumption."""
_APART_MM = 0.2


@dataclass(frozen=True, eq=False)
class Heights:
    """What pictures say of each of n places of a line.

    Attributes:
        height_mm: (n,) float64 over the table; 0 where it is not told.
        told: (n,) bool: the pictures look from sides different enough to tell it.
        sure: (n,) bool: it is no chance.
        off_mm: (n,) float64: how far the line may be off by it, 95 of 100; 0 where not sure.
        apart_mm: (n,) float64: how far the pictures' lines are apart though no height explains it,
            0 where that may be chance.
    """

    height_mm: FloatArray
    told: Mask
    sure: Mask
    off_mm: FloatArray
    apart_mm: FloatArray


def heights(plane: Plane, line: Line, views: Sequence[View], model: Model) -> Heights | None:
    """How high a closed line lies over the table, place by place; None for a single picture."""
    if len(views) < 2:
        return None
    which = np.arange(0, len(line.at_mm), _EVERY)
    at = line.at_mm[which]
    normals = line_normals(line.at_mm, closed=line.closed)[which]
    if model == "edge":
        normals = normals * _lighter_side(plane, at, normals)
    steady = ~_near_corners(line)[which]
    shifts, leans, weights = [], [], []
    for view in views:
        shift, doubt, good = _shifts(view, at, normals, model)
        floor = _FLOOR_PX * view.mm_per_px
        square = doubt**2 + floor**2 + _FLOOR_MM**2 + view.doubt_at(at) ** 2
        shifts.append(shift)
        leans.append(np.sum(view.leans_at(at) * normals, axis=1))
        weights.append(np.where(good & steady, 1.0 / square, 0.0))
    found = solved(np.array(shifts), np.array(leans), np.array(weights))
    back = np.minimum((np.arange(len(line.at_mm)) + _EVERY // 2) // _EVERY, len(which) - 1)
    return Heights(
        height_mm=found.height_mm[back],
        told=found.told[back],
        sure=found.sure[back],
        off_mm=found.off_mm[back],
        apart_mm=found.apart_mm[back],
    )


def solved(shifts: FloatArray, leans: FloatArray, weights: FloatArray) -> Heights:
    """Heights from what k pictures show at n places in a row, the last beside the first.

    Args:
        shifts: (k, n) where each shows the line across, in mm.
        leans: (k, n) how far 1 mm of height moves it there.
        weights: (k, n) one over the shifts' variance; 0 where a picture does not show it.
    """
    # The mean over neighbours, not the sum: what is off in one picture is off in all of them.
    w, wg, wgg, wt, wgt = (
        _around(each)
        for each in (
            weights, weights * leans, weights * leans**2, weights * shifts, weights * leans * shifts
        )
    )  # fmt: skip
    total, tg, tgg, tt, tgt = (each.sum(axis=0) for each in (w, wg, wgg, wt, wgt))
    seen = (w > 0).sum(axis=0) >= 2
    safe = np.where(seen, total, 1.0)
    spread = np.maximum(tgg - tg**2 / safe, 0.0) + 1.0 / _USUAL_MM**2
    height = np.where(seen, (tgt - tg * tt / safe) / spread, 0.0)
    doubt = np.where(seen, 1.0 / np.sqrt(spread), np.inf)
    middle = (tt - height * tg) / safe
    middle_doubt = np.sqrt(1.0 / safe + (tg / safe) ** 2 / spread)
    told = seen & (doubt < _TOLD_MM)
    sure = told & (np.abs(height) > _SURE * doubt)
    off = np.abs(middle) + _WITHIN_95 * middle_doubt + _shortened(np.abs(height))
    known = w > 0
    one = np.where(known, w, 1.0)
    rest = np.where(known, wt / one - middle - height * wg / one, np.nan)
    apart = np.zeros(len(height))
    apart[seen] = np.nanmax(rest[:, seen], axis=0) - np.nanmin(rest[:, seen], axis=0)
    chance = _APART_MM + _SURE * np.sqrt(np.sum(np.where(known, 1.0 / one, 0.0), axis=0))
    return Heights(
        height_mm=np.where(told, height, 0.0),
        told=told,
        sure=sure,
        off_mm=np.where(sure, off, 0.0),
        apart_mm=np.where(apart > chance, apart, 0.0),
    )


def _shortened(height_mm: FloatArray) -> FloatArray:
    """How much nearer a place comes, seen from above, when paper lifts off by a height.

    A bend of radius r reaches the height h after x = √(2 r h) and comes nearer by x³ / 6 r².
    """
    reach = np.sqrt(2.0 * _BEND_MM * height_mm)
    nearer: FloatArray = reach**3 / (6.0 * _BEND_MM**2)
    return nearer


def _around(values: FloatArray) -> FloatArray:
    """(k, n) the mean of the places round each that have a weight, in a ring."""
    padded = np.concatenate((values[:, -_REACH:], values, values[:, :_REACH]), axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _REACH + 1, axis=1)
    mean: FloatArray = windows.mean(axis=2)
    return mean


def _shifts(
    view: View, at: FloatArray, normals: FloatArray, model: Model
) -> tuple[FloatArray, FloatArray, Mask]:
    """(n,) where one picture shows the line across, the doubt, and whether it shows it.

    Where it does not show it near by, it is followed away from where it does.
    """
    shift = np.zeros(len(at))
    found = measure(view, at, normals, model)
    usual = float(np.median(found.contrast[found.good])) if found.good.any() else 0.0
    good = found.good & (found.contrast > _LEAST_CONTRAST * usual) & (usual > 0)
    if usual < 0:  # ink lighter than the sheet
        good = found.good & (found.contrast < _LEAST_CONTRAST * usual)
    shift[good], doubt = found.shift_mm[good], found.doubt_mm.copy()
    for _ in range(_PASSES):
        wanted, start = _next_to(shift, good)
        if not len(wanted):
            break
        tried = measure(view, at[wanted] + start[:, None] * normals[wanted], normals[wanted], model)
        right = tried.good & (tried.contrast * np.sign(usual) > _LEAST_CONTRAST * abs(usual))
        right &= np.abs(tried.shift_mm) < _MOST_JUMP_MM
        right &= np.abs(start + tried.shift_mm) < _MOST_SHIFT_MM
        if not right.any():
            break
        shift[wanted[right]] = (start + tried.shift_mm)[right]
        doubt[wanted[right]] = tried.doubt_mm[right]
        good[wanted[right]] = True
    return shift, doubt, good


def _next_to(shift: FloatArray, good: Mask) -> tuple[np.ndarray, FloatArray]:
    """Places beside ones where the line was seen, and where it should go on there."""
    count = len(good)
    index, start = [], []
    for way in (-1, 1):
        beside = np.flatnonzero(~good & np.roll(good, way) & np.roll(good, 2 * way))
        one, two = shift[(beside - way) % count], shift[(beside - 2 * way) % count]
        index.append(beside)
        start.append(2.0 * one - two)
    joined = np.concatenate(index)
    _, first = np.unique(joined, return_index=True)
    return joined[first], np.concatenate(start)[first]


def _lighter_side(plane: Plane, at: FloatArray, normals: FloatArray) -> float:
    """1 if an edge's normals point to its lighter side, -1 if to its darker one."""
    left, right = (plane.light_at((at + side * 2.0 * normals)[None])[0] for side in (1.0, -1.0))
    return 1.0 if float(np.median(left - right)) >= 0 else -1.0


def _near_corners(line: Line) -> Mask:
    """(n,) places round corners and tight bends, where the light is no lone line's."""
    near = line.fixed.copy()
    for step in range(1, _NEAR_CORNER + 1):
        near |= np.roll(line.fixed, step) | np.roll(line.fixed, -step)
    return near
