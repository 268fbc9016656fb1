"""How far a traced curve lies from what was drawn, and how often within its interval."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from layflat.pattern import sample
from layflat.pattern.curve import sample_elements
from layflat.photo import TracedCurve


@dataclass(frozen=True)
class Missed:
    """Distances in mm between a curve and the truth, taken from both, every millimetre."""

    rms_mm: float
    worst_mm: float
    within: float
    """The share of the curve that lies within its stated interval of the truth."""


def missed(traced: TracedCurve, truth: Polygon) -> Missed:
    points, element = sample_elements(traced.curve, deviation_mm=0.005)
    ends = np.roll(points, -1, axis=0)
    counts = np.maximum(1, np.ceil(np.hypot(*(ends - points).T)).astype(np.int64))
    which = np.repeat(np.arange(len(points)), counts)
    part = (np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[which]
    places = points[which] + part[:, None] * (ends - points)[which]
    away = shapely.distance(shapely.points(places), truth.exterior)
    of = traced.interval_mm
    interval = np.maximum(of, np.roll(of, -1))[element[which]]
    ring = LinearRing(sample(traced.curve, deviation_mm=0.005))
    there = shapely.points(shapely.get_coordinates(truth.exterior.segmentize(1.0)))
    back = shapely.distance(there, ring)
    return Missed(
        rms_mm=float(np.sqrt(np.mean(away**2))),
        worst_mm=float(max(away.max(), back.max())),
        within=float(np.mean(away <= interval)),
    )
