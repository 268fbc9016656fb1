"""What one piece, or several together, ask of the film."""

from dataclasses import replace

import numpy as np
import pytest

from film.shapes import cap, film_of, graph, level
from layflat.base import InputError
from layflat.film import Flat, flatten, strain_of, stretch_summary
from layflat.fit.fingers import compression, find_fingers
from layflat.fit.judged import judge
from layflat.surface import Mesh


@pytest.fixture(scope="module")
def dome() -> Flat:
    return flatten(cap(16, angle=0.5, radius=400.0), film_of())


@pytest.fixture(scope="module")
def plate() -> Flat:
    return flatten(graph(level, width=300, depth=200, across=16, along=11), film_of())


def test_one_piece_has_the_figures_of_its_own_reports(dome: Flat) -> None:
    """Against the summary of stretches and the finger zones, which have tests of their own."""
    found, summary, fingers = judge(dome), stretch_summary(dome), find_fingers(dome)
    assert found.greatest_stretch == summary.greatest_p99
    assert found.share_over_stretch_limit == summary.share_over_stretch_limit
    assert found.finger_zones == len(fingers.zones) == 1
    assert found.finger_excess_mm == pytest.approx(sum(z.excess_mm for z in fingers.zones))
    assert found.energy_mj == pytest.approx(dome.energy_mj)
    assert 0.9 * compression(dome).max() < found.greatest_compression <= compression(dome).max()
    assert not found.within_limits
    assert "fingers in 1 zone" in found.sentence


def test_what_lies_flat_is_within_limits(plate: Flat) -> None:
    found = judge(plate)
    assert found.within_limits
    assert found.greatest_stretch == pytest.approx(1.0, abs=1e-6)
    assert (found.finger_zones, found.finger_excess_mm) == (0, 0.0)
    assert found.greatest_compression == pytest.approx(0.0, abs=1e-6)
    assert found.sentence.endswith("no fingers.")


def test_several_pieces_are_judged_by_area(dome: Flat, plate: Flat) -> None:
    both, twice = judge(dome, plate), judge(dome, dome)
    alone = judge(dome)
    assert both.energy_mj == pytest.approx(alone.energy_mj + judge(plate).energy_mj)
    assert both.finger_excess_mm == pytest.approx(alone.finger_excess_mm)
    assert not both.within_limits
    assert twice.greatest_stretch == alone.greatest_stretch
    assert twice.greatest_compression == alone.greatest_compression
    assert twice.finger_zones == 2
    assert twice.share_over_stretch_limit == pytest.approx(alone.share_over_stretch_limit)


def test_stretch_alone_can_pass_the_limit() -> None:
    """By hand: a plate pulled by 6 % where 5 % is allowed."""
    sheet = graph(level, width=240, depth=100, across=9, along=5)
    x, y = sheet.vertices_mm[:, 0], sheet.vertices_mm[:, 1]
    pulled = Mesh(np.column_stack((1.06 * x, 1.06**-0.45 * y, 0 * x)), sheet.faces)
    points = sheet.vertices_mm[:, :2]
    flat = Flat(pulled, points, film_of(), 1.0, 0.0, strain_of(pulled, points), 0, True)
    found = judge(flat)
    assert found.greatest_stretch == pytest.approx(1.06)
    assert found.share_over_stretch_limit == pytest.approx(1.0)
    assert found.finger_zones == 0
    assert not found.within_limits
    assert "100 % of it beyond" in found.sentence
    stretchy = replace(flat, film=replace(flat.film, stretch_limit=0.07))
    assert judge(stretchy).within_limits


def test_nothing_to_judge_is_said(dome: Flat) -> None:
    with pytest.raises(InputError, match="no piece"):
        judge()
    with pytest.raises(InputError, match="do not belong"):
        judge(dome, fingers=())
