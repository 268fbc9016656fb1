"""What is seen of a panel, and where it is creased."""

import numpy as np
import pytest

from film.shapes import graph, level, sheet, wave
from layflat.base import FloatArray, SettingError
from layflat.fit.seen import Sight, creases, visibility
from layflat.surface import Edge, EdgeKind, Loop, Mesh, Region, boundary_loops, whole_region


def facing(normal: tuple[float, float, float], *, kind: EdgeKind = EdgeKind.OPEN) -> Region:
    """A flat plate of 200 × 200 mm that faces along *normal*, its edge of one *kind*."""
    n = np.asarray(normal) / np.linalg.norm(normal)
    other = np.array([0.0, 1.0, 0.0]) if abs(n[1]) < 0.9 else np.array([1.0, 0.0, 0.0])
    a = np.cross(other, n) / np.linalg.norm(np.cross(other, n))
    plate = graph(level, width=200, depth=200, across=41, along=41).vertices_mm
    mesh = Mesh(
        plate @ np.stack((a, np.cross(n, a), n)),
        graph(level, width=200, depth=200, across=41, along=41).faces,
    )
    (ring,) = boundary_loops(mesh.faces)
    edge = Edge(kind, mesh.vertices_mm[ring[:1]], "rim")
    return Region(mesh, (Loop(ring, np.zeros(len(ring), np.int64), (edge,)),))


def middle(region: Region, values: FloatArray) -> float:
    return float(values[np.argmin(np.linalg.norm(region.mesh.vertices_mm, axis=1))])


def lifted(region: Region, height_mm: float) -> Region:
    points = region.mesh.vertices_mm + np.array([0.0, 0.0, height_mm])
    return Region(Mesh(points, region.mesh.faces), region.loops)


def test_an_upright_side_is_in_full_sight_and_the_underside_is_not() -> None:
    seen = {
        n: middle(r, visibility(r))
        for n in [(0, 1, 0), (0, 1, -0.2), (0, 0.3, -1)]
        for r in [facing(n)]
    }
    assert seen[0, 1, 0] == pytest.approx(1.0)
    assert Sight().under < seen[0, 1, -0.2] < 1.0
    assert seen[0, 0.3, -1] == pytest.approx(Sight().under)


def test_a_roof_above_the_eyes_is_less_seen_than_a_hood() -> None:
    ground = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]]))
    roof, hood = lifted(facing((0, 0, 1)), 1700.0), lifted(facing((0, 0, 1)), 900.0)
    at = np.argmin(np.linalg.norm(hood.mesh.vertices_mm[:, :2], axis=1))
    assert visibility(hood, body=ground)[at] == pytest.approx(1.0)
    assert visibility(roof, body=ground)[at] == pytest.approx(Sight().level_above_eyes)
    assert visibility(roof)[at] == pytest.approx(1.0)


def test_what_faces_back_is_seen_a_little_less() -> None:
    back = facing((-1, 0, 0))
    assert middle(back, visibility(back)) == pytest.approx(Sight().backward)
    assert middle(back, visibility(back, forward=(-1.0, 0.0, 0.0))) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("kind", "hidden"),
    [(EdgeKind.GAP, True), (EdgeKind.TRIM, True), (EdgeKind.OPEN, False), (EdgeKind.INNER, False)],
)
def test_gaps_and_trim_hide_what_is_next_to_them(kind: EdgeKind, hidden: bool) -> None:
    plate = facing((0, 1, 0), kind=kind)
    seen = visibility(plate)
    rim = plate.loops[0].vertices
    assert (seen[rim] == 0.0).all() if hidden else (seen[rim] == 1.0).all()
    assert middle(plate, seen) == pytest.approx(1.0)
    # 5 mm inside, on the first row of vertices: half of the way from hidden to clear.
    first = np.isclose(np.abs(plate.mesh.vertices_mm).max(axis=1), 95.0)
    assert first.sum() > 100
    assert np.allclose(seen[first], 0.5 if hidden else 1.0)


@pytest.mark.parametrize("radius", [10.0, 20.0, 40.0])
def test_the_bending_of_a_cylinder_is_exact(radius: float) -> None:
    """A cylinder of radius r bends by 1/r across its axis: that is the definition."""
    angle = np.linspace(0.0, 2.0, int(2.0 * radius / 1.5))
    across = np.linspace(0.0, 60.0, 31)
    a, y = np.meshgrid(angle, across, indexing="ij")
    mesh = sheet(np.stack((radius * np.sin(a), y, radius * np.cos(a)), axis=-1))
    found = creases(mesh, radius_mm=10.0, window_mm=4.0)
    inside = (mesh.vertices_mm[:, 1] > 10) & (mesh.vertices_mm[:, 1] < 50)
    turned = np.arctan2(mesh.vertices_mm[:, 0], mesh.vertices_mm[:, 2])
    inside &= (turned > 0.7) & (turned < 1.3)
    assert found[inside] == pytest.approx((10.0 / radius - 0.1) / 0.9, rel=0.05)


def folded(turn_deg: float, *, noise_mm: float = 0.0) -> Mesh:
    """Two plates that meet along y at x = 0, with a scan's noise."""
    slope = np.tan(np.radians(0.5 * turn_deg))
    mesh = graph(lambda x, y: -slope * np.abs(x) + 0 * y, width=120, depth=100, across=31, along=26)
    noise = np.random.default_rng(3).normal(size=len(mesh.vertices_mm)) * noise_mm
    return Mesh(mesh.vertices_mm + noise[:, None] * [0.0, 0.0, 1.0], mesh.faces)


def test_a_fold_is_a_crease_also_in_a_scan_and_a_swept_side_is_none() -> None:
    for noise in (0.0, 0.05):
        mesh = folded(60.0, noise_mm=noise)
        found = creases(mesh)
        x = np.abs(mesh.vertices_mm[:, 0])
        inside = np.abs(mesh.vertices_mm[:, 1]) < 40
        assert found[inside & (x < 1)].min() > 0.6
        assert found[inside & (x > 15) & (x < 50)].max() < (0.01 if noise == 0.0 else 0.25)
    assert creases(graph(wave, width=300, depth=100, across=61, along=21)).max() == 0.0


def test_crease_and_sight_do_not_depend_on_where_the_mesh_lies() -> None:
    mesh = folded(40.0)
    turned, _ = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))
    turned *= np.sign(np.linalg.det(turned))
    other = Mesh(mesh.vertices_mm @ turned.T + 300.0, mesh.faces)
    assert creases(other) == pytest.approx(creases(mesh), abs=1e-9)
    one, two = whole_region(mesh), whole_region(other)
    up, ahead = turned @ [0.0, 0.0, 1.0], turned @ [1.0, 0.0, 0.0]
    assert visibility(two, up=tuple(up), forward=tuple(ahead)) == pytest.approx(visibility(one))


@pytest.mark.parametrize(
    "wrong",
    [{"under": 1.2}, {"hidden_mm": 9.0}, {"level_low_mm": 1700.0}, {"under_deg": 0.0}],
)
def test_figures_without_sense_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(SettingError):
        Sight(**wrong)
    with pytest.raises(SettingError):
        creases(folded(10.0), radius_mm=0.0)
