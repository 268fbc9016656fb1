"""Light across a line or an edge: where its middle lies, to a small part of a pixel.

A pen line is a bar of half a width w, an edge a step; the lens spreads either by a Gaussian of
known size s. Across it the light is

    line  b0 + b1 x - c [Φ((x - m + w) / s) - Φ((x - m - w) / s)]
    edge  b0 + b1 x + c Φ((x - m) / s), with s sought too

with Φ the normal distribution. The unknowns are fitted to each profile by least squares (by steps
of Levenberg and Marquardt, all profiles at once), which gives the middle m with its standard
deviation.
A sheet that is lighter on one side of the line than on the other, which moves a ridge (so Steger,
1998), is a slope b1 here and moves nothing.
"""

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

import numpy as np
from scipy.special import ndtr

from layflat.base import FloatArray
from layflat.photo.records import Mask

Model: TypeAlias = Literal["line", "edge"]

HALF_MM = 4.0
_ROWS_MM = (-0.5, 0.0, 0.5)
"""Beside each place along the line the light is taken at these too."""
_NEAR_MM = 2.3
_FAR_WEIGHT = 0.3
_STEPS = 14
_MOST_MOVE_MM = 2.2
_ROOT_TAU = np.sqrt(2.0 * np.pi)
_M, _W = 3, 4


class Lit(Protocol):
    """Light in the plane: the joined picture (`Plane`), or one photograph straightened."""

    @property
    def mm_per_px(self) -> float:
        """Side of a pixel."""

    @property
    def sharp_mm(self) -> float:
        """How far light spreads (standard deviation)."""

    @property
    def noise(self) -> float:
        """Standard deviation of the light's noise."""

    def light_at(self, points_mm: FloatArray) -> FloatArray:
        """(n, m) light at points (n, m, 2) in mm."""

    def sees(self, points_mm: FloatArray) -> Mask:
        """(n, m) whether points (n, m, 2) in mm were seen."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """What the profiles across a line say; all (n,) float64, n places along it.

    Attributes:
        shift_mm: of the middle along the normal.
        doubt_mm: its standard deviation by the light's noise.
        width_mm: of a line; of an edge how far its light spreads.
        contrast: the share of the sheet's light that the line takes away or the step falls by;
            negative if the line is lighter than the sheet, or the step the other way round.
        misfit: what the model leaves unexplained, as a share of the contrast.
        good: (n,) bool: a sound fit near the place.
    """

    shift_mm: FloatArray
    doubt_mm: FloatArray
    width_mm: FloatArray
    contrast: FloatArray
    misfit: FloatArray
    good: Mask


def measure(plane: Lit, at_mm: FloatArray, normals: FloatArray, model: Model) -> Measured:
    """The middles of the line near places (n, 2), along unit normals (n, 2).

    Of an edge the normal points to its lighter side.
    """
    x, light, weight = _profiles(plane, at_mm, normals)
    spread = max(plane.sharp_mm, 0.0) or 0.8 * plane.mm_per_px
    spread = float(np.hypot(spread, 0.29 * plane.mm_per_px))
    start = _line_start(x, light) if model == "line" else _edge_start(x, light, spread)
    fitted, cost, normal_matrix = _fit(x, light, weight, start, model, spread)
    left = np.maximum(weight.sum(axis=1) - fitted.shape[1], 1.0)
    noise = np.maximum(cost / left, plane.noise**2 / len(_ROWS_MM))
    # Samples closer than the pixels are not independent.
    noise *= max(1.0, plane.mm_per_px / (x[1] - x[0]))
    contrast = fitted[:, 2]
    inverse = np.linalg.inv(normal_matrix + 1e-12 * np.eye(fitted.shape[1]))
    doubt = np.sqrt(np.maximum(noise * inverse[:, _M, _M], 0.0))
    misfit = np.sqrt(cost / left) / np.maximum(np.abs(contrast), 1e-6)
    known = weight.sum(axis=1) > 0.7 * weight.sum(axis=1).max()
    good = (
        (np.abs(fitted[:, _M]) < _MOST_MOVE_MM)
        & (misfit < 0.25)
        & (doubt < 0.5)
        & known
        & (fitted[:, _W] > 0.0)
    )
    width = np.abs(fitted[:, _W]) * (2.0 if model == "line" else 1.0)
    return Measured(
        shift_mm=fitted[:, _M],
        doubt_mm=doubt,
        width_mm=width,
        contrast=contrast / np.maximum(fitted[:, 0] + (contrast if model == "edge" else 0.0), 1e-3),
        misfit=misfit,
        good=good,
    )


def _profiles(
    plane: Lit, at: FloatArray, normals: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(m,) places across, (n, m) light there and (n, m) weights."""
    step = 0.5 * plane.mm_per_px
    count = int(np.ceil(HALF_MM / step))
    x: FloatArray = (step * np.arange(-count, count + 1)).astype(np.float64)
    along = np.column_stack((-normals[:, 1], normals[:, 0]))
    light = np.zeros((len(at), len(x)))
    for row in _ROWS_MM:
        places = at[:, None] + row * along[:, None] + x[None, :, None] * normals[:, None]
        light += plane.light_at(places) / len(_ROWS_MM)
    places = at[:, None] + x[None, :, None] * normals[:, None]
    weight: FloatArray = np.where(np.abs(x) <= _NEAR_MM, 1.0, _FAR_WEIGHT) * plane.sees(places)
    return x, light, weight


def _line_start(x: FloatArray, light: FloatArray) -> FloatArray:
    """Where the light differs most from that at the ends, near the middle."""
    ends = np.median(light[:, np.abs(x) > _NEAR_MM], axis=1)
    inner = np.flatnonzero(np.abs(x) <= 1.5)
    lack = ends[:, None] - light[:, inner]
    sign = np.where(np.median(lack[:, np.abs(x[inner]) < 0.5], axis=1) >= 0, 1.0, -1.0)
    most = np.argmax(sign[:, None] * lack, axis=1)
    rows = np.arange(len(light))
    zeros = np.zeros(len(light))
    return np.column_stack((ends, zeros, lack[rows, most], x[inner][most], zeros + 0.7))


def _edge_start(x: FloatArray, light: FloatArray, spread: float) -> FloatArray:
    dark = light[:, x < -1.5].mean(axis=1)
    step = light[:, x > 1.5].mean(axis=1) - dark
    inner = np.flatnonzero(np.abs(x) <= 1.5)
    high = light[:, inner] > (dark + 0.5 * step)[:, None]
    first = x[inner][np.argmax(high, axis=1)]
    zeros = np.zeros(len(light))
    return np.column_stack((dark, zeros, step, first, zeros + spread))


def _fit(
    x: FloatArray,
    light: FloatArray,
    weight: FloatArray,
    start: FloatArray,
    model: Model,
    spread: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The unknowns (n, 5), the weighted squares left over (n,) and the normal matrices."""
    values = start.copy()
    damping = np.full(len(start), 1e-2)
    guess, slopes = _model(x, values, model, spread)
    cost = np.sum(weight * (light - guess) ** 2, axis=1)
    eye = np.eye(values.shape[1])
    for _ in range(_STEPS):
        weighted = slopes * weight[:, :, None]
        matrix = np.einsum("nmi,nmj->nij", weighted, slopes, optimize=True)
        right = np.einsum("nmi,nm->ni", weighted, light - guess, optimize=True)
        scale = np.einsum("nii->ni", matrix) + 1e-9
        step = np.linalg.solve(
            matrix + damping[:, None, None] * scale[:, :, None] * eye + 1e-12 * eye,
            right[:, :, None],
        )[:, :, 0]
        step[:, _M:] = np.clip(step[:, _M:], -0.4, 0.4)
        tried = values + step
        tried[:, _W] = np.clip(tried[:, _W], 0.1, 3.5)
        tried_guess, tried_slopes = _model(x, tried, model, spread)
        tried_cost = np.sum(weight * (light - tried_guess) ** 2, axis=1)
        better = tried_cost < cost
        values[better], cost[better] = tried[better], tried_cost[better]
        guess[better], slopes[better] = tried_guess[better], tried_slopes[better]
        damping = np.where(better, 0.2 * damping, 8.0 * damping)
        if float(np.max(np.abs(step[:, _M]), initial=0.0)) < 1e-4:
            break
    weighted = slopes * weight[:, :, None]
    return values, cost, np.einsum("nmi,nmj->nij", weighted, slopes, optimize=True)


def _model(
    x: FloatArray, values: FloatArray, model: Model, spread: float
) -> tuple[FloatArray, FloatArray]:
    """(n, m) light and (n, m, 5) its slopes by the unknowns b0, b1, c, m and w (or s)."""
    b0, b1, c, m, w = (values[:, i, None] for i in range(5))
    slopes = np.empty((len(values), len(x), 5))
    slopes[:, :, 0], slopes[:, :, 1] = 1.0, x
    if model == "line":
        low, high = (x - m + w) / spread, (x - m - w) / spread
        bell_low, bell_high = (np.exp(-0.5 * t * t) / (_ROOT_TAU * spread) for t in (low, high))
        slopes[:, :, 2] = ndtr(high) - ndtr(low)
        slopes[:, :, 3] = c * (bell_low - bell_high)
        slopes[:, :, 4] = -c * (bell_low + bell_high)
    else:
        t = (x - m) / w
        bell = np.exp(-0.5 * t * t) / (_ROOT_TAU * w)
        slopes[:, :, 2] = ndtr(t)
        slopes[:, :, 3] = -c * bell
        slopes[:, :, 4] = -c * bell * t
    light = b0 + b1 * x + c * slopes[:, :, 2]
    return light, slopes
