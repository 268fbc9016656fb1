import io

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, unary_union

from film.shapes import car_like, disc, film_of, level, ring, sheet
from layflat.base import FloatArray
from layflat.film import (
    Flat,
    Strain,
    StretchSummary,
    flat_obj,
    flatten,
    flatten_report,
    flatten_warnings,
    overlaps,
    strain_of,
    stretch_summary,
    to_flat,
    to_surface,
)
from layflat.film.sheet import sheet_loops
from layflat.surface import Mesh

FILM = film_of()


@pytest.fixture(scope="module")
def panel() -> Flat:
    return flatten(car_like(), FILM)


@pytest.fixture(scope="module")
def spiral() -> Flat:
    """A ramp of more than one turn: unrolled, its ends lie on top of each other."""
    angle = np.linspace(0, 2.4 * np.pi, 120)
    r = np.linspace(360, 300, 5)
    angles, radii = np.meshgrid(angle, r, indexing="ij")
    rows = np.stack((radii * np.cos(angles), radii * np.sin(angles), 5 * angles), axis=-1)
    return flatten(sheet(rows), FILM)


class TestStrain:
    @settings(max_examples=50, deadline=None, derandomize=True)
    @given(st.floats(0.5, 2.0), st.floats(0.5, 2.0), st.floats(0.0, np.pi), st.floats(0.0, np.pi))
    def test_known_stretches_along_known_directions(
        self, along: float, across: float, direction: float, turn: float
    ) -> None:
        """A flat sheet, deformed by hand: film stretched by *along* at *direction*."""
        mesh = disc(2, radius=50.0)
        way = np.array([np.cos(direction), np.sin(direction)])
        stretch = across * np.eye(2) + (along - across) * np.outer(way, way)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        surface = mesh.vertices_mm[:, :2] @ (rotation @ stretch).T
        laid = Mesh(np.column_stack((surface, np.zeros(len(surface)))), mesh.faces)
        strain = strain_of(laid, mesh.vertices_mm[:, :2])
        assert np.allclose(strain.greatest, max(along, across), rtol=1e-9)
        assert np.allclose(strain.least, min(along, across), rtol=1e-9)
        assert np.allclose(np.linalg.norm(strain.direction, axis=1), 1.0)
        if abs(along - across) > 1e-3:
            expected = way if along > across else np.array([-way[1], way[0]])
            assert np.allclose(np.abs(strain.direction @ expected), 1.0, atol=1e-6)

    def test_summary_weighs_by_area(self) -> None:
        """Half of the triangles, but a fiftieth of the area, is stretched far."""
        rows = np.zeros((3, 2, 3))
        rows[:, :, 0] = np.array([0.0, 2.0, 100.0])[:, None]
        rows[:, 1, 1] = 50.0
        mesh = sheet(rows)
        far = mesh.face_areas_mm2 < 100.0
        assert far.sum() == 2
        greatest = np.where(far, 1.2, 1.02)
        strain = Strain(greatest, np.where(far, 0.9, 1.0), np.tile([1.0, 0.0], (4, 1)))
        flat = Flat(mesh, mesh.vertices_mm[:, :2], FILM, 1.0, 0.0, strain, 0, True)
        assert stretch_summary(flat) == StretchSummary(
            greatest=1.2,
            least=0.9,
            greatest_p01=1.02,
            greatest_p99=1.2,
            least_p01=0.9,
            least_p99=1.0,
            share_over_stretch_limit=pytest.approx(0.02),
            share_under_finger_limit=pytest.approx(0.02),
        )

    def test_shares_and_percentiles_against_a_count_by_hand(self, panel: Flat) -> None:
        summary = stretch_summary(panel)
        areas, greatest, least = (
            panel.mesh.face_areas_mm2,
            panel.strain.greatest,
            panel.strain.least,
        )
        assert areas[greatest > 1.05].sum() / areas.sum() == pytest.approx(
            summary.share_over_stretch_limit
        )
        assert areas[least < 0.99].sum() / areas.sum() == pytest.approx(
            summary.share_under_finger_limit
        )
        assert 0.0 < summary.share_under_finger_limit < 1.0
        for values, p01, p99 in (
            (greatest, summary.greatest_p01, summary.greatest_p99),
            (least, summary.least_p01, summary.least_p99),
        ):
            below = areas[values < p01].sum() / areas.sum()
            up_to = areas[values <= p01].sum() / areas.sum()
            assert below < 0.01 <= up_to
            below = areas[values < p99].sum() / areas.sum()
            up_to = areas[values <= p99].sum() / areas.sum()
            assert below < 0.99 <= up_to


class TestOverlap:
    def test_a_plain_pattern_has_none(self, panel: Flat) -> None:
        assert overlaps(panel) == ()

    def test_an_opening_is_none(self) -> None:
        assert overlaps(flatten(ring(level, inner=50, outer=100), FILM)) == ()

    def test_the_ends_of_a_spiral_lie_on_top_of_each_other(self, spiral: Flat) -> None:
        assert spiral.inverted_triangles == 0
        found = overlaps(spiral)
        # Second opinion: the area that the triangles cover together, from their union.
        triangles = [Polygon(spiral.points_mm[face]) for face in spiral.mesh.faces]
        covered = unary_union(triangles).area
        assert sum(part.area for part in found) == pytest.approx(
            spiral.pattern_area_mm2 - covered, rel=1e-3
        )
        assert any("Split the panel" in sentence for sentence in flatten_warnings(spiral))

    def test_an_overlap_that_just_begins(self, spiral: Flat) -> None:
        """A single shared region, not a false alarm at shared corners."""
        assert len(overlaps(spiral)) == 1


class TestTransfer:
    def test_vertices_go_to_their_own_places(self, panel: Flat) -> None:
        assert np.allclose(to_flat(panel, panel.mesh.vertices_mm), panel.points_mm, atol=1e-9)
        assert np.allclose(to_surface(panel, panel.points_mm), panel.mesh.vertices_mm, atol=1e-9)

    @settings(max_examples=20, deadline=None, derandomize=True)
    @given(seed=st.integers(0, 10_000))
    def test_there_and_back(self, panel: Flat, seed: int) -> None:
        random = np.random.default_rng(seed)
        faces = panel.mesh.faces[random.integers(len(panel.mesh.faces), size=20)]
        weights = random.dirichlet((1.0, 1.0, 1.0), size=20)
        points = np.einsum("ij,ijk->ik", weights, panel.mesh.vertices_mm[faces])
        flat = to_flat(panel, points)
        assert np.allclose(flat, np.einsum("ij,ijk->ik", weights, panel.points_mm[faces]))
        assert np.allclose(to_surface(panel, flat), points, atol=1e-9)

    def test_points_near_the_surface_are_taken_to_it(self, panel: Flat) -> None:
        above = panel.mesh.vertices_mm[[200]] + [0.0, 0.0, 0.3]
        assert np.allclose(to_flat(panel, above), panel.points_mm[200], atol=0.2)

    def test_no_points(self, panel: Flat) -> None:
        assert to_flat(panel, np.zeros((0, 3))).shape == (0, 2)
        assert to_surface(panel, np.zeros((0, 2))).shape == (0, 3)


class TestObj:
    def test_trimesh_reads_it_back(self, panel: Flat) -> None:
        """An independent reader finds the same surface and the same flat shape."""
        read = trimesh.load(
            io.StringIO(flat_obj(panel)), file_type="obj", process=False, maintain_order=True
        )
        assert np.allclose(read.vertices, panel.mesh.vertices_mm, rtol=0, atol=1e-8)
        assert np.allclose(read.visual.uv, panel.points_mm, rtol=0, atol=1e-8)
        assert np.array_equal(read.faces, panel.mesh.faces)

    def test_one_texture_coordinate_for_each_vertex(self, panel: Flat) -> None:
        lines = flat_obj(panel).splitlines()
        kinds = [line.split(" ", 1)[0] for line in lines]
        assert kinds.count("v") == kinds.count("vt") == len(panel.points_mm)
        assert all(
            vertex.split("/")[0] == vertex.split("/")[1]
            for line in lines
            if line.startswith("f ")
            for vertex in line.split()[1:]
        )


class TestReport:
    def test_it_has_the_agreed_keys(self, panel: Flat) -> None:
        report = flatten_report(panel)
        assert set(report) >= {
            "energy_mj", "surface_area_mm2", "pattern_area_mm2", "greatest_stretch",
            "least_stretch", "greatest_stretch_p01", "greatest_stretch_p99",
            "least_stretch_p01", "least_stretch_p99", "vertices", "triangles",
            "boundary_loops", "steps", "converged", "inverted_triangles", "finger_aversion",
            "share_over_stretch_limit", "share_under_finger_limit",
        }  # fmt: skip
        assert report["inverted_triangles"] == 0
        assert report["boundary_loops"] == 1
        assert report["pattern_area_mm2"] == pytest.approx(outline_area(panel), rel=1e-9)
        assert report["surface_area_mm2"] == pytest.approx(panel.mesh.area_mm2)

    def test_an_early_end_is_said(self) -> None:
        short = flatten(car_like(), FILM, max_steps=1)
        assert any("before it had converged" in text for text in flatten_warnings(short))

    def test_nothing_to_say_of_a_good_pattern(self, panel: Flat) -> None:
        assert flatten_warnings(panel) == ()


def outline_area(flat: Flat) -> float:
    """The area inside the pattern's outline, by shapely."""
    outline: FloatArray = flat.points_mm[sheet_loops(flat.mesh)[0]]
    return float(Polygon(outline).area)
