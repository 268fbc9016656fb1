"""The simulated tip against published closed forms, and against an independent solver.

Sources: S. R. Dunbar, R. J. C. Bosman, S. E. M. Nooij, The Track of a Bicycle Back Tire,
Mathematics Magazine 74 (2001) 273-287 (rear track from front track, straight line and circle);
M. Levi, S. Tabachnikov, On bicycle tire tracks geometry, hatchet planimeter, Menzin's
conjecture and oscillation of unicycle tracks, arXiv 0801.4396 (the map from first to last
heading is a Möbius map). The numbers were computed from these forms to 1e-11 apart from this
code.
"""

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from layflat.cut import Stroke, simulate
from layflat.cut.elements import Element
from layflat.cut.knife import pivot_path

OFFSET = 0.25


def lag_after(pivot: np.ndarray, heading: float, end_direction: float) -> float:
    path = simulate(
        [Stroke(down=True, points_mm=pivot)], knife_offset_mm=OFFSET, heading_rad=heading
    )
    return math.remainder(end_direction - path.headings_rad[0], math.tau)


@pytest.mark.parametrize(
    ("start_deg", "s", "lag"),
    [
        (90, 0.25, 0.705026844),
        (90, 0.5, 0.269035991),
        (90, 1.0, 0.036627182),
        (60, 0.5, 0.155954860),
    ],
)
def test_lag_on_a_straight_line(start_deg: float, s: float, lag: float) -> None:
    line = np.array([[0.0, 0.0], [s, 0.0]])
    assert lag_after(line, -math.radians(start_deg), 0.0) == pytest.approx(lag, abs=1e-9)
    # In many small steps the same: the closed form holds on each.
    fine = np.column_stack((np.linspace(0, s, 37), np.zeros(37)))
    assert lag_after(fine, -math.radians(start_deg), 0.0) == pytest.approx(lag, abs=1e-9)


@pytest.mark.parametrize(("degrees", "lengths"), [(5, 3.131301), (1, 4.741349)])
def test_travel_to_align_from_square(degrees: float, lengths: float) -> None:
    line = np.array([[0.0, 0.0], [lengths * OFFSET, 0.0]])
    assert lag_after(line, -math.pi / 2, 0.0) == pytest.approx(math.radians(degrees), rel=1e-5)


def test_the_tip_runs_along_the_classical_tractrix() -> None:
    path = simulate(
        [Stroke(down=True, points_mm=np.array([[0.0, 0.0], [2.0, 0.0]]))],
        knife_offset_mm=OFFSET,
        heading_rad=-math.pi / 2,
    )
    tip = path.cuts[0]
    # Square to the path at first: y = L sech(s/L), x = s - L tanh(s/L).
    s = OFFSET * np.arccosh(OFFSET / tip[:, 1])
    np.testing.assert_allclose(tip[:, 0], s - OFFSET * np.tanh(s / OFFSET), atol=1e-9)
    nearest = np.argmin(np.abs(s - 0.5))
    half = simulate(
        [Stroke(down=True, points_mm=np.array([[0.0, 0.0], [0.5, 0.0]]))],
        knife_offset_mm=OFFSET,
        heading_rad=-math.pi / 2,
    )
    assert half.cuts[0][-1, 1] == pytest.approx(0.066450557, abs=1e-9)
    assert tip[nearest, 1] > 0


def fine_circle(length: float, radius: float = 1.0, steps: int = 20_000) -> np.ndarray:
    angle = np.linspace(0.0, length / radius, steps + 1)
    return radius * np.column_stack((np.sin(angle), 1.0 - np.cos(angle)))


@pytest.mark.parametrize(
    ("s", "lag"),
    [(0.25, 0.158204995), (0.5, 0.217050240), (1.0, 0.247561705), (3.0, 0.252678043)],
)
def test_lag_on_a_circle(s: float, lag: float) -> None:
    # 20 000 chords turn by s/20 000 each: half of that stands for the last chord.
    assert lag_after(fine_circle(s), 0.0, s) == pytest.approx(lag, abs=2e-4 * s)


def test_the_tip_ends_on_its_own_circle() -> None:
    path = simulate(
        [Stroke(down=True, points_mm=fine_circle(12.0))], knife_offset_mm=OFFSET, step_mm=0.5
    )
    radius = np.hypot(*(path.cuts[0][-1] - np.array([0.0, 1.0])))
    assert radius == pytest.approx(0.968245837, abs=1e-6)


@pytest.mark.parametrize(("radius", "pivot"), [(1.0, 1.030776406), (0.1, math.hypot(0.1, 0.25))])
def test_the_compensated_circle(radius: float, pivot: float) -> None:
    arc = Element(radius, 0.0, math.pi / 2, math.tau * radius, math.tau)
    points = pivot_path([arc], heading_rad=math.pi / 2, offset_mm=OFFSET)
    # Ends on the circle, points between within 5 µm outside it, chords enclosing its area.
    radii = np.hypot(*points.T)
    np.testing.assert_allclose(radii[[0, -1]], pivot, atol=1e-9)
    assert np.all((radii > pivot - 1e-9) & (radii < pivot + 0.005))
    tip = simulate(
        [Stroke(down=True, points_mm=points)], knife_offset_mm=OFFSET, heading_rad=math.pi / 2
    ).cuts[0]
    assert np.abs(np.hypot(*tip.T) - radius).max() < 0.003


def test_four_headings_keep_their_cross_ratio() -> None:
    rng = np.random.default_rng(5)
    pivot = np.cumsum(rng.normal(0, 0.12, (9, 2)), axis=0)
    pivot = np.vstack((pivot, pivot[:1]))
    headings = np.array([-1.2, -0.3, 0.4, 1.1])
    ends = [
        simulate(
            [Stroke(down=True, points_mm=pivot)], knife_offset_mm=OFFSET, heading_rad=h
        ).headings_rad[0]
        for h in headings
    ]

    def cross_ratio(t: np.ndarray) -> float:
        return float((t[0] - t[2]) * (t[1] - t[3]) / ((t[0] - t[3]) * (t[1] - t[2])))

    before, after = np.tan(headings / 2), np.tan(np.array(ends) / 2)
    assert np.abs(after - before).max() > 0.1
    assert cross_ratio(after) == pytest.approx(cross_ratio(before), rel=1e-7)


def test_the_tip_against_a_general_solver() -> None:
    """SciPy's DOP853 on d psi/ds = sin(direction - psi)/L, segment by segment."""
    rng = np.random.default_rng(11)
    pivot = np.cumsum(rng.normal(0, 0.4, (25, 2)), axis=0)
    heading = 0.7
    psi = heading

    def turning(s: float, blade: np.ndarray, direction: float) -> np.ndarray:
        return np.sin(direction - blade) / OFFSET

    for a, b in itertools.pairwise(pivot):
        direction = math.atan2(b[1] - a[1], b[0] - a[0])
        solved = solve_ivp(
            turning,
            (0.0, float(np.hypot(*(b - a)))),
            [psi],
            method="DOP853",
            rtol=1e-11,
            atol=1e-12,
            args=(direction,),
        )
        psi = float(solved.y[0, -1])
    path = simulate(
        [Stroke(down=True, points_mm=pivot)], knife_offset_mm=OFFSET, heading_rad=heading
    )
    tip = pivot[-1] - OFFSET * np.array([math.cos(psi), math.sin(psi)])
    np.testing.assert_allclose(path.cuts[0][-1], tip, atol=1e-8)


def test_the_blade_keeps_its_heading_knife_up() -> None:
    """Common practice, no source: nothing turns a lifted blade."""
    strokes = [
        Stroke(down=True, points_mm=[[0, 0], [10, 0]]),
        Stroke(down=False, points_mm=[[10, 0], [10, 50]]),
        Stroke(down=True, points_mm=[[10, 50], [10, 60]]),
    ]
    path = simulate(strokes, knife_offset_mm=OFFSET, heading_rad=0.0)
    np.testing.assert_allclose(path.cuts[1][0], [9.75, 50.0], atol=1e-12)
