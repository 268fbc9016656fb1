"""Whatever rectangle, wherever it is put: what holds for every laying."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, box

from film.shapes import film_of, graph, level, wave
from layflat.fit.lay import lay
from layflat.fit.lay_anchor import Anchor
from layflat.fit.lay_energy import Balance
from layflat.fit.lay_start import Placement

FILM = film_of()
BENT = graph(wave, width=600, depth=300, across=41, along=13)
PLANE = graph(level, width=400, depth=300, across=17, along=13)
SIZES = st.tuples(st.floats(60, 220), st.floats(60, 140))
few = settings(max_examples=12, deadline=None)


@few
@given(SIZES, st.floats(-40, 40), st.floats(-20, 20), st.floats(-25, 25))
def test_on_what_unrolls_every_rectangle_lies_unstrained(
    size: tuple[float, float], x: float, y: float, turn_deg: float
) -> None:
    piece = box(-size[0] / 2, -size[1] / 2, size[0] / 2, size[1] / 2)
    turn = np.radians(turn_deg)
    start = Placement([0, 0], [np.cos(turn), np.sin(turn)], [x, y, 40 * np.sin(x / 200)], [1, 0, 0])
    laid = lay(piece, BENT, FILM, start=start)
    assert laid.converged
    assert laid.flat.strain.greatest.max() < 1.0 + 5e-4
    assert laid.flat.strain.least.min() > 1.0 - 5e-4
    # Area is kept, and film lies on the surface: its facets are the only thing between.
    assert np.isclose(laid.flat.mesh.area_mm2, piece.area, rtol=1e-3)


@few
@given(
    st.floats(0.97, 1.04),
    st.floats(-0.02, 0.02),
    st.floats(0.97, 1.04),
    st.floats(-60, 60),
    st.floats(-50, 50),
)
def test_four_held_points_carry_the_film_between_them_along(
    a: float, b: float, d: float, x: float, y: float
) -> None:
    bend, shift = np.array([[a, b], [b, d]]), np.array([x, y])
    piece = box(-60, -60, 60, 60)
    corners = np.array([(-55, -55), (55, -55), (55, 55), (-55, 55)], float)
    anchors = [Anchor(p, np.append(bend @ p + shift, 0.0)) for p in corners]
    laid = lay(piece, PLANE, FILM, anchors=anchors, spacing_mm=20.0, balance=Balance.FILM)
    for anchor in anchors:
        off = np.linalg.norm(laid.flat.points_mm - anchor.flat_mm, axis=1)
        at = laid.flat.mesh.vertices_mm[int(np.argmin(off))]
        assert np.allclose(at, anchor.surface_mm, atol=1e-6)
    # What holds a film at rest pulls as much one way as the other.
    assert np.abs(laid.pulls_n.sum(axis=0)).max() < 1e-2 * max(np.abs(laid.pulls_n).max(), 1e-3)


@few
@given(SIZES, st.floats(1.005, 1.05))
def test_a_larger_piece_stores_no_less_between_the_same_holds(
    size: tuple[float, float], larger: float
) -> None:
    piece = box(-size[0] / 2, -size[1] / 2, size[0] / 2, size[1] / 2)
    ends = np.array([(-0.45 * size[0], 0.0), (0.45 * size[0], 0.0)])
    stored = []
    for factor in (1.0, larger, larger**2):
        held = [Anchor(p, np.append(factor * p, 0.0)) for p in ends]
        stored.append(lay(piece, PLANE, FILM, anchors=held, spacing_mm=20.0).energy_mj)
    assert stored[0] <= stored[1] <= stored[2]
    assert stored[0] < 1e-6
    assert affinity.scale(piece, larger, larger).area > piece.area
