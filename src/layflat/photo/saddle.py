"""Corners of a chessboard to a small part of a pixel: a model of light fitted around each.

Two black squares meet in a corner. With d and e the distances from the two edges through it, and
a lens that spreads light by a Gaussian of deviation s, the light around the corner is

    (1 + g · p) (m + h erf(d / √2 s) erf(e / √2 s))

with m a level and g the slope of the lamp's light. The corner, both edges' directions, s, m, g and
h are fitted to the pixels along the edges by least squares, all corners at once; the inverse of
the normal matrix tells how sure each corner is. Blur and a camera's curve of light change s and h
but not the corner, since the pattern is the same turned by half.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.base import FloatArray
from layflat.photo.records import Grey, Mask

ALONG_MM: Final = 6.0
"""How far from a corner its edges are looked at."""
_MARKER_MM: Final = 3.25
"""So far from an edge markers begin."""
_SPREADS: Final = 1.8
"""By so many standard deviations of the blur pixels stay away from markers."""
_LEAST_CLEAR_MM: Final = 0.8
SPREAD_MM: Final = 0.36
"""The blur that is reckoned with at first, as a standard deviation on the sheet."""
_LEAST_PX, _MOST_PX = 4, 14
_STEPS = 12
_VALUES = 9
_FLOOR_PX = 0.02
"""What lens and paper leave unsure, however little noise there is. From own trials."""
_LEAST_LIGHT = 1e-4


@dataclass(frozen=True, eq=False, kw_only=True)
class Saddles:
    """Corners as they were fitted.

    Attributes:
        pixels: (n, 2) float64.
        sigma_px: (n,) float64, standard deviation of a corner along each axis.
        spread_px: (n,) float64: s above.
        contrast: (n,) float64: half the difference of white and black.
        noise: (n,) float64: what the model leaves, in the unit of light.
        good: (n,) bool: found near where it was looked for, and like a corner.
    """

    pixels: FloatArray
    sigma_px: FloatArray
    spread_px: FloatArray
    contrast: FloatArray
    noise: FloatArray
    good: Mask


def fit_saddles(
    light: Grey, guess: FloatArray, slopes: FloatArray, *, spread_mm: float = SPREAD_MM
) -> Saddles:
    """The corners near *guess*.

    Args:
        light: (H, W) float32, linear.
        guess: (n, 2) float64 pixels, off by two pixels at most.
        slopes: (n, 2, 2) float64: pixels for each mm along and across the board there.
        spread_mm: how far light spreads: pixels into which a marker's light may spread are not
            looked at.
    """
    count = len(guess)
    scale = np.sqrt(np.abs(np.linalg.det(slopes)))
    radius = int(np.clip(np.ceil(ALONG_MM * np.median(scale)), _LEAST_PX, _MOST_PX))
    middle = np.rint(guess).astype(np.int64)
    height, width = light.shape
    inside = np.all((middle >= radius) & (middle < np.array([width, height]) - radius), axis=1)
    middle = np.clip(middle, radius, np.array([width, height]) - radius - 1)
    step = np.arange(-radius, radius + 1)
    dx, dy = (each.ravel().astype(np.float64) for each in np.meshgrid(step, step))
    rows = middle[:, 1, None] + dy.astype(np.int64)
    columns = middle[:, 0, None] + dx.astype(np.int64)
    seen = light[rows, columns].astype(np.float64)
    back = np.asarray(np.linalg.inv(slopes), dtype=np.float64)
    offset = guess - middle
    at = np.stack((dx - offset[:, :1], dy - offset[:, 1:]), axis=-1)
    board = np.abs(np.einsum("nij,npj->npi", back, at))
    apart = max(_MARKER_MM - _SPREADS * spread_mm, _LEAST_CLEAR_MM)
    clear = np.maximum(apart, 1.2 / scale)[:, None]
    weights = ((board.min(axis=2) < clear) & (board.max(axis=2) < ALONG_MM)).astype(np.float64)

    values = np.zeros((count, _VALUES))
    values[:, :2] = offset
    values[:, 2] = np.arctan2(back[:, 0, 1], back[:, 0, 0])
    values[:, 3] = np.arctan2(back[:, 1, 1], back[:, 1, 0])
    values[:, 4] = np.log(1.2)
    share = np.maximum(weights.sum(axis=1), 1.0)
    values[:, 5] = (weights * seen).sum(axis=1) / share
    deviation = np.sqrt((weights * (seen - values[:, 5:6]) ** 2).sum(axis=1) / share)
    sign = np.sign(np.sum(weights * np.prod(_signs(back, at), axis=2) * seen, axis=1))
    values[:, 6] = np.where(sign == 0, 1.0, sign) * deviation
    values, normal, rest = _fitted(values, seen, weights, dx, dy)

    spare = np.maximum(weights.sum(axis=1) - _VALUES, 1.0)
    noise = np.sqrt(rest / spare)
    covariance = np.linalg.inv(normal + 1e-12 * np.eye(_VALUES)) * (noise**2)[:, None, None]
    sigma = np.sqrt(np.maximum(0.5 * (covariance[:, 0, 0] + covariance[:, 1, 1]), 0.0))
    moved = np.hypot(*(values[:, :2] - offset).T)
    contrast = np.abs(values[:, 6])
    good = (
        inside
        & np.isfinite(sigma)
        & (moved < np.maximum(3.0, 0.15 * 25.0 * scale))
        & (moved < radius)
        & (contrast > np.maximum(3.0 * noise, _LEAST_LIGHT))
    )
    return Saddles(
        pixels=middle + values[:, :2],
        sigma_px=np.hypot(np.where(np.isfinite(sigma), sigma, 1.0), _FLOOR_PX),
        spread_px=np.exp(values[:, 4]),
        contrast=contrast,
        noise=noise,
        good=good,
    )


def _signs(back: FloatArray, at: FloatArray) -> FloatArray:
    signs: FloatArray = np.sign(np.einsum("nij,npj->npi", back, at))
    return signs


def _fitted(
    values: FloatArray, seen: FloatArray, weights: FloatArray, dx: FloatArray, dy: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values, normal matrices (n, 9, 9) and sums of squares (n,) after Levenberg's steps."""
    damp = np.full(len(values), 1e-3)
    model, slopes = _model(values, dx, dy)
    rest = (weights * (seen - model) ** 2).sum(axis=1)
    for _ in range(_STEPS):
        weighted = slopes * weights[:, :, None]
        normal = np.matmul(weighted.transpose(0, 2, 1), slopes)
        pull = np.einsum("npk,np->nk", weighted, seen - model)
        diagonal = np.einsum("nkk->nk", normal)
        held = normal + np.einsum("nk,kl->nkl", damp[:, None] * diagonal + 1e-12, np.eye(_VALUES))
        step = np.linalg.solve(held, pull[:, :, None])[:, :, 0]
        step[:, :2] = np.clip(step[:, :2], -1.0, 1.0)
        step[:, 2:5] = np.clip(step[:, 2:5], -0.3, 0.3)
        tried = values + step
        tried[:, 4] = np.clip(tried[:, 4], np.log(0.25), np.log(8.0))
        new_model, new_slopes = _model(tried, dx, dy)
        new_rest = (weights * (seen - new_model) ** 2).sum(axis=1)
        better = new_rest < rest
        values = np.where(better[:, None], tried, values)
        model = np.where(better[:, None], new_model, model)
        slopes = np.where(better[:, None, None], new_slopes, slopes)
        rest = np.where(better, new_rest, rest)
        damp = np.where(better, 0.2 * damp, 10.0 * damp)
        if np.all(np.abs(step[:, :2]) < 1e-3):
            break
    weighted = slopes * weights[:, :, None]
    return values, np.matmul(weighted.transpose(0, 2, 1), slopes), rest


def _model(values: FloatArray, dx: FloatArray, dy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Light (n, p) and its derivatives (n, p, 9)."""
    from scipy.special import erf

    x, y = dx - values[:, :1], dy - values[:, 1:2]
    spread = np.exp(values[:, 4:5])
    parts = []
    for column in (2, 3):
        cos, sin = np.cos(values[:, column : column + 1]), np.sin(values[:, column : column + 1])
        across, along = cos * x + sin * y, cos * y - sin * x
        scaled = across / spread
        step = erf(scaled * np.sqrt(0.5))
        rise = np.sqrt(2.0 / np.pi) / spread * np.exp(-0.5 * scaled * scaled)
        parts.append((cos, sin, across, along, step, rise))
    (ca, sa, da, la, ea, ra), (cb, sb, db, lb, eb, rb) = parts
    height = values[:, 6:7]
    slopes = np.empty((*x.shape, _VALUES))
    by_a, by_b = height * ra * eb, height * rb * ea
    slopes[..., 0] = -(by_a * ca + by_b * cb)
    slopes[..., 1] = -(by_a * sa + by_b * sb)
    slopes[..., 2], slopes[..., 3] = by_a * la, by_b * lb
    slopes[..., 4] = -(by_a * da + by_b * db)
    base = values[:, 5:6] + height * ea * eb
    lamp = 1.0 + values[:, 7:8] * dx + values[:, 8:9] * dy
    slopes[..., :5] *= lamp[..., None]
    slopes[..., 5], slopes[..., 6] = lamp, lamp * ea * eb
    slopes[..., 7], slopes[..., 8] = base * dx, base * dy
    return lamp * base, slopes
