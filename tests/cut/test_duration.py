"""Times against closed forms."""

import math

import numpy as np
import pytest

from layflat.cut import run_seconds
from layflat.cut.duration import junction_speeds, runs_seconds, stretch_seconds

LIMITS = {"speed_mm_s": 200.0, "acceleration_mm_s2": 2000.0, "deviation_mm": 0.02}


def test_a_long_line_is_a_trapezoid() -> None:
    assert run_seconds([[0, 0], [300, 400]], **LIMITS) == pytest.approx(500 / 200 + 200 / 2000)


def test_a_short_line_is_a_triangle() -> None:
    assert run_seconds([[0, 0], [5, 0]], **LIMITS) == pytest.approx(2 * math.sqrt(5 / 2000))


def test_points_on_a_line_cost_nothing() -> None:
    points = np.column_stack((np.linspace(0, 100, 57), np.zeros(57)))
    assert run_seconds(points, **LIMITS) == pytest.approx(100 / 200 + 200 / 2000)


def test_a_turn_back_stops_the_head() -> None:
    there = run_seconds([[0, 0], [50, 0]], **LIMITS)
    assert run_seconds([[0, 0], [50, 0], [0, 0]], **LIMITS) == pytest.approx(2 * there, rel=1e-6)


def test_a_right_angle_is_passed_at_the_speed_of_the_touching_circle() -> None:
    speeds = junction_speeds(np.array([[0, 0], [50, 0], [50, 50]], float), **LIMITS)
    c = math.cos(math.pi / 4)
    radius = 0.02 * c / (1 - c)
    assert speeds.tolist() == pytest.approx([0.0, math.sqrt(2000 * radius), 0.0])


def test_a_fine_circle_is_limited_by_its_radius() -> None:
    # Chords whose sagitta is a quarter of the deviation d: turn t = h/R with h² = 8 R d/4,
    # so that v² = 8 a d / t² = 4 a R.
    radius, d = 10.0, 0.02
    count = round(2 * math.pi * radius / math.sqrt(8 * radius * d / 4))
    angle = np.linspace(0, 2 * math.pi, count + 1)
    points = radius * np.column_stack((np.cos(angle), np.sin(angle)))
    limits = {**LIMITS, "speed_mm_s": 1e6}
    assert junction_speeds(points, **limits)[3] == pytest.approx(
        math.sqrt(4 * 2000 * radius), rel=0.01
    )


def test_nothing_to_do_takes_no_time() -> None:
    assert run_seconds([[3, 3], [3, 3]], **LIMITS) == 0.0


def test_a_stretch_between_two_speeds() -> None:
    # From 100 to 200 mm/s at 2000 mm/s²: 7.5 mm in 0.05 s.
    assert stretch_seconds(7.5, 100, 200, speed_mm_s=200, acceleration_mm_s2=2000) == pytest.approx(
        0.05
    )


def test_runs_take_together_what_each_takes_alone() -> None:
    rng = np.random.default_rng(7)
    runs = [np.round(rng.uniform(0, 90, (n, 2))) for n in (5, 1, 2, 40)]
    runs += [np.zeros((3, 2)), np.repeat(runs[0], 2, axis=0)]
    limits = {"acceleration_mm_s2": 2000.0, "deviation_mm": 0.02}
    speeds = [rng.uniform(20, 200, len(run) - 1) for run in runs[:-1]]
    alone = [
        run_seconds(run, speed_mm_s=own, **limits)
        for run, own in zip(runs, [*speeds, 80.0], strict=True)
    ]
    assert alone[1] == alone[4] == 0.0
    found = runs_seconds(runs, speeds_mm_s=[*speeds, 80.0], **limits)
    assert found == pytest.approx(sum(alone), rel=1e-9)
