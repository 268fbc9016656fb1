"""Lines on the light surface: what they part, and what is no line."""

import re

import numpy as np
import pytest

from job_workshop import DOME, RADIUS_MM
from layflat.base import InputError
from layflat.surface import locate
from layflat.web.cover.choices import Point
from layflat.web.cover.lines import trace_line
from layflat.web.cover.panels import surfaces_of
from web.cover.domes import KEEP, LINE, Domes


def on_dome(x: float, y: float) -> Point:
    return (x, y, float(DOME(np.array(x), np.array(y))))


def cap_mm2(x0: float, x1: float) -> float:
    """The area of the sphere over x0 to x1 and 140 mm to either side, by a grid of its own."""
    x, y = np.meshgrid(np.linspace(x0, x1, 1001), np.linspace(-140, 140, 1001))
    slant = RADIUS_MM / np.sqrt(RADIUS_MM**2 - x**2 - y**2)
    return float(slant.mean() * (x1 - x0) * 280)


def test_a_line_parts_the_panel_as_the_sphere_says(domes: Domes) -> None:
    # Along y = 0's mirror the geodesic from edge to edge bulges towards the pole by some mm; a line
    # with points on the plane x = 150 stays in it.
    line = [on_dome(150.0, y) for y in np.linspace(-140, 140, 15)]
    part = trace_line(domes.revision, "right", line, KEEP)
    assert part.share == pytest.approx(cap_mm2(20, 150) / cap_mm2(20, 240), abs=0.004)
    other = trace_line(domes.revision, "right", line, on_dome(200.0, 50.0))
    assert part.share + other.share == pytest.approx(1.0, abs=1e-4)
    assert np.abs(part.points_mm[:, 0] - 150.0).max() < 1.0
    assert np.abs(np.ptp(part.points_mm[:, 1]) - 280.0) < 2.0
    assert part.positions[part.indices].shape[1:] == (3, 3)
    assert part.positions[:, 0].max() < 151.0
    whole = surfaces_of(domes.revision)["panel-1"]
    assert locate(whole, part.positions).distances_mm.max() < 0.05


def test_without_a_side_the_larger_one_is_covered(domes: Domes) -> None:
    part = trace_line(domes.revision, "right", LINE, None)
    assert part.share > 0.5
    again = trace_line(domes.revision, "right", LINE, part.keep_mm)
    assert again.share == pytest.approx(part.share, abs=1e-6)
    small = [on_dome(60.0, y) for y in (-140.0, 0.0, 140.0)]
    assert trace_line(domes.revision, "right", small, None).share > 0.5
    # The larger side is an L of 75 mm; what lies farthest from the line is on the smaller one.
    bent = [
        on_dome(95, -140),
        on_dome(95, -40),
        on_dome(95, 65),
        on_dome(170, 65),
        on_dome(240, 65),
    ]
    part = trace_line(domes.revision, "right", bent, None)
    assert 0.5 < part.share < 0.54


@pytest.mark.parametrize(
    ("line", "keep", "words"),
    [
        ([], KEEP, "two points or more"),
        ([on_dome(150, -140)], KEEP, "two points or more"),
        ([on_dome(150, -140), on_dome(150, 40)], KEEP, "its end stops within the panel"),
        ([on_dome(150, 0), on_dome(150, 140)], KEEP, "its beginning stops within the panel"),
        ([on_dome(150, -140), on_dome(-100, 0), on_dome(150, 140)], KEEP, "leaves the panel"),
        ([on_dome(150, -140), (150.0, 0.0, 400.0), on_dome(150, 140)], KEEP, "leaves the panel"),
        ([(9000.0, 0.0, 0.0), on_dome(150, 140)], KEEP, "leaves the panel"),
        ([on_dome(150, -140), (np.nan, 0.0, 0.0), on_dome(150, 140)], KEEP, "cannot be read"),
        ([on_dome(150, -140), on_dome(150, -140)], KEEP, "The line on Right"),
        ([on_dome(150, y) for y in np.linspace(-140, 140, 201)], KEEP, "200 points at most"),
        (list(LINE), (60.0, 0.0, 300.0), "The covered side of Right leaves the panel"),
    ],
)
def test_a_line_that_parts_nothing_says_so_in_one_sentence(
    domes: Domes, line: list[Point], keep: Point, words: str
) -> None:
    with pytest.raises(InputError, match=words) as caught:
        trace_line(domes.revision, "right", line, keep)
    sentence = str(caught.value)
    assert "Right" in sentence
    assert not re.search(r"\(-?\d", sentence), sentence


def test_a_panel_that_is_not_there_is_said(domes: Domes) -> None:
    with pytest.raises(InputError, match="no panel “roof”"):
        trace_line(domes.revision, "roof", LINE, KEEP)
