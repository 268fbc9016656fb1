"""Notes drawn from a known warp with 0.5 mm of reading noise: three cars bring it under 0.3 mm."""

import numpy as np

from layflat.base import FloatArray
from layflat.pattern import Curve, Pattern
from layflat.revise import Note, revise
from revise.panel import outline_of, short

CORNERS = np.array([[0, 0], [900, 0], [900, 600], [0, 600]], float)
BELLIED = Pattern("bellied", Curve(CORNERS, np.full(4, 0.08)), outline_corners=np.arange(4))


def test_three_cars_bring_the_misfit_under_three_tenths() -> None:
    outline = outline_of(BELLIED)
    along = outline.points(np.arange(0.0, outline.length_mm, 10.0))
    squares = []
    for seed in range(2):
        rng = np.random.default_rng(seed)
        ways = rng.normal(size=(4, 2)) / 400.0
        high, phase = rng.normal(size=(4, 2)) * 2.0, rng.uniform(0, 6, 4)

        def warp(
            points: FloatArray,
            ways: FloatArray = ways,
            high: FloatArray = high,
            phase: FloatArray = phase,
        ) -> FloatArray:
            return np.asarray(np.cos(points @ ways.T + phase) @ high)

        notes: list[Note] = []
        for car in "abc":
            at = (np.arange(20) + rng.uniform(size=20)) / 20 * outline.length_mm
            points = outline.points(at)
            lacks = np.einsum("ij,ij->i", outline.normals(at), warp(points))
            lacks += rng.normal(0.0, 0.5, 20)
            notes += [
                short(float(x), float(y), float(lack), car=car)
                for (x, y), lack in zip(points, lacks, strict=True)
            ]
        made = revise(BELLIED, notes)
        goal = along + warp(along)
        after, before = (shape.nearest(goal)[1] for shape in (outline_of(made.pattern), outline))
        squares.append((np.mean(before**2), np.mean(after**2)))
    before_mm, after_mm = np.sqrt(np.mean(squares, axis=0))
    assert after_mm < 0.3
    assert before_mm > 1.0
