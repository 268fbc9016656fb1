"""What a wrong knife offset would do, against closed forms."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cut.shapes import circle, machine, on_stock, plate
from layflat.base import SettingError
from layflat.cut import program, swivel_off_mm, tolerance_of, usual_tolerance
from layflat.cut.elements import Element
from layflat.cut.knife import pivot_path
from layflat.cut.tip import tip_along
from layflat.cut.tolerance import REACH_OFFSETS
from layflat.pattern import Curve, Pattern

BLADES = [(0.25, 0.30), (0.25, 0.20), (0.5, 0.55), (0.5, 0.45), (1.0, 1.0)]
TURNS = [math.radians(turn) for turn in (20, 60, 90, 130, 175)]


def test_on_a_circle_it_is_the_closed_form() -> None:
    # Radius r: pivot on the square root of r² + L², so a blade of L' cuts on the root of
    # r² + L² - L'² (the tractrix of a circle; Dunbar, Bosman, Nooij 2001).
    # Small, so that this outweighs what the blade brings along from the lead-in.
    radius, offset, wrong = 0.4, 0.25, 0.05
    drawing = on_stock(Pattern("disc", circle(100, 100, radius)))
    fine = machine(units_per_mm=1000.0)
    found = tolerance_of(program(drawing, fine), drawing, fine)
    off = radius - math.sqrt(radius**2 + offset**2 - (offset + wrong) ** 2)
    # Chords and left-out points come on top: 0.009 mm (docs/theory-knife.md).
    assert off - 0.002 <= found.curve_mm <= off + 0.009
    assert found.corner_mm == 0.0


def test_at_corners_it_is_worse_the_more_wrong_it_is() -> None:
    made = program(plate(), machine())
    small = tolerance_of(made, plate(), machine(), wrong_mm=0.02)
    great = tolerance_of(made, plate(), machine(), wrong_mm=0.1)
    assert small.curve_mm < 0.05
    assert small.corner_mm < 0.6 * great.corner_mm
    assert "0.1 mm more or less" in great.sentence


@pytest.mark.parametrize(("offset", "blade"), BLADES)
@pytest.mark.parametrize("turn", TURNS)
def test_behind_a_corner_it_is_the_closed_form(turn: float, offset: float, blade: float) -> None:
    """Against the equation of the lag by scipy, and against the simulation of a corner's path."""
    found = swivel_off_mm(turn, offset_mm=offset, blade_mm=blade)
    # db/ds = curvature - sin(b)/L' on the pivot's circle about the corner (Dunbar, Bosman, Nooij
    # 2001), which it enters at a right angle to the blade.
    lag = solve_ivp(
        lambda _, b: 1.0 / offset - np.sin(b) / blade,
        (0.0, offset * turn),
        [0.5 * math.pi],
        rtol=1e-10,
        atol=1e-12,
    ).y[0, -1]
    assert found == pytest.approx(blade * math.sin(lag - 0.5 * math.pi), abs=1e-8)
    assert found == pytest.approx((blade - offset) * turn, rel=0.4, abs=1e-12)
    # The same corner as it is programmed; then a stretch on which the tip swings in.
    into, out = Element(-20.0, 0.0, 0.0, 20.0), Element(0.0, 0.0, turn, 0.3)
    pivots = pivot_path([into, out], heading_rad=0.0, offset_mm=offset)
    tip = tip_along(pivots, heading_rad=0.0, knife_offset_mm=blade, step_mm=0.1)[0][-1]
    beside = tip @ np.array([-math.sin(turn), math.cos(turn)])
    half = math.tan(0.5 * math.asin(found / blade)) * math.exp(-0.3 / blade)
    assert beside == pytest.approx(blade * math.sin(2.0 * math.atan(half)), abs=0.012)


def test_behind_its_reach_a_corner_leaves_no_more_than_the_offset_is_wrong() -> None:
    for offset in (0.25, 0.5, 1.0):
        for wrong in (-0.2 * offset, 0.05 * offset, 0.2 * offset):
            blade = offset + wrong
            off = abs(swivel_off_mm(math.pi, offset_mm=offset, blade_mm=blade))
            reach = REACH_OFFSETS * (offset + abs(wrong))
            half = math.tan(0.5 * math.asin(off / blade)) * math.exp(-reach / blade)
            assert blade * math.sin(2.0 * math.atan(half)) <= abs(wrong)


@pytest.mark.parametrize("turn", [60, 100, 140, 165])
def test_sharp_corners_are_told_apart_from_the_lines_between_them(turn: float) -> None:
    away = math.radians(turn)
    apex = np.array([200.0, 100.0])
    ends = [apex - (60.0, 0.0), apex + 60.0 * np.array([math.cos(away), math.sin(away)])]
    wedge = Curve(points_mm=[ends[0], apex, ends[1]], bulges=[0.0] * 3)
    drawing = on_stock(Pattern("wedge", wedge))
    found = usual_tolerance(program(drawing, machine()), drawing, machine())
    assert found is not None
    sharpest = max(turn, 180.0 - turn / 2.0)
    assert found.turn_deg == pytest.approx(sharpest, abs=1e-6)
    assert found.curve_mm < 0.05 < found.corner_mm
    # Beside both lines it is nearer to the nearer one; rounding to plotter's units comes on top.
    assert 0.7 * found.swivel_mm < found.corner_mm < found.swivel_mm + 0.02
    assert f"{found.curve_mm:.3f} mm of straight lines" in found.sentence
    assert f"{found.corner_mm:.3f} mm at corners" in found.sentence


def test_a_knife_whose_offset_is_too_short_to_be_wrong_has_no_tolerance() -> None:
    short = machine(knife_offset_mm=0.05)
    assert usual_tolerance(program(plate(), short), plate(), short) is None


@pytest.mark.parametrize("wrong", [0.0, 0.25, -1.0])
def test_an_offset_cannot_be_wrong_by_itself(wrong: float) -> None:
    with pytest.raises(SettingError, match="cannot be wrong by"):
        tolerance_of(program(plate(), machine()), plate(), machine(), wrong_mm=wrong)
