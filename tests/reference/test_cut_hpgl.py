"""HP-GL against its published reference, and our programs read by another library.

Source: Hewlett-Packard, PCL 5 Printer Language Technical Reference Manual, Part II (HP-GL/2);
page and table numbers stand beside the checks. The second reader is ezdxf's `addons.hpgl2`.
"""

import dataclasses

import numpy as np
import pytest
from ezdxf.addons.hpgl2 import api
from ezdxf.addons.hpgl2.backend import RecordType

from layflat.cut import Stroke, Wishes, generic_machine, program, read_hpgl
from layflat.cut.hpgl import hpgl_text, to_units
from layflat.pattern import Curve, Drawing, Pattern


def test_the_manuals_example() -> None:
    """Table 20-20: the manual's own example of PA and PD."""
    strokes = read_hpgl("IN; SP1; PA10,10; PD2500,10,10,1500,10,10;")
    assert [stroke.down for stroke in strokes] == [False, True]
    units = [[10, 10], [2500, 10], [10, 1500], [10, 10]]
    np.testing.assert_allclose(strokes[1].points_mm * 40, units)


def test_a_plotter_unit_is_a_fortieth_of_a_millimetre() -> None:
    """Page 17-20, table 17-7: 40 units to the mm, 1016 to the inch."""
    assert generic_machine().units_per_mm == 40
    assert to_units(np.array([[25.4, 1000.0]]), units_per_mm=40).tolist() == [[1016, 40000]]


def test_a_rectangle_of_300_by_200_mm() -> None:
    corners = np.array([[0, 0], [300, 0], [300, 200], [0, 200], [0, 0]], float)
    cut = to_units(corners, units_per_mm=40)
    text = hpgl_text([([cut], 12000, 0)], machine=generic_machine())
    assert "PD12000,0,12000,8000,0,8000,0,0;" in text


def test_rounding_is_to_the_nearest_unit_and_without_bias() -> None:
    """Largest error 0.0125 mm on each axis, and no drift over many points."""
    points = np.random.default_rng(2).uniform(0, 500, (20_000, 2))
    error = to_units(points, units_per_mm=40) / 40 - points
    assert np.abs(error).max() <= 0.0125 + 1e-9
    # Uniform over a unit: the mean's standard deviation is 0.025/sqrt(12 * 20 000) = 5.1e-5 mm.
    assert np.abs(error.mean(axis=0)).max() < 4 * 5.2e-5


def test_no_pen_at_first_and_up() -> None:
    """Page 17-21: nothing is drawn until a pen is selected."""
    assert not any(stroke.down for stroke in read_hpgl("IN;PD100,100;PU;"))


def test_parameters_may_be_parted_by_space_or_sign_and_commands_by_their_letters() -> None:
    """Page 17-7."""
    a = read_hpgl("IN;SP1;PU100,200;PD300,-400;PU;")
    b = read_hpgl("in sp1 pu100 200pd300-400pu;")
    for one, other in zip(a, b, strict=True):
        np.testing.assert_array_equal(one.points_mm, other.points_mm)


def test_increments_until_the_next_absolute() -> None:
    """Page 20-32."""
    (stroke,) = [s for s in read_hpgl("IN;SP1;PU40,40;PR;PD40,0;PA;PD0,0;PU;") if s.down]
    np.testing.assert_allclose(stroke.points_mm, [[1, 1], [2, 1], [0, 0]])


@pytest.fixture(scope="module")
def text() -> str:
    bulge = np.tan(np.pi / 8)
    patterns = (
        Pattern(
            "plate",
            Curve(points_mm=[[20, 30], [170, 30], [170, 130], [20, 130]], bulges=[0, bulge, 0, 0]),
            (Curve(points_mm=[[80, 80], [100, 80]], bulges=[-1, -1]),),
        ),
    )
    stock = Curve(points_mm=[[0, 0], [400, 0], [400, 300], [0, 300]], bulges=[0] * 4)
    wishes = Wishes(strip_mm=120.0)
    drawing = Drawing(patterns=patterns, stock=(stock,))
    return program(drawing, generic_machine(), wishes=wishes).hpgl


def test_another_reader_sees_the_same_cuts(text: str) -> None:
    player = api.record_plotter_output(b"\x1b%1B" + text.encode("ascii"), api.MergeControl.NONE)
    theirs = [
        np.array([(v.x, v.y) for v in points.vertices()])
        for kind, _, points in player.recordings()
        if kind == RecordType.POLYLINE
    ]
    ours = [stroke.points_mm * 40 for stroke in read_hpgl(text) if stroke.down]
    for a, b in zip(theirs, ours, strict=True):
        np.testing.assert_allclose(a, b, atol=1e-6)


def test_the_program_opens_and_closes_as_the_reference_wants(text: str) -> None:
    """Pages 17-21 and 17-23: select a pen before drawing; lift and stow at the end."""
    assert text.startswith("IN;PA;SP1;\nPU")
    assert text.endswith(",0;\nSP0;\n")
    last = read_hpgl(text)[-1]
    assert isinstance(last, Stroke)
    assert not last.down
    assert dataclasses.is_dataclass(last)
