"""What lies near a line, found quickly, against shapely's distances to all of it."""

import numpy as np
import pytest
import shapely

import layflat.cut.trail as trail_module
from cut.shapes import circle, machine, on_stock, plate, rounded
from layflat.base import FloatArray
from layflat.cut import TipPath, program, read_hpgl, simulate
from layflat.cut.line import REACH_MM, Lines, all_lines
from layflat.cut.trail import Trail, trail_of
from layflat.pattern import Curve, Pattern

STAR = [
    (200 + away * np.cos(turn), 200 + away * np.sin(turn))
    for turn, away in zip(np.arange(10) * np.pi / 5, (40, 14) * 5, strict=True)
]
DRAWING = on_stock(
    *plate().patterns,
    Pattern("star", Curve(points_mm=STAR, bulges=[0.0] * 10)),
    Pattern("strip", rounded(20, 140, 120, 146, 0.6), (circle(70, 143, 2),)),
)


@pytest.fixture(scope="module")
def lines() -> Lines:
    return all_lines(DRAWING.patterns)


@pytest.fixture(scope="module")
def trail(lines: Lines) -> Trail:
    made = machine()
    strokes = read_hpgl(program(DRAWING, made).hpgl)
    path = simulate(strokes, knife_offset_mm=made.knife_offset_mm, heading_rad=0.1)
    return trail_of(path, lines.near(np.concatenate(path.cuts)), lines)


def ring(lines: Lines, i: int) -> shapely.LinearRing:
    return shapely.LinearRing(lines.lines[i].points_mm)


def all_distances(lines: Lines, points: FloatArray) -> FloatArray:
    return np.array(
        [shapely.distance(ring(lines, i), shapely.points(points)) for i in range(len(lines.lines))]
    )


def test_near_lines_are_found_with_their_distance_and_place(lines: Lines) -> None:
    rng = np.random.default_rng(3)
    at = rng.integers(0, len(lines.points_mm), 4000)
    points = lines.points_mm[at] + rng.normal(0.0, 0.2, (4000, 2))
    near, true = lines.near(points), all_distances(lines, points)
    found = np.isfinite(near.distance_mm)
    assert found[true.min(axis=0) <= np.sqrt(REACH_MM**2 - 0.25**2)].all()
    assert not found[true.min(axis=0) > REACH_MM].any()
    own = true[near.line[found], np.flatnonzero(found)]
    # Never below the true distance; above it only where a line comes back beside itself.
    assert (near.distance_mm[found] - own).min() > -1e-9
    assert np.mean(near.distance_mm[found] - true.min(axis=0)[found] > 1e-9) < 0.02
    for i, line in enumerate(lines.lines):
        here = found & (near.line == i)
        gap = np.hypot(*(line.at_mm(near.along_mm[here]) - points[here]).T)
        assert gap == pytest.approx(near.distance_mm[here], abs=1e-9)


@pytest.mark.parametrize("again_from_mm", [trail_module.DOUBTFUL_MM, 9.0])
def test_the_trail_is_as_far_from_its_lines_as_shapely_says(
    lines: Lines, trail: Trail, again_from_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With what is doubtful measured again, and as it is found quickly."""
    monkeypatch.setattr(trail_module, "DOUBTFUL_MM", again_from_mm)
    away, reached = trail.away_mm(lines), trail.reached_mm(lines)
    for i in range(len(lines.lines)):
        own = trail.line == i
        true = shapely.distance(ring(lines, i), shapely.points(trail.points_mm[own]))
        assert away[own] == pytest.approx(true, abs=1e-9)
        ways = shapely.MultiLineString(trail.cuts_on(i))
        points = lines.points_mm[lines.owner == i]
        true = shapely.distance(ways, shapely.points(points))
        assert (reached[lines.owner == i] - true).min() > -1e-9
        # At corners the nearest place may be on the other leg: then it says too much.
        assert reached[lines.owner == i] == pytest.approx(true, abs=0.006)


def test_a_cut_runs_once_round_and_on(lines: Lines, trail: Trail) -> None:
    runs = trail.runs_mm(lines)
    for i, line in enumerate(lines.lines):
        (run,) = runs[trail.follows == i]
        # Cuts keep the film on their left, whichever way a line was drawn. A blade that finds no
        # room beside the line turns on it, which makes its run longer.
        assert (run < 0.0) == (line.name == "cut-out 1 of strip")
        assert 0.4 < abs(run) - line.length_mm < 2.0


def test_turning_back_is_subtracted(lines: Lines) -> None:
    along = np.concatenate((np.arange(480.0, 560.0, 0.25), np.arange(560.0, 530.0, -0.25)))
    way = lines.lines[0].at_mm(along)
    path = TipPath(cuts=(way, way[::-1]), strokes=(0, 1), headings_rad=(0.0, 0.0))
    trail = trail_of(path, lines.near(np.concatenate(path.cuts)), lines)
    assert trail.follows.tolist() == [0, 0]
    assert trail.runs_mm(lines) == pytest.approx([50.25, -50.25], abs=1e-6)


def test_corners_are_those_of_the_line_that_is_asked_about(lines: Lines) -> None:
    star = next(i for i, line in enumerate(lines.lines) if line.name == "outline of star")
    places = np.array(STAR) + np.array([0.1, 0.0])
    assert lines.at_corner(places, np.full(10, star), 0.25).all()
    assert not lines.at_corner(places, np.full(10, star - 1), 0.25).any()
    assert not lines.at_corner(places + np.array([0.3, 0.0]), np.full(10, star), 0.25).any()
