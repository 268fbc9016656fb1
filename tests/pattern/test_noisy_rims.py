"""Rims of scanned panels: drawn within the deviation, smooth but at corners, with few joints."""

import numpy as np
import pytest

from flat_shapes import Line, panel, polygon_edges
from layflat.base import FloatArray
from layflat.pattern import EdgeFinish, Finish, Pattern, from_flat
from layflat.pattern.arcs import distances_to_curve
from layflat.pattern.curve import tangent_turns
from layflat.pattern.edges import _apart
from layflat.pattern.stretch import _with_middles

FLUSH = EdgeFinish(Finish.FLUSH)
SIDE = 600.0


def bowed(noise_mm: float, *, jogs: bool = False, seed: int = 1) -> tuple[list[Line], FloatArray]:
    """A square whose sides bow out by 30 mm, with noisy points every 6 mm.

    Jogs are pairs of points some microns apart, as where a line crosses a mesh beside a vertex.
    """
    random = np.random.default_rng(seed)
    s = np.linspace(0.0, 1.0, 101)[:-1]
    edges: list[Line] = []
    corners = np.array([(0.0, 0.0), (SIDE, 0.0), (SIDE, SIDE), (0.0, SIDE)])
    for i, (start, end) in enumerate(zip(corners, np.roll(corners, -1, axis=0), strict=True)):
        along = (end - start) / SIDE
        out = np.array([along[1], -along[0]])
        bow = 120.0 * s * (1 - s) + random.normal(0.0, noise_mm, len(s))
        bow[0] = 0.0
        points = start + np.outer(s * SIDE, along) + np.outer(bow, out)
        if jogs:
            beside = points[1:] + 0.008 * random.choice([-1, 1], (len(s) - 1, 1)) * out
            points = np.vstack((points[:1], np.stack((points[1:], beside), 1).reshape(-1, 2)))
        edges.append((f"side {i}", [(float(x), float(y)) for x, y in points]))
    return edges, np.array([point for _, line in edges for point in line])


def drawn(edges: list[Line], deviation_mm: float = 0.05) -> Pattern:
    flat, region = panel(edges)
    return from_flat(
        flat, region, name="p", finishes=lambda _: FLUSH, deviation_mm=deviation_mm
    ).pattern


@pytest.mark.parametrize("deviation", [0.05, 0.2])
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.07])
def test_the_rim_lies_within_the_deviation_of_the_outline(noise: float, deviation: float) -> None:
    """Both fits together: from the vertices of the flat mesh to the lines that are cut."""
    edges, points = bowed(noise)
    pattern = drawn(edges, deviation)
    assert distances_to_curve(points, pattern.outline).max() <= deviation


@pytest.mark.parametrize(("noise", "most"), [(0.0, 24), (0.01, 32), (0.02, 110), (0.05, 315)])
def test_noise_costs_few_joints(noise: float, most: int) -> None:
    """100 points a side; counts that were seen, with a tenth to spare.

    Noise as great as the deviation leaves hardly any choice.
    """
    assert len(drawn(bowed(noise)[0]).outline.bulges) <= most


@pytest.mark.parametrize("jogs", [False, True])
def test_a_knife_swivels_at_true_corners_only(jogs: bool) -> None:
    pattern = drawn(bowed(0.03, jogs=jogs)[0])
    turns = np.abs(np.degrees(tangent_turns(pattern.outline)))
    assert int((turns > 5.0).sum()) == 4
    assert int((turns > 0.5).sum()) == 4
    corners = pattern.outline.points_mm[turns > 5.0]
    wanted = np.array([(0.0, 0.0), (SIDE, 0.0), (SIDE, SIDE), (0.0, SIDE)])
    away = np.hypot(*(corners[:, None] - wanted[None]).transpose(2, 0, 1)).min(axis=0)
    assert away.max() < 0.001


def test_straight_edges_stay_straight() -> None:
    pattern = drawn(polygon_edges([(0.0, 0.0), (300.0, 20.0), (280.0, 200.0), (10.0, 190.0)]))
    np.testing.assert_array_equal(pattern.outline.bulges, np.zeros(4))


def test_a_step_of_a_millimetre_is_kept() -> None:
    """Two true corners close together are no jog of noise."""
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 1.0), (200.0, 1.0), (200.0, 100.0), (0.0, 100.0)]
    pattern = drawn(polygon_edges(corners))
    assert len(pattern.outline.bulges) == 6


def test_the_middle_of_a_chord_may_be_off_by_its_sagitta() -> None:
    """c² / 8 r on a circle of radius r (geometry of a circular segment, to second order)."""
    angle = np.linspace(0.0, 2.0, 41)
    points = 100.0 * np.column_stack((np.cos(angle), np.sin(angle)))
    every, allowance = _with_middles(points)
    np.testing.assert_array_equal(every[::2], points)
    np.testing.assert_array_equal(allowance[::2], 0.0)
    assert allowance[9:-8:2] == pytest.approx(5.0**2 / 800.0, rel=0.02)
    assert _with_middles(np.column_stack((angle, angle)))[1] == pytest.approx(0.0, abs=1e-12)


def test_of_two_vertices_at_one_place_the_corner_is_kept() -> None:
    points = np.array([(0.0, 0.0), (0.01, 0.0), (5.0, 0.0), (5.01, 0.0), (9.0, 3.0)])
    corner = np.array([True, False, False, True, False])
    assert _apart(points, corner, 0.02).tolist() == [0, 3, 4]
    assert _apart(points, np.ones(5, dtype=bool), 0.02).tolist() == [0, 1, 2, 3, 4]
