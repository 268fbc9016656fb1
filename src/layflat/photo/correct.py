"""What a person puts right in a traced line; the tracing then runs again with it.

Nothing of an earlier result is kept: the same picture and the same corrections give the same lines.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, frozen
from layflat.pattern import curve_length_mm, sample
from layflat.photo.candidates import Candidate
from layflat.photo.link import Chain
from layflat.photo.profile import Model
from layflat.photo.records import Mask, PhotoError, TracedCurve
from layflat.photo.smooth import runs
from layflat.photo.working import Working

_CLEARED_MM = 4.0
"""As near to the points of a person nothing else counts."""
_FOUND_MM = 12.0
_SPOT_MM = 6.0
_STEP_MM = 1.0
_DENSE_MM = 0.1


@dataclass(frozen=True, eq=False)
class Through:
    """The line runs through these points, (k, 2) in mm, k >= 2, in either order.

    Where the picture shows a line within about a millimetre, that is measured; else the points
    themselves count.
    """

    points_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))


@dataclass(frozen=True, eq=False)
class NotALine:
    """What lies nearest to this point, (2,) in mm, is no line of the template."""

    at_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen(self.at_mm).reshape(2))


@dataclass(frozen=True, eq=False)
class Accepted:
    """The line is right at this point, (2,) in mm: the stretch there is not unsure any more.

    Its interval stays as it is.
    """

    at_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen(self.at_mm).reshape(2))


@dataclass(frozen=True, eq=False)
class Outline:
    """The closed line that lies nearest to this point, (2,) in mm, is the outline.

    Where several are said, the last counts.
    """

    at_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen(self.at_mm).reshape(2))


@dataclass(frozen=True, eq=False)
class Spot:
    """What the small spot at this point, (2,) in mm, is: a hole to be cut, or a landmark.

    Where several are said of one spot, the last counts.
    """

    at_mm: FloatArray
    hole: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen(self.at_mm).reshape(2))


Correction: TypeAlias = Through | NotALine | Accepted | Outline | Spot


def put_through(
    chains: list[Chain], corrections: Sequence[Correction], picture: Working, model: Model
) -> list[Chain]:
    """Chains with the stretches that a person put, in place of what was found there.

    Raises:
        PhotoError: a stretch has fewer than two different points, or leaves the frame.
    """
    for correction in corrections:
        if not isinstance(correction, Through):
            continue
        hand = _hand_chain(correction, picture, model)
        tree = KDTree(hand.at_mm)
        cleared = [part for chain in chains for part in _cleared(chain, tree)]
        chains = [*cleared, hand]
    return chains


def _hand_chain(correction: Through, picture: Working, model: Model) -> Chain:
    points = correction.points_mm
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    if not np.isfinite(points).all() or station[-1] < 2.0 * _STEP_MM:
        raise PhotoError(
            "A corrected stretch needs at least two points a few millimetres apart; put them along "
            "the line."
        )
    if picture.near_rim(points, within_mm=picture.cell_mm).any():
        raise PhotoError(
            "A corrected stretch leaves the part of the table that was seen; put its points "
            "inside the frame."
        )
    where = np.linspace(0.0, station[-1], max(3, round(station[-1] / _STEP_MM) + 1))
    at = np.column_stack([np.interp(where, station, points[:, axis]) for axis in range(2)])
    if model == "edge" and _lighter_on_right(at, picture):
        at = at[::-1]
    none = np.zeros(len(at), dtype=np.bool_)
    return Chain(at, np.ones(len(at)), none, ~none)


def _lighter_on_right(at: FloatArray, picture: Working) -> bool:
    chord = np.gradient(at, axis=0)
    left = np.column_stack((-chord[:, 1], chord[:, 0]))
    left /= np.maximum(np.hypot(*left.T), 1e-9)[:, None]
    tones = [float(picture.value(picture.tone, at + side * 3.0 * left).mean()) for side in (1, -1)]
    return tones[0] < tones[1]


def _cleared(chain: Chain, hand: KDTree) -> list[Chain]:
    """The parts of a chain that are not near what a person put."""
    near: Mask = np.asarray(hand.query(chain.at_mm)[0]) < _CLEARED_MM
    if not near.any():
        return [chain]
    parts = []
    for first, length in runs(~near, closed=chain.closed):
        if length < 3:
            continue
        which = (first + np.arange(length)) % len(near)
        parts.append(
            Chain(
                chain.at_mm[which],
                chain.strength[which],
                chain.bridged[which],
                chain.by_hand[which],
            )
        )
    return parts


def without_denied(
    candidates: list[Candidate], corrections: Sequence[Correction]
) -> list[Candidate]:
    """The candidates but for those of which a person said that they are no line."""
    for correction in corrections:
        if not isinstance(correction, NotALine) or not candidates:
            continue
        away = [float(np.min(np.hypot(*(c.chain.at_mm - correction.at_mm).T))) for c in candidates]
        nearest = int(np.argmin(away))
        if away[nearest] <= _FOUND_MM:
            candidates = [c for i, c in enumerate(candidates) if i != nearest]
    return candidates


def outline_said(corrections: Sequence[Correction]) -> FloatArray | None:
    """The point (2,) by which a person said which line is the outline; None if nobody did."""
    said = [each.at_mm for each in corrections if isinstance(each, Outline)]
    return said[-1] if said else None


def spot_said(at_mm: FloatArray, corrections: Sequence[Correction]) -> Spot | None:
    """What a person said of the spot at a point (2,); None if nobody said anything."""
    said = [
        each
        for each in corrections
        if isinstance(each, Spot) and float(np.hypot(*(each.at_mm - at_mm))) < _SPOT_MM
    ]
    return said[-1] if said else None


def accepted(curves: list[TracedCurve], corrections: Sequence[Correction]) -> list[TracedCurve]:
    """The curves without the unsure stretches that a person accepted."""
    for correction in corrections:
        if not isinstance(correction, Accepted):
            continue
        found = [_nearest(curve, correction.at_mm) for curve in curves]
        if not found or min(away for away, _ in found) > _FOUND_MM:
            continue
        which = int(np.argmin([away for away, _ in found]))
        station, length = found[which][1], curve_length_mm(curves[which].curve)
        unsure = tuple(
            stretch
            for stretch in curves[which].unsure
            if not any(
                stretch.start_mm - _STEP_MM <= at <= stretch.end_mm + _STEP_MM
                for at in (station, station + length)
            )
        )
        curves = [replace(c, unsure=unsure) if i == which else c for i, c in enumerate(curves)]
    return curves


def _nearest(curve: TracedCurve, at: FloatArray) -> tuple[float, float]:
    """How far the curve's nearest point is, and where along the curve it lies."""
    points = sample(curve.curve, deviation_mm=_DENSE_MM)
    points = np.vstack((points, points[:1]))
    chord = np.diff(points, axis=0)
    lengths = np.hypot(*chord.T)
    part = np.clip(
        np.sum((at - points[:-1]) * chord, axis=1) / np.maximum(lengths, 1e-12) ** 2, 0, 1
    )
    away = np.hypot(*(points[:-1] + part[:, None] * chord - at).T)
    best = int(np.argmin(away))
    return float(away[best]), float(lengths[:best].sum() + part[best] * lengths[best])
