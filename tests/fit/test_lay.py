"""A given piece laid on a surface: patches, rigid motion, anchors, laws, bad input."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import Point, Polygon, affinity, box, transform

from film.shapes import car_like, film_of, graph, level, wave
from layflat.base import InputError, SettingError, StoppedError
from layflat.film import flatten
from layflat.fit.lay import lay
from layflat.fit.lay_anchor import Anchor
from layflat.fit.lay_chart import flat_loops
from layflat.fit.lay_energy import Balance
from layflat.fit.lay_start import Placement
from layflat.surface import Mesh
from layflat.surface.topology import compact

FILM = film_of()
PLANE = graph(level, width=400, depth=300, across=17, along=13)
CENTRED = Placement([0, 0], [1, 0], [0, 0, 0], [1, 0, 0])


def bent(across: int = 41) -> Mesh:
    return graph(wave, width=600, depth=300, across=across, along=13)


def pattern_of(mesh: Mesh, **options: float) -> Polygon:
    loops = flat_loops(flatten(mesh, FILM, **options))
    return Polygon(loops[0], loops[1:])


def test_patch_of_affine_stretch_comes_back_exactly() -> None:
    # The membrane patch test (B. M. Irons, A. Razzaque, 1972, from memory): with its whole edge
    # held at an affine image, film between must follow the same map.
    piece = box(-50, -50, 50, 50)
    bend = np.array([[1.03, 0.02], [-0.01, 0.98]])
    side = np.linspace(-50.0, 50.0, 6)
    edge = np.concatenate([[(t, -50), (50, t), (-t, 50), (-50, -t)] for t in side[:-1]])
    anchors = [Anchor(p, np.append(bend @ p, 0.0)) for p in edge]
    laid = lay(piece, PLANE, FILM, anchors=anchors, spacing_mm=20.0, balance=Balance.FILM)
    stretches = np.linalg.svd(bend, compute_uv=False)
    assert laid.converged
    assert laid.flat.strain.greatest == pytest.approx(stretches[0], abs=1e-5)
    assert laid.flat.strain.least == pytest.approx(stretches[1], abs=1e-5)


@pytest.mark.parametrize("law", ["plain", "relaxed"])
@pytest.mark.parametrize("balance", list(Balance))
def test_a_developable_surface_asks_nothing(law: str, balance: Balance) -> None:
    laid = lay(box(-150, -80, 150, 80), bent(), FILM, start=CENTRED, law=law, balance=balance)
    assert laid.converged
    assert laid.flat.strain.greatest.max() < 1.0 + 2e-4
    assert laid.flat.strain.least.min() > 1.0 - 2e-4
    # The edges land by arc length along x = t of z = 40 sin(x / 200).
    x = np.linspace(0.0, 200.0, 20001)
    arc = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x), 40 * np.diff(np.sin(x / 200))))))
    edge = laid.off_edge_mm.points_mm
    assert np.abs(edge[:, 0]).max() == pytest.approx(np.interp(150.0, arc, x), abs=0.1)


def test_a_pattern_comes_back_to_its_panel_on_another_mesh() -> None:
    laid = lay(pattern_of(car_like(110, 86)), car_like(96, 78), FILM)
    assert laid.converged
    assert laid.notes == ()
    assert laid.off_edge_mm.greatest_mm < 0.2
    assert laid.off_edge_mm.mean_mm < 0.05


def test_a_pattern_with_an_aversion_comes_back_under_that_aversion_alone() -> None:
    mesh = car_like(60, 48)
    piece = pattern_of(mesh, finger_aversion=8.0)
    with_it, without = (lay(piece, mesh, FILM, finger_aversion=a) for a in (8.0, 1.0))
    assert with_it.off_edge_mm.mean_mm < 0.25
    assert without.off_edge_mm.mean_mm > 5.0


def test_a_piece_too_large_does_not_come_back() -> None:
    mesh = car_like()
    laid = lay(affinity.scale(pattern_of(mesh), 1.01, 1.01), mesh, FILM)
    assert laid.off_edge_mm.greatest_mm > 4.0
    assert any("hang beyond" in note for note in laid.notes)
    assert laid.hanging_mm2 > 1000.0


def test_motion_of_the_surface_moves_the_result_along() -> None:
    turn = np.array([[0.36, 0.48, -0.8], [-0.8, 0.6, 0.0], [0.48, 0.64, 0.6]])
    shift = np.array([100.0, -2000.0, 300.0])
    mesh, piece = car_like(), box(-500, -400, 500, 400)
    there = Mesh(mesh.vertices_mm @ turn.T + shift, mesh.faces)
    middle = mesh.vertices_mm[len(mesh.vertices_mm) // 2]
    moved = Placement([0, 0], [1, 0], turn @ middle + shift, turn @ [1.0, 0.0, 0.0])
    here = lay(piece, mesh, FILM, start=Placement([0, 0], [1, 0], middle, [1, 0, 0]))
    gone = lay(piece, there, FILM, start=moved)
    assert gone.energy_mj == pytest.approx(here.energy_mj, rel=1e-4)
    expected = here.flat.mesh.vertices_mm @ turn.T + shift
    assert np.abs(gone.flat.mesh.vertices_mm - expected).max() < 0.05


def test_anchors_are_held_where_they_belong_and_say_their_pull() -> None:
    pulled = [Anchor([-50, 0], [-50, 0, 0]), Anchor([50, 0], [55, 0, 0], name="right")]
    laid = lay(box(-100, -50, 100, 50), PLANE, FILM, anchors=pulled)
    for anchor, point in zip(pulled, laid.flat.mesh.vertices_mm, strict=False):
        assert point == pytest.approx(anchor.surface_mm, abs=1e-9)
    # Both anchors pull alike, each away from the other.
    assert laid.pulls_n[1] == pytest.approx(-laid.pulls_n[0], rel=5e-3, abs=1e-3)
    assert laid.pulls_n[1][0] > 0.1


def test_anchors_that_would_fold_the_film_come_as_near_as_they_can() -> None:
    flat = [(-60.0, -40.0), (60.0, -40.0), (0.0, 40.0), (0.0, 0.0)]
    crossed = [Anchor(p, (*p, 0.0)) for p in flat[:3]] + [Anchor(flat[3], (0.0, -90.0, 0.0))]
    laid = lay(box(-100, -50, 100, 50), PLANE, FILM, anchors=crossed, spacing_mm=20.0)
    assert np.isfinite(laid.energy_mj)
    assert any("could be brought only to" in note for note in laid.notes)


def test_film_that_cannot_push_stores_less() -> None:
    mesh, piece = car_like(), box(-500, -400, 500, 400)
    plain, slack = (lay(piece, mesh, FILM, law=law) for law in ("plain", "relaxed"))
    assert slack.energy_mj < 0.8 * plain.energy_mj
    assert slack.flat.strain.least.min() < plain.flat.strain.least.min()


def test_a_hole_is_kept_and_an_opening_is_spanned() -> None:
    holed = lay(box(-100, -80, 100, 80) - Point(0, 0).buffer(30), PLANE, FILM, start=CENTRED)
    assert len(holed.loops) == 2
    area = holed.flat.mesh.area_mm2
    assert area == pytest.approx(200 * 160 - np.pi * 900, rel=2e-3)
    middles = PLANE.vertices_mm[PLANE.faces].mean(axis=1)
    faces, used = compact(PLANE.faces[np.abs(middles[:, :2]).max(axis=1) > 50])
    opening = Mesh(PLANE.vertices_mm[used], faces)
    beside = Placement([-75, 0], [1, 0], [-75, 0, 0], [1, 0, 0])
    spanned = lay(box(-100, -80, 100, 80), opening, FILM, start=beside)
    assert spanned.hanging_mm2 == pytest.approx(1e4, rel=0.1)
    assert spanned.flat.strain.greatest.max() == pytest.approx(1.0, abs=1e-6)


def test_it_can_be_watched_and_stopped() -> None:
    told: list[float] = []

    def until_half(step: str, fraction: float) -> None:
        told.append(fraction)
        if fraction > 0.56:
            raise StoppedError("enough")

    with pytest.raises(StoppedError, match="enough"):
        lay(box(-500, -400, 500, 400), car_like(), FILM, progress=until_half)
    assert told[0] == 0.0
    assert len(told) > 5


def test_too_few_steps_are_said() -> None:
    laid = lay(box(-500, -400, 500, 400), car_like(), FILM, max_steps=1)
    assert not laid.converged
    assert any("not come to rest" in note for note in laid.notes)


SQUARE = box(-50, -50, 50, 50)


@pytest.mark.parametrize(
    ("piece", "options", "said"),
    [
        (SQUARE, {"anchors": [Anchor([70, 0], [0, 0, 0])]}, "Anchor 1 lies 20.0 mm off the piece"),
        (
            SQUARE,
            {"anchors": [Anchor([0, 0], [0, 0, 30], name="nose")]},
            "“nose” lies 30.0 mm off the surface",
        ),
        (SQUARE, {"anchors": [Anchor([np.nan, 0], [0, 0, 0])]}, "not at finite numbers"),
        (
            SQUARE,
            {"anchors": [Anchor([0, 0], [0, 0, 0]), Anchor([0, 0], [9, 0, 0])]},
            "Anchor 1 and Anchor 2 share a point of the piece",
        ),
        (box(-2000, -2000, 2000, 2000), {}, "would hang beyond the surface"),
        (transform(SQUARE, lambda points: points * [np.inf, 1.0]), {}, "not a finite number"),
        (Polygon([(0, 0), (50, 50), (50, 0), (0, 50)]), {}, "crosses or touches itself"),
        (Polygon(), {}, "no film to lay"),
        (SQUARE, {"spacing_mm": 0.001}, "Take a larger spacing"),
        (SQUARE, {"outline": []}, "has no loop"),
    ],
)
def test_what_cannot_be_laid_is_said(piece: Polygon, options: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        lay(piece, PLANE, FILM, **options)


@pytest.mark.parametrize(
    "options",
    [
        {"law": "odd"},
        {"finger_aversion": 0.5},
        {"finger_aversion": 2.0, "law": "relaxed"},
        {"spacing_mm": -1.0},
        {"max_steps": -1},
    ],
)
def test_settings_out_of_range_are_refused(options: dict) -> None:
    with pytest.raises(SettingError):
        lay(SQUARE, PLANE, FILM, **options)


def test_a_film_out_of_physics_is_refused() -> None:
    with pytest.raises(SettingError, match="Poisson ratio"):
        lay(SQUARE, PLANE, replace(FILM, poisson_ratio=0.5))
