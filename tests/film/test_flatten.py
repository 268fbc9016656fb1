from dataclasses import replace
from importlib import import_module

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from film.shapes import (
    cap,
    car_like,
    disc,
    distances,
    film_of,
    graph,
    level,
    moved,
    ring,
    sheet,
    wave,
)
from layflat.base import CheckError, InputError, MeshError, SettingError, StoppedError
from layflat.film import Flat, flatten, strain_of
from layflat.film.descent import Preconditioner
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.factor import PinnedFactor
from layflat.film.frames import ComplexArray, Frames, frames_of_mesh
from layflat.film.sheet import sheet_loops
from layflat.film.start import Disc, closed_disc, conformal_start, tutte_start
from layflat.film.untangle import FoldPenalty, inverted, relaxed, untangled
from layflat.surface import Mesh

FILM = film_of()
FLATTEN_MODULE = import_module("layflat.film.flatten")


@pytest.fixture(scope="module")
def panel() -> Flat:
    return flatten(car_like(), FILM)


def same_shape(a: Flat, b: Flat) -> None:
    assert np.allclose(a.points_mm, b.points_mm, atol=0.01)


class TestInvariance:
    @settings(max_examples=8, deadline=None, derandomize=True)
    @given(seed=st.integers(0, 1000))
    def test_place_and_direction_in_space_do_not_matter(self, panel: Flat, seed: int) -> None:
        same_shape(panel, flatten(moved(panel.mesh, seed=seed), FILM))

    @settings(max_examples=6, deadline=None, derandomize=True)
    @given(factor=st.floats(0.01, 100.0))
    def test_a_surface_twice_as_large_has_a_pattern_twice_as_large(
        self, panel: Flat, factor: float
    ) -> None:
        large = flatten(Mesh(panel.mesh.vertices_mm * factor, panel.mesh.faces), FILM)
        assert np.allclose(large.points_mm, panel.points_mm * factor, atol=0.01 * factor)
        assert large.energy_mj == pytest.approx(panel.energy_mj * factor**2, rel=1e-6)
        assert large.steps == pytest.approx(panel.steps, abs=1)

    @settings(max_examples=6, deadline=None, derandomize=True)
    @given(seed=st.integers(0, 1000))
    def test_the_order_of_triangles_and_vertices_does_not_matter(
        self, panel: Flat, seed: int
    ) -> None:
        random = np.random.default_rng(seed)
        mesh = panel.mesh
        order = random.permutation(len(mesh.vertices_mm))
        number = np.empty_like(order)
        number[order] = np.arange(len(order))
        faces = np.stack([np.roll(f, random.integers(3)) for f in number[mesh.faces]])
        mixed = flatten(Mesh(mesh.vertices_mm[order], random.permutation(faces)), FILM)
        assert np.allclose(mixed.points_mm, panel.points_mm[order], atol=0.01)

    def test_the_same_input_gives_the_same_bytes(self, panel: Flat) -> None:
        again = flatten(panel.mesh, FILM)
        assert again.points_mm.tobytes() == panel.points_mm.tobytes()

    def test_stiffness_and_thickness_scale_the_energy_only(self, panel: Flat) -> None:
        stiff = flatten(panel.mesh, replace(FILM, youngs_modulus_mpa=60.0, thickness_um=100.0))
        assert stiff.points_mm.tobytes() == panel.points_mm.tobytes()
        assert stiff.energy_mj == pytest.approx(panel.energy_mj * 1.5, rel=1e-12)


class TestGivenStart:
    def test_a_start_leads_to_the_same_shape_sooner(self, panel: Flat) -> None:
        random = np.random.default_rng(2)
        near = panel.points_mm + random.normal(size=panel.points_mm.shape) * 0.05
        again = flatten(panel.mesh, FILM, start_mm=near)
        assert np.allclose(again.points_mm, panel.points_mm, atol=0.01)
        assert again.steps < panel.steps

    def test_an_inverted_start_is_put_aside(self, panel: Flat) -> None:
        again = flatten(panel.mesh, FILM, start_mm=panel.points_mm * [1.0, -1.0])
        assert again.points_mm.tobytes() == panel.points_mm.tobytes()

    def test_a_start_of_another_surface_is_refused(self, panel: Flat) -> None:
        for wrong in (panel.points_mm[1:], panel.points_mm * np.nan):
            with pytest.raises(InputError, match="does not belong"):
                flatten(panel.mesh, FILM, start_mm=wrong)


class TestPose:
    def test_centroid_at_the_origin_and_long_axis_along_x(self, panel: Flat) -> None:
        corners = panel.points_mm[panel.mesh.faces]
        areas = panel.triangle_areas_mm2
        assert np.allclose(areas @ corners.mean(axis=1), 0.0, atol=1e-3)
        width, height = np.ptp(panel.points_mm, axis=0)
        assert width > height

    @pytest.mark.parametrize(
        "mesh",
        [
            disc(6, radius=100.0),
            graph(level, width=300, depth=300, across=7, along=7),
            graph(level, width=300, depth=100, across=7, along=4),
        ],
        ids=["disc", "square", "rectangle"],
    )
    def test_symmetric_shapes_have_one_pose_too(self, mesh: Mesh) -> None:
        a, b = flatten(mesh, FILM), flatten(moved(mesh), FILM)
        assert np.allclose(a.points_mm, b.points_mm, atol=1e-3)

    def test_a_symmetric_panel_has_a_symmetric_pattern(self) -> None:
        # Mirrored in y, with diagonals that mirror too.
        half = graph(
            lambda x, y: -(x**2) / 2000 - (y - 150) ** 2 / 1500 + x * y / 9000,
            width=800,
            depth=300,
            across=17,
            along=7,
        )
        upper = half.vertices_mm + np.array([0.0, 150.0, 0.0])
        upper[:, 2] = -(upper[:, 0] ** 2) / 2000 - upper[:, 1] ** 2 / 1500
        upper[:, 2] += upper[:, 0] * upper[:, 1] / 9000
        lower = upper * [1.0, -1.0, 1.0]
        on_seam = np.isclose(upper[:, 1], 0.0)
        number = np.arange(len(upper)) + len(upper)
        number[on_seam] = np.flatnonzero(on_seam)
        points = np.concatenate((upper, lower))
        faces = np.concatenate((half.faces, number[half.faces][:, ::-1]))
        used, faces = np.unique(faces, return_inverse=True)
        flat = flatten(Mesh(points[used], faces.reshape(-1, 3)), FILM)
        place = np.full(len(points), -1)
        place[used] = np.arange(len(used))
        p, q = flat.points_mm[place[: len(upper)]], flat.points_mm[place[number]]
        seam = flat.points_mm[place[np.flatnonzero(on_seam)]]
        # The seam becomes a straight line, and both halves mirror each other in it.
        centre = seam.mean(axis=0)
        _, size, axes = np.linalg.svd(seam - centre)
        assert size[1] < 0.01
        mirror = np.eye(2) - 2 * np.outer(axes[1], axes[1])
        assert np.allclose((p - centre) @ mirror, q - centre, atol=0.01)


class TestNoInversion:
    @pytest.mark.parametrize(
        "mesh",
        [
            car_like(),
            cap(10, angle=2.6, radius=100.0),
            graph(
                lambda x, y: 90 * np.sin(x / 40) * np.sin(y / 40),
                width=500,
                depth=500,
                across=50,
                along=50,
            ),
            ring(lambda x, y: -(x**2 + y**2) / 900, inner=290, outer=300, across=3),
            ring(lambda x, y: x * y / 700, inner=60, outer=300),
        ],
        ids=["panel", "most of a ball", "egg box", "thin ring", "saddle with an opening"],
    )
    def test_hard_surfaces(self, mesh: Mesh) -> None:
        flat = flatten(mesh, FILM)
        assert flat.converged
        assert flat.inverted_triangles == 0
        assert (flat.triangle_areas_mm2 > 0).all()

    @settings(max_examples=10, deadline=None, derandomize=True)
    @given(seed=st.integers(0, 10_000), noise=st.floats(0.0, 0.5))
    def test_rough_surfaces(self, seed: int, noise: float) -> None:
        smooth = graph(lambda x, y: -(x**2 + y**2) / 500, width=200, depth=150, across=14, along=11)
        shake = np.random.default_rng(seed).normal(size=smooth.vertices_mm.shape)
        flat = flatten(Mesh(smooth.vertices_mm + noise * 10 * shake, smooth.faces), FILM)
        assert flat.inverted_triangles == 0

    def test_needles_do_not_blow_up(self) -> None:
        rows = car_like(20, 16).vertices_mm.reshape(20, 16, 3).copy()
        rows[7] = rows[6] + 1e-5 * (rows[7] - rows[6])  # a row of needles 1 : 10^5
        flat = flatten(sheet(rows), FILM)
        assert flat.converged
        assert flat.steps < 60
        assert np.abs(np.log(flat.strain.greatest)).max() < 0.3
        plain = flatten(car_like(20, 16), FILM)
        assert flat.energy_mj == pytest.approx(plain.energy_mj, rel=0.3)

    def test_the_check_refuses_an_inverted_shape(self, panel: Flat) -> None:
        with pytest.raises(CheckError, match="inverted"):
            strain_of(panel.mesh, panel.points_mm * [-1.0, 1.0])


def egg_box() -> Mesh:
    """So deeply dented that the conformal start turns triangles over."""
    return graph(
        lambda x, y: 160 * np.sin(x / 30) * np.sin(y / 30),
        width=400,
        depth=400,
        across=26,
        along=26,
    )


def no_start(shape: Disc) -> ComplexArray:
    return np.full(len(shape.vertices_mm), np.nan + 0j)


def left_as_it_is(
    frames: Frames, points: ComplexArray, precondition: Preconditioner
) -> ComplexArray:
    return points


class TestFallback:
    """Where the conformal start inverts triangles it is untangled, or else Tutte's stands in."""

    def test_a_surface_that_needs_untangling(self) -> None:
        mesh = egg_box()
        frames = frames_of_mesh(mesh)
        shape = closed_disc(mesh, sheet_loops(mesh))
        points = conformal_start(shape)
        assert inverted(frames, points) > 0
        assert inverted(frames, tutte_start(shape)) == 0
        assert (
            inverted(frames, untangled(frames, points, PinnedFactor(frames.laplacian()).solve)) == 0
        )
        flat = flatten(mesh, FILM)
        assert flat.converged
        assert flat.inverted_triangles == 0

    def test_a_surface_that_cannot_be_untangled(self, monkeypatch: pytest.MonkeyPatch) -> None:
        usual = flatten(egg_box(), FILM)
        monkeypatch.setattr(FLATTEN_MODULE, "untangled", left_as_it_is)
        flat = flatten(egg_box(), FILM)
        assert flat.inverted_triangles == 0
        assert flat.energy_mj == pytest.approx(usual.energy_mj, rel=1e-5)

    @pytest.mark.parametrize("opening", [False, True])
    def test_both_starts_lead_to_the_same_pattern(
        self, monkeypatch: pytest.MonkeyPatch, opening: bool
    ) -> None:
        def dome(x: np.ndarray, y: np.ndarray) -> np.ndarray:
            return -(x**2) / 900 - y**2 / 1300 + x / 20 * y / 50

        mesh = (
            ring(dome, inner=80, outer=300)
            if opening
            else graph(dome, width=500, depth=300, across=20, along=14)
        )
        usual = flatten(mesh, FILM)
        monkeypatch.setattr(FLATTEN_MODULE, "conformal_start", no_start)
        other = flatten(mesh, FILM)
        assert other.converged
        assert other.energy_mj == pytest.approx(usual.energy_mj, rel=1e-6)
        assert np.allclose(distances(other.points_mm), distances(usual.points_mm), atol=0.1)

    def test_relaxing_takes_out_the_worst_and_inverts_nothing(self) -> None:
        mesh = car_like()
        frames = frames_of_mesh(mesh)
        tutte = tutte_start(closed_disc(mesh, sheet_loops(mesh)))
        better = relaxed(frames, tutte, PinnedFactor(frames.laplacian()).solve)
        energy = FlatEnergy(frames, HenckyLaw(0.45))
        assert inverted(frames, better) == 0
        assert energy.value(better) < 0.1 * energy.value(tutte)

    def test_no_start_at_all_is_refused_with_a_sentence(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for name in ("conformal_start", "tutte_start"):
            monkeypatch.setattr(FLATTEN_MODULE, name, no_start)
        with pytest.raises(CheckError, match="Split it"):
            flatten(car_like(), FILM)


class TestUntangling:
    @settings(max_examples=12, deadline=None, derandomize=True)
    @given(seed=st.integers(0, 10_000), noise=st.floats(20.0, 50.0))
    def test_shaken_shapes_are_put_right(self, seed: int, noise: float) -> None:
        """By up to 50 mm; from 55 mm on, about one shape in a hundred stays tangled."""
        mesh = car_like(12, 10)
        frames = frames_of_mesh(mesh)
        random = np.random.default_rng(seed)
        shake = noise * (random.normal(size=120) + 1j * random.normal(size=120))
        points = mesh.vertices_mm[:, 0] + 1j * mesh.vertices_mm[:, 1] + shake
        assume(inverted(frames, points) > 0)
        assert (
            inverted(frames, untangled(frames, points, PinnedFactor(frames.laplacian()).solve)) == 0
        )

    @pytest.mark.parametrize("eps", [1.0, 0.1])
    def test_gradient_is_that_of_the_penalty(self, eps: float) -> None:
        mesh = car_like(6, 5)
        frames = frames_of_mesh(mesh)
        random = np.random.default_rng(1)
        shake = 120 * (random.normal(size=30) + 1j * random.normal(size=30))
        points = mesh.vertices_mm[:, 0] + 1j * mesh.vertices_mm[:, 1] + shake
        assert inverted(frames, points) > 0
        penalty = FoldPenalty(frames, eps)
        gradient = penalty.state(points).gradient
        for i in range(30):
            for way, slope in ((1.0, gradient[i].real), (1j, gradient[i].imag)):
                move = np.zeros_like(points)
                move[i] = way * 1e-3
                rise = penalty.state(points + move).value - penalty.state(points - move).value
                assert rise / 2e-3 == pytest.approx(slope, abs=1e-5 * np.abs(gradient).max())


class TestShapes:
    def test_a_flat_panel_stays_as_it_is(self) -> None:
        flat = flatten(graph(level, width=300, depth=100, across=9, along=5), FILM)
        assert flat.energy_mj == pytest.approx(0.0, abs=1e-9)
        assert np.allclose(np.ptp(flat.points_mm, axis=0), (300.0, 100.0), atol=1e-6)

    def test_a_long_thin_region(self) -> None:
        """100 : 1, bent along its length only: it unrolls without strain."""
        mesh = graph(wave, width=3000, depth=30, across=301, along=4)
        flat = flatten(mesh, FILM)
        assert np.abs(flat.strain.greatest - 1).max() < 1e-6
        assert np.ptp(flat.points_mm[:, 1]) == pytest.approx(30.0, abs=1e-4)

    def test_one_triangle(self) -> None:
        points = np.array([[0.0, 0, 0], [3, 0, 4], [0, 2, 0]])
        flat = flatten(Mesh(points, np.array([[0, 1, 2]])), FILM)
        assert flat.pattern_area_mm2 == pytest.approx(5.0, abs=1e-9)

    def test_two_openings(self) -> None:
        base = graph(wave, width=300, depth=200, across=16, along=11)
        centres = base.vertices_mm[base.faces].mean(axis=1)[:, :2]
        hole = (np.abs(centres - [-80, 0]).max(axis=1) < 25) | (
            np.abs(centres - [70, 10]).max(axis=1) < 25
        )
        used, faces = np.unique(base.faces[~hole], return_inverse=True)
        flat = flatten(Mesh(base.vertices_mm[used], faces.reshape(-1, 3)), FILM)
        assert len(sheet_loops(flat.mesh)) == 3
        assert np.abs(flat.strain.greatest - 1).max() < 1e-5


class TestOptions:
    def test_aversion_trades_compression_for_stretch(self, panel: Flat) -> None:
        averse = flatten(panel.mesh, FILM, finger_aversion=10.0)
        assert averse.strain.least.min() > panel.strain.least.min()
        assert averse.strain.greatest.max() > panel.strain.greatest.max()
        # Plain energy is least without aversion: that is what flattening means.
        assert averse.energy_mj > panel.energy_mj

    def test_no_other_shape_nearby_has_less_energy(self, panel: Flat) -> None:
        random = np.random.default_rng(5)
        for scale in (0.01, 1.0):
            moved_points = panel.points_mm + scale * random.normal(size=panel.points_mm.shape)
            strain = strain_of(panel.mesh, moved_points)
            e1, e2 = np.log(strain.greatest), np.log(strain.least)
            energy = panel.mesh.face_areas_mm2 @ (e1**2 + e2**2 + 0.9 * e1 * e2)
            assert energy * 4.0 / (2 * (1 - 0.45**2)) > panel.energy_mj

    def test_a_limit_of_steps_is_kept_and_said(self, panel: Flat) -> None:
        short = flatten(panel.mesh, FILM, max_steps=2)
        assert (short.steps, short.converged) == (2, False)
        assert short.inverted_triangles == 0
        assert panel.converged

    @pytest.mark.parametrize("value", [0.0, 0.99, -1.0, float("nan"), float("inf"), 1e9])
    def test_an_absurd_aversion_is_refused(self, value: float) -> None:
        with pytest.raises(SettingError, match="finger aversion"):
            flatten(car_like(4, 4), FILM, finger_aversion=value)

    def test_a_negative_limit_of_steps_is_refused(self) -> None:
        with pytest.raises(SettingError, match="steps"):
            flatten(car_like(4, 4), FILM, max_steps=-1)

    def test_progress_rises_to_its_end(self) -> None:
        seen: list[tuple[str, float]] = []
        flat = flatten(
            car_like(), FILM, progress=lambda step, fraction: seen.append((step, fraction))
        )
        fractions = [fraction for _, fraction in seen]
        assert len(seen) >= flat.steps
        assert fractions[0] == 0.0
        assert fractions[-1] == 1.0
        assert all(0.0 <= fraction <= 1.0 for fraction in fractions)

    def test_it_can_be_stopped(self) -> None:
        def stop(step: str, fraction: float) -> None:
            if "step 3" in step:
                raise StoppedError("Stopped.")

        with pytest.raises(StoppedError):
            flatten(car_like(), FILM, progress=stop)


class TestRefusals:
    def test_a_triangle_without_area(self) -> None:
        mesh = car_like(6, 5)
        points = mesh.vertices_mm.copy()
        points[7] = points[8]
        with pytest.raises(MeshError, match=r"no area.*near x"):
            flatten(Mesh(points, mesh.faces), FILM)

    def test_a_needle_that_rounding_would_shape(self) -> None:
        mesh = car_like(6, 5)
        points = mesh.vertices_mm.copy()
        points[7] = points[8] + 1e-12 * (points[7] - points[8])
        with pytest.raises(MeshError, match="no area"):
            flatten(Mesh(points, mesh.faces), FILM)

    def test_not_numbers(self) -> None:
        mesh = car_like(6, 5)
        points = mesh.vertices_mm.copy()
        points[7, 2] = np.nan
        with pytest.raises(MeshError, match="number"):
            flatten(Mesh(points, mesh.faces), FILM)

    def test_no_triangles(self) -> None:
        with pytest.raises(MeshError, match="no triangles"):
            flatten(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64)), FILM)

    def test_corners_that_do_not_exist(self) -> None:
        with pytest.raises(MeshError, match="do not exist"):
            flatten(Mesh(np.eye(3), np.array([[0, 1, 3]])), FILM)

    def test_points_that_no_triangle_uses(self) -> None:
        with pytest.raises(MeshError, match="no triangle uses"):
            flatten(Mesh(np.vstack((np.eye(3), np.ones(3))), np.array([[0, 1, 2]])), FILM)

    def test_a_closed_surface(self) -> None:
        faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
        with pytest.raises(MeshError, match="closed"):
            flatten(Mesh(np.vstack((np.zeros(3), np.eye(3))), faces), FILM)

    def test_two_pieces(self) -> None:
        mesh = car_like(4, 4)
        points = np.concatenate((mesh.vertices_mm, mesh.vertices_mm + 5000.0))
        faces = np.concatenate((mesh.faces, mesh.faces + len(mesh.vertices_mm)))
        with pytest.raises(MeshError, match=r"2 .*pieces"):
            flatten(Mesh(points, faces), FILM)

    def test_a_handle(self) -> None:
        """A torus with one triangle taken out."""
        u, v = np.meshgrid(np.arange(12), np.arange(9), indexing="ij")
        a, b = 2 * np.pi * u / 12, 2 * np.pi * v / 9
        r = 300 + 100 * np.cos(b)
        points = np.stack((r * np.cos(a), r * np.sin(a), 100 * np.sin(b)), axis=-1)
        faces = []
        for i in range(12):
            for j in range(9):
                p, q = i * 9 + j, (i + 1) % 12 * 9 + j
                p1, q1 = i * 9 + (j + 1) % 9, (i + 1) % 12 * 9 + (j + 1) % 9
                faces += [(p, q, q1), (p, q1, p1)]
        with pytest.raises(MeshError, match="handle"):
            flatten(Mesh(points.reshape(-1, 3), np.array(faces[1:])), FILM)

    def test_three_triangles_at_one_side(self) -> None:
        points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]])
        with pytest.raises(MeshError):
            flatten(Mesh(points, np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])), FILM)

    def test_neighbours_that_face_opposite_ways(self) -> None:
        points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])
        with pytest.raises(MeshError, match="opposite ways"):
            flatten(Mesh(points, np.array([[0, 1, 2], [1, 2, 3]])), FILM)

    def test_two_triangles_that_touch_at_a_point(self) -> None:
        points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]])
        with pytest.raises(MeshError, match="touches itself"):
            flatten(Mesh(points, np.array([[0, 1, 2], [0, 3, 4]])), FILM)
