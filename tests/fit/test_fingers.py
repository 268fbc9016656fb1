from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, MultiLineString, distance, points

from film.shapes import cap, film_of, graph, level, moved, wave
from layflat.base import FloatArray, SettingError
from layflat.film import Flat, flatten, strain_of
from layflat.fit.fingers import (
    SPECK_MM2,
    FingerZone,
    compression,
    edge_distance_mm,
    find_fingers,
    finger_sentence,
    finger_sentences,
    finger_zones,
)
from layflat.surface import Mesh, boundary_loops

RADIUS = 1000.0
RINGS = 20


def laid(mesh: Mesh, points: FloatArray, *, poisson_ratio: float = 0.45) -> Flat:
    """The piece of these flat *points*, held as *mesh* says, in balance or not."""
    return Flat(
        mesh=mesh,
        points_mm=points,
        film=film_of(poisson_ratio=poisson_ratio),
        finger_aversion=1.0,
        energy_mj=0.0,
        strain=strain_of(mesh, points),
        steps=0,
        converged=True,
    )


def held_flat(
    flat_mesh: Mesh, x: FloatArray, y: FloatArray, *, poisson_ratio: float = 0.45
) -> Flat:
    """A flat piece whose vertices are held at (*x*, *y*, 0)."""
    mesh = Mesh(np.column_stack((x, y, 0 * x)), flat_mesh.faces)
    return laid(mesh, flat_mesh.vertices_mm[:, :2], poisson_ratio=poisson_ratio)


def two_dents(*, across: int = 61, along: int = 41) -> Flat:
    """A rectangle pressed together along its upper edge and, less, at a place inside."""
    sheet = graph(level, width=300, depth=200, across=across, along=along)
    x, y = sheet.vertices_mm[:, 0], sheet.vertices_mm[:, 1]
    at_edge = np.exp(-(((x - 80) / 30) ** 2) - ((100 - y) / 40) ** 2)
    inside = np.exp(-(((x + 70) / 20) ** 2) - ((y + 10) / 30) ** 2)
    pressed = -0.07 * (x - 80) * at_edge - 0.05 * (x + 70) * inside
    return held_flat(sheet, x + pressed, y)


def facts(zone: FingerZone) -> tuple[float, ...]:
    """What does not depend on where the piece lies, nor on how it is numbered."""
    return (
        zone.depth_mm,
        zone.width_mm,
        zone.excess_mm,
        zone.greatest,
        float(zone.ends_at_edge),
        zone.area_mm2,
    )


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.3, 0.45])
@pytest.mark.parametrize(("slope", "limit"), [(0.15, 0.0), (0.2, 0.002), (0.3, 0.004)])
def test_the_disc_on_a_sphere_fingers_where_the_closed_form_says(
    slope: float, limit: float, poisson_ratio: float
) -> None:
    """The closed form: hoop stress E (a² - 3 r²) / 16 R².

    C. Majidi, R. S. Fearing, Proc. R. Soc. A 464 (2008) 1309-1317, derived anew. It is less than
    E ln(1 - limit) outside r² = (a² - 16 R² ln(1 - limit)) / 3. At the rim a² / 8 R² is pressed;
    what is more than the limit, round the whole rim, is too much.
    """
    flat = flatten(cap(RINGS, angle=slope, radius=RADIUS), film_of(poisson_ratio=poisson_ratio))
    (zone,) = finger_zones(flat, limit=limit)
    a = float(np.linalg.norm(flat.points_mm, axis=1).max())
    bears = -np.log1p(-limit)
    inner = np.sqrt((a**2 + 16 * RADIUS**2 * bears) / 3)
    edge = (a / RADIUS) ** 2 / 8
    assert zone.depth_mm == pytest.approx(a - inner, abs=0.65 * a / RINGS)
    assert zone.excess_mm == pytest.approx(2 * np.pi * a * (edge - bears), abs=0.1 * a * edge)
    assert zone.width_mm == pytest.approx(2 * np.pi * RADIUS * np.sin(slope), rel=0.01)
    assert zone.greatest == pytest.approx(1 - np.exp(-edge), rel=0.02)
    assert zone.ends_at_edge
    # Fingers run along the meridians, outwards.
    outwards = zone.centre_mm * [1.0, 1.0, 0.0] / np.linalg.norm(zone.centre_mm[:2])
    assert zone.direction_mm @ outwards > 0.98 * np.cos(slope)
    assert np.linalg.norm(zone.direction_mm) == pytest.approx(1.0)


def test_a_limit_that_the_disc_never_reaches_leaves_no_zone() -> None:
    flat = flatten(cap(RINGS, angle=0.2, radius=RADIUS), film_of())
    assert finger_zones(flat, limit=0.0052) == ()
    assert finger_zones(flat, limit=0.0048) != ()


def test_the_film_s_own_limit_is_taken_unless_told() -> None:
    flat = flatten(cap(RINGS, angle=0.2, radius=RADIUS), film_of())
    with_own = replace(flat, film=replace(flat.film, finger_limit=0.002))
    assert find_fingers(with_own).limit == 0.002
    assert [facts(z) for z in finger_zones(with_own)] == [
        facts(z) for z in finger_zones(flat, limit=0.002)
    ]


@pytest.mark.parametrize("height", [level, wave])
def test_none_on_what_unrolls(height: object) -> None:
    flat = flatten(graph(height, width=400, depth=300, across=25, along=20), film_of())
    assert find_fingers(flat, limit=1e-3).zones == ()
    assert find_fingers(flat, limit=1e-3).specks == 0


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.45])
def test_film_pressed_along_one_line(poisson_ratio: float) -> None:
    """Patch test: 3 % shorter along x, free to widen: every figure by hand."""
    sheet = graph(level, width=240, depth=100, across=25, along=11)
    x, y = sheet.vertices_mm[:, 0], sheet.vertices_mm[:, 1]
    flat = held_flat(sheet, 0.97 * x, 0.97**-poisson_ratio * y, poisson_ratio=poisson_ratio)
    assert np.allclose(compression(flat), 0.03, rtol=0, atol=1e-12)
    assert finger_zones(flat, limit=0.03 + 1e-9) == ()
    (zone,) = finger_zones(flat, limit=0.01)
    assert np.array_equal(zone.faces, np.arange(len(sheet.faces)))
    assert zone.width_mm == pytest.approx(0.97 * 240, rel=1e-9)
    # 240 mm of film lie there; a length of 0.97 · 240 mm takes 0.97 · 240 / 0.99 mm of it.
    assert zone.excess_mm == pytest.approx(240 * (1 - 0.97 / 0.99), rel=1e-9)
    assert zone.greatest == pytest.approx(0.03, rel=1e-9)
    assert np.allclose(np.abs(zone.flat_direction), (0, 1), atol=1e-9)
    assert np.allclose(np.abs(zone.direction_mm), (0, 1, 0), atol=1e-9)
    assert zone.area_mm2 == pytest.approx(240 * 100 * 0.97 ** (1 - poisson_ratio), rel=1e-9)


def held_rows(low: float, high: float, *, hole: bool) -> Flat:
    """Rows 8 mm high on the liner, 8.4 mm on the car, 3 % too long from y = *low* to *high*."""
    sheet = graph(level, width=240, depth=96, across=25, along=13)
    corners = sheet.vertices_mm[sheet.faces]
    off = np.abs(corners - [[60.0, 0.0, 0.0]]).max(axis=1)
    inside = (off[:, 0] < 31) & (off[:, 1] < 17)
    used, faces = np.unique(sheet.faces[~(inside & hole)], return_inverse=True)
    x, y = sheet.vertices_mm[used, :2].T
    flat = Mesh(sheet.vertices_mm[used], faces.reshape(-1, 3))
    return held_flat(
        flat, np.where((y > low) & (y < high), 0.97 * x, x), 1.05 * y, poisson_ratio=0.0
    )


def test_the_depth_by_hand() -> None:
    """Six rows from the edge to the middle line, which two corners of a triangle lie on."""
    (zone,) = finger_zones(held_rows(-50.0, 50.0, hole=False), limit=0.01)
    assert zone.depth_mm == pytest.approx(8.4 * (6 - 1 / 3), abs=1e-3)


@pytest.mark.parametrize("hole", [False, True])
@pytest.mark.parametrize("rows", [(-50.0, -15.0), (-5.0, 5.0), (-50.0, 50.0)])
def test_the_depth_is_that_of_the_farthest_triangle_from_any_edge(
    rows: tuple[float, float], hole: bool
) -> None:
    """Shapely's distances to the boundary, on the car; the greatest mean of three corners."""
    flat = held_rows(*rows, hole=hole)
    mesh = flat.mesh
    rims = [LinearRing(mesh.vertices_mm[loop][:, :2]) for loop in boundary_loops(mesh.faces)]
    assert len(rims) == 1 + hole
    away = np.asarray(distance(points(mesh.vertices_mm[:, :2]), MultiLineString(rims)))
    zones = finger_zones(flat, limit=0.01)
    assert zones
    for zone in zones:
        by_hand = away[mesh.faces[zone.faces]].mean(axis=1).max()
        assert zone.depth_mm == pytest.approx(by_hand, abs=0.3)


def test_pull_across_lets_film_bear_more_or_less() -> None:
    """The stress decides, not the shortening: nu e1 of pull is taken off."""
    sheet = graph(level, width=240, depth=100, across=5, along=5)
    x, y = sheet.vertices_mm[:, 0], sheet.vertices_mm[:, 1]
    narrowing = held_flat(sheet, 1.05**-0.45 * x, 1.05 * y)
    assert np.abs(compression(narrowing)).max() < 1e-12
    assert narrowing.strain.least.max() < 0.98
    both = held_flat(sheet, 0.98 * x, 0.98 * y)
    assert np.allclose(compression(both), 1 - 0.98 ** (1 / (1 - 0.45)), atol=1e-12)


def test_zones_at_the_edge_and_inside() -> None:
    flat = two_dents()
    zones = finger_zones(flat)
    assert len(zones) == 2
    inside, edge = zones
    assert not inside.ends_at_edge
    assert edge.ends_at_edge
    assert inside.depth_mm > edge.depth_mm
    assert np.linalg.norm(edge.centre_mm - [80, 90, 0]) < 15
    assert np.linalg.norm(inside.centre_mm - [-70, -10, 0]) < 8
    # Fingers run along y in both; at the edge, out of the piece.
    assert edge.flat_direction[1] > 0.99
    assert edge.direction_mm[1] > 0.99
    assert abs(inside.flat_direction[1]) > 0.99
    # What the worst line has too much, by adding up along lines of equal y.
    for zone in zones:
        assert zone.excess_mm == pytest.approx(most_along_rows(flat, zone), rel=0.1)


def most_along_rows(flat: Flat, zone: FingerZone) -> float:
    """The greatest sum of excess film over a row of cells in the zone, from the areas of cells."""
    values = 1 / (1 - compression(flat)[zone.faces]) - 1 / (1 - flat.film.finger_limit)
    middles = flat.points_mm[flat.mesh.faces[zone.faces]].mean(axis=1)
    row = np.floor((middles[:, 1] + 100) / 5).astype(int)
    areas = flat.mesh.face_areas_mm2[zone.faces]
    return float(np.bincount(row, values * areas).max()) / 5


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_nothing_depends_on_pose_or_numbering(seed: int) -> None:
    flat = two_dents(across=41, along=27)
    plain = [facts(zone) for zone in finger_zones(flat)]
    random = np.random.default_rng(seed)
    turned = moved(flat.mesh, seed=seed)
    new_of = random.permutation(len(turned.vertices_mm))
    order = random.permutation(len(turned.faces))
    vertices = np.empty_like(turned.vertices_mm)
    vertices[new_of] = turned.vertices_mm
    angle = random.uniform(0, 2 * np.pi)
    turn = np.array(((np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))))
    points = np.empty_like(flat.points_mm)
    points[new_of] = flat.points_mm @ turn.T + random.normal(size=2) * 100
    faces = np.array([np.roll(f, random.integers(3)) for f in new_of[turned.faces][order]])
    other = finger_zones(laid(Mesh(vertices, faces), points))
    assert [facts(zone) for zone in other] == [pytest.approx(f, rel=1e-3) for f in plain]
    for zone, was in zip(other, finger_zones(flat), strict=True):
        assert np.array_equal(np.sort(order[zone.faces]), was.faces)
        assert np.allclose(zone.flat_direction, turn @ was.flat_direction, atol=1e-6)


def test_refinement_settles_every_figure() -> None:
    coarse, fine = (finger_zones(two_dents(across=n, along=k)) for n, k in ((46, 31), (91, 61)))
    for one, other in zip(coarse, fine, strict=True):
        assert one.depth_mm == pytest.approx(other.depth_mm, abs=0.5 * 200 / 30)
        assert one.width_mm == pytest.approx(other.width_mm, abs=2 * 300 / 45)
        assert one.excess_mm == pytest.approx(other.excess_mm, rel=0.06)
        assert one.greatest == pytest.approx(other.greatest, rel=0.12)


def test_specks_are_dropped_and_counted() -> None:
    sheet = graph(level, width=40, depth=40, across=21, along=21)
    x, y = sheet.vertices_mm[:, :2].T.copy()
    middle = int(np.argmin(np.hypot(x, y)))
    x[middle] += 0.4
    found = find_fingers(held_flat(sheet, x, y))
    assert found.zones == ()
    assert found.specks == 1
    assert 0 < found.specks_mm2 < SPECK_MM2
    (sentence,) = finger_sentences(found)
    assert sentence.startswith("1 speck of pressed film smaller than 25 mm²")


def test_distance_from_the_edge_counts_openings() -> None:
    mesh = graph(level, width=200, depth=200, across=41, along=41)
    keep = np.abs(mesh.vertices_mm[mesh.faces][:, :, :2]).max(axis=(1, 2)) > 20.1
    used, faces = np.unique(mesh.faces[keep], return_inverse=True)
    holed = Mesh(mesh.vertices_mm[used], faces.reshape(-1, 3))
    x, y = holed.vertices_mm[:, 0], holed.vertices_mm[:, 1]
    row = (y == 0) & (x >= 20)
    assert np.allclose(edge_distance_mm(holed)[row], np.minimum(100 - x, x - 20)[row], atol=0.5)


def test_a_zone_in_words() -> None:
    inside, edge = finger_zones(two_dents())
    assert finger_sentence(edge) == (
        f"Fingers: a zone {edge.width_mm:.0f} mm along the edge and {edge.depth_mm:.0f} mm deep; "
        f"{edge.excess_mm:.1f} mm too much film."
    )
    assert "inside the piece, as far as" in finger_sentence(inside)
    assert finger_sentences(find_fingers(two_dents())) == (
        finger_sentence(inside),
        finger_sentence(edge),
    )


@pytest.mark.parametrize("limit", [-0.01, 1.0, np.nan])
def test_a_limit_out_of_range_is_refused(limit: float) -> None:
    with pytest.raises(SettingError, match="finger limit is"):
        find_fingers(two_dents(), limit=limit)
