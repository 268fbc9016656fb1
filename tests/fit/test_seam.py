"""Proposed seams: where one piece asks too much, where they show least, never twice refused."""

from dataclasses import replace

import numpy as np
import pytest

from film.shapes import Height, cap, car_like, film_of, graph, level, ring, sheet, wave
from layflat.base import InputError, MeshError, SettingError, StoppedError
from layflat.film import Flat, flatten
from layflat.fit import SeamRates, Seams, propose_seams, split_region, split_regions
from layflat.fit.relief_score import beyond_limits_mm2
from layflat.fit.seam_outcome import seam_lines
from layflat.fit.seam_paths import seam_paths, smoothed
from layflat.surface import Mesh, Region, whole_region

FILM = replace(film_of(), wrap_finger_limit=0.02)
ROLL_MM = 1524.0


def laid(region: Region) -> Flat:
    return flatten(region.mesh, FILM)


def worst(*flats: Flat) -> float:
    """The greatest log strain of the pieces but for the last hundredth of their area."""
    strain = np.concatenate([np.abs(np.log(flat.strain.greatest)) for flat in flats])
    area = np.concatenate([flat.mesh.face_areas_mm2 for flat in flats])
    order = np.argsort(strain)
    return float(strain[order][np.searchsorted(np.cumsum(area[order]), 0.99 * area.sum())])


def shell(*, radius: float = 120.0, deep: float = 60.0, turn: float = 1.8) -> Mesh:
    """A flat ring sector with a wall down from its outer arc: two faces that unroll by themselves.

    Along the crease the lid's edge has the geodesic curvature 1/radius, the wall's has none.
    """
    angle = np.linspace(-turn / 2, turn / 2, 31)
    across = np.linspace(-deep, deep, 17)
    away = radius + np.minimum(across, 0.0)
    down = -np.maximum(across, 0.0)
    rows = np.stack(
        (
            np.outer(np.cos(angle), away),
            np.outer(np.sin(angle), away),
            np.broadcast_to(down, (len(angle), len(across))),
        ),
        axis=-1,
    )
    return sheet(rows[::-1])


def bent(start_deg: float, *, radius: float = 200.0) -> Mesh:
    """A sheet bent by 150° round an axis along y, from this angle to the upright; it unrolls."""
    turn = np.radians([start_deg, start_deg + 150.0])
    angle, y = np.meshgrid(np.linspace(*turn, 25), np.linspace(-350, 350, 25), indexing="ij")
    return sheet(np.stack((radius * np.sin(angle), y, radius * np.cos(angle)), axis=-1))


@pytest.fixture(scope="module")
def cup() -> Region:
    return whole_region(cap(12, angle=0.9, radius=90.0))


@pytest.fixture(scope="module")
def cup_flat(cup: Region) -> Flat:
    return laid(cup)


@pytest.fixture(scope="module")
def found(cup: Region, cup_flat: Flat) -> Seams:
    return propose_seams(cup, cup_flat, roll_mm=ROLL_MM)


@pytest.mark.parametrize("height", [level, wave, lambda x, y: 0.6 * np.abs(x) + 0 * y])
def test_what_unrolls_is_covered_with_one_piece(height: Height) -> None:
    mesh = graph(height, width=600, depth=400, across=25, along=17)
    region = whole_region(mesh, corner_degrees=60)
    none = propose_seams(region, laid(region), roll_mm=ROLL_MM)
    assert not none.needed
    assert none.options == ()
    (sentence,) = none.sentences
    assert sentence.startswith("One piece will do: ")
    assert none.whole.seam_mm == 0.0


def test_a_seam_along_the_crease_takes_the_strain_of_a_corner_away() -> None:
    region = whole_region(shell())
    flat = laid(region)
    angle = np.linspace(-0.9, 0.9, 31)
    crease = np.stack((120 * np.cos(angle), 120 * np.sin(angle), 0 * angle), axis=1)
    parts = split_region(region, crease, overlap_mm=0.0)
    flats = [laid(part) for part in parts]
    assert worst(flat) > 0.1
    assert worst(*flats) < 1e-3
    assert sum(f.energy_mj for f in flats) < 1e-4 * flat.energy_mj
    two = propose_seams(region, flat, roll_mm=ROLL_MM)
    assert two.needed
    best = two.options[0]
    assert best.hidden_by == "crease"
    off = np.abs(np.hypot(best.paths_mm[0][:, 0], best.paths_mm[0][:, 1]) - 120.0)
    assert off.max() < 1.0
    assert np.abs(best.paths_mm[0][:, 2]).max() < 1.0
    # What is left is the overlap's: it reaches 3 mm round the crease.
    assert best.outcome.judged.energy_mj < 0.05 * two.whole.judged.energy_mj


def test_half_the_width_of_a_strip_of_a_sphere_is_a_quarter_of_the_strain() -> None:
    # b²/6R² in the middle of a strip of half width b, b²/3R² at its edges: see “Reliefs” in
    # docs/theory-fit.md. By Gauss, what a strip has to bear goes with its curvature and b².
    angle, up = np.meshgrid(np.linspace(-1.2, 1.2, 97), np.linspace(-0.2, 0.2, 33), indexing="ij")
    rows = 300 * np.stack((np.cos(up) * np.cos(angle), np.cos(up) * np.sin(angle), np.sin(up)), -1)
    region = whole_region(sheet(rows))
    turn = np.linspace(-1.2, 1.2, 25)
    path = 300 * np.stack((np.cos(turn), np.sin(turn), 0 * turn), axis=1)
    halves = [laid(part) for part in split_region(region, path, overlap_mm=0.0)]
    whole = laid(region)
    assert worst(whole) == pytest.approx(0.2**2 / 6, rel=0.01)
    assert worst(*halves) / worst(whole) == pytest.approx(0.25, abs=0.005)
    energy = sum(half.energy_mj for half in halves) / whole.energy_mj
    assert energy == pytest.approx(1 / 16, abs=0.015)


@pytest.mark.parametrize("start_deg", [0.0, -150.0])
def test_of_seams_that_gain_alike_the_hidden_one_is_the_first(start_deg: float) -> None:
    region = whole_region(bent(start_deg), corner_degrees=60)
    two = propose_seams(region, laid(region), roll_mm=450.0)
    assert two.needed
    assert not two.whole.fits_roll
    assert "wider than the roll" in two.sentences[0]
    best = two.options[0]
    assert best.outcome.fits_roll
    # It lies on the side that faces down; a seam in the middle would fit the roll as well.
    assert best.paths_mm[0][:, 2].max() < 200 * np.cos(np.radians(95))
    assert best.hidden_by == "out of sight"
    assert best.outcome.visible_seam_mm < 0.25 * best.outcome.seam_mm
    # The piece above lies on the other.
    heights = [part.mesh.vertices_mm[:, 2].mean() for part in best.regions]
    assert heights[0] > heights[1]


def test_a_deep_cup_gets_seams_that_help_and_each_is_laid_as_promised(
    found: Seams, cup: Region, cup_flat: Flat
) -> None:
    assert found.needed
    assert 1 <= len(found.options) <= 3
    for option in found.options:
        assert option.outcome.pieces == 2
        left = sum(beyond_limits_mm2(flat) for flat in option.flats)
        assert left < 0.75 * beyond_limits_mm2(cup_flat)
        assert 0.0 <= option.outcome.visible_seam_mm <= option.outcome.seam_mm + 1e-6
        again = [laid(part) for part in split_regions(cup, option.paths_mm)]
        energy = sum(flat.energy_mj for flat in again)
        assert energy == pytest.approx(option.outcome.judged.energy_mj, rel=1e-3)


def test_what_the_two_ways_cost_is_counted_alike(found: Seams, cup: Region) -> None:
    rates = SeamRates()
    for outcome in (found.whole, *(option.outcome for option in found.options)):
        film = outcome.film_mm2 / 1e6 * rates.film_per_m2
        assert outcome.cost == pytest.approx(film + outcome.minutes / 60 * rates.per_hour)
        assert outcome.film_mm2 > cup.mesh.area_mm2
        assert f"{outcome.minutes:.0f} minutes" in outcome.sentence
    assert found.whole.minutes < found.options[0].outcome.minutes


def test_what_was_refused_is_not_proposed_again(found: Seams, cup: Region, cup_flat: Flat) -> None:
    refused = [option.paths_mm[0][::-1] for option in found.options]
    other = propose_seams(cup, cup_flat, roll_mm=ROLL_MM, refused=refused)
    for option in other.options:
        ends = option.paths_mm[0][[0, -1]]
        for path in refused:
            both = path[[0, -1]]
            away = [np.linalg.norm(ends - turned, axis=1).max() for turned in (both, both[::-1])]
            assert min(away) >= 39.0


def test_a_seam_that_was_kept_is_used_exactly(cup: Region, cup_flat: Flat) -> None:
    rim = 90 * np.array([np.sin(0.9), 0.0, np.cos(0.9)])
    path = np.stack((rim * [1, 1, 1], [10.0, 5.0, 89.3], rim * [-1, 1, 1]))
    kept = propose_seams(cup, cup_flat, roll_mm=ROLL_MM, kept=[path])
    (only,) = kept.options
    assert np.array_equal(only.paths_mm[0], path)
    for mine, wanted in zip(only.regions, split_regions(cup, [path]), strict=True):
        assert np.array_equal(mine.mesh.vertices_mm, wanted.mesh.vertices_mm)
    assert "no others were sought" in kept.sentences[-1]
    with pytest.raises(MeshError, match="from edge to edge"):
        propose_seams(cup, cup_flat, roll_mm=ROLL_MM, kept=[path[:2]])


def test_both_ways_can_be_compared_where_one_will_do() -> None:
    region = whole_region(graph(level, width=600, depth=400, across=25, along=17))
    both = propose_seams(region, laid(region), roll_mm=ROLL_MM, even_if_not_needed=True)
    assert not both.needed
    assert both.options
    assert both.sentences[0].startswith("One piece will do")


def test_paths_keep_to_what_is_hidden(cup: Region, cup_flat: Flat) -> None:
    seen = np.ones(len(cup.mesh.vertices_mm))
    plain = seam_paths(cup, cup_flat, seen, aversion=5.0)
    assert len(plain) == 10
    assert all(path.cost_mm == pytest.approx(5.0 * path.length_mm) for path in plain)
    x = cup.mesh.vertices_mm[:, 0]
    hidden = np.where(np.abs(x - 12.0) < 14.0, 0.0, 1.0)
    ways = seam_paths(cup, cup_flat, hidden, aversion=50.0)
    assert min(way.cost_mm / way.length_mm for way in ways) < 15.0


def test_seams_keep_away_from_openings() -> None:
    region = whole_region(ring(lambda x, y: 0.002 * (x**2 + y**2), inner=25.0, outer=120.0))
    two = propose_seams(region, laid(region), roll_mm=ROLL_MM, even_if_not_needed=True)
    assert two.options
    for option in two.options:
        points = np.concatenate([part.mesh.vertices_mm for part in option.regions])
        assert {len(part.loops) for part in option.regions} == {1, 2}
        line = np.concatenate([line for _, line in seam_lines(option.regions[1])])
        assert np.hypot(*line[:, :2].T).min() > 25.0 + 7.0
        assert len(points) > len(region.mesh.vertices_mm)


def test_a_smoothed_path_keeps_its_ends_and_loses_its_zigzag() -> None:
    x = np.linspace(0.0, 100.0, 41)
    zigzag = np.stack((x, 3.0 * (np.arange(41) % 2), 0 * x), axis=1)
    line = smoothed(zigzag, step_mm=30.0)
    assert np.allclose(line[[0, -1]], zigzag[[0, -1]], atol=1e-9)
    assert np.ptp(line[1:-1, 1]) < 0.5
    straight = np.stack((x, 0 * x, 0 * x), axis=1)
    assert np.abs(smoothed(straight, step_mm=20.0)[:, 1:]).max() < 1e-9


def test_wherever_the_car_stands_the_seams_are_the_same() -> None:
    region = whole_region(car_like(20, 16))
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    mesh = Mesh(region.mesh.vertices_mm @ turn.T + [900.0, -40.0, 300.0], region.mesh.faces)
    other = Region(mesh, region.loops)
    here = propose_seams(region, laid(region), roll_mm=900.0)
    there = propose_seams(
        other,
        laid(other),
        roll_mm=900.0,
        up=tuple(turn[:, 2].tolist()),
        forward=tuple(turn[:, 0].tolist()),
    )
    assert here.options
    for one, two in zip(here.options, there.options, strict=True):
        moved_path = one.paths_mm[0] @ turn.T + [900.0, -40.0, 300.0]
        assert np.abs(moved_path - two.paths_mm[0]).max() < 0.01
        assert two.outcome.judged.energy_mj == pytest.approx(one.outcome.judged.energy_mj, rel=1e-3)
        assert two.outcome.cost == pytest.approx(one.outcome.cost, rel=1e-3)


def test_what_makes_no_sense_is_refused(cup: Region, cup_flat: Flat) -> None:
    with pytest.raises(SettingError, match=r"seams in sight is 0\.5; it must lie between 1 and"):
        propose_seams(cup, cup_flat, roll_mm=ROLL_MM, aversion=0.5)
    with pytest.raises(SettingError, match="more than 0"):
        propose_seams(cup, cup_flat, roll_mm=0.0)
    with pytest.raises(SettingError, match="“seam_m_min” is -1"):
        SeamRates(seam_m_min=-1.0)
    other = whole_region(graph(level, width=60, depth=40, across=4, along=4))
    with pytest.raises(InputError, match="do not belong"):
        propose_seams(other, cup_flat, roll_mm=ROLL_MM)


def test_it_can_be_stopped(cup: Region, cup_flat: Flat) -> None:
    def stop(step: str, fraction: float) -> None:
        if "trying" in step and fraction > 0.3:
            raise StoppedError

    with pytest.raises(StoppedError):
        propose_seams(cup, cup_flat, roll_mm=ROLL_MM, progress=stop)
