import numpy as np
import pytest

import zoo
from layflat.base import MeshError
from layflat.surface import Mended, Mesh, boundary_loops, check_mesh, denoise, faced_outward, mend
from layflat.surface.measure import ring_length_mm
from layflat.surface.topology import edge_table, manifold_fault, oriented


def kinds(done: Mended) -> dict[str, int]:
    return {item.kind: item.count for item in done.mends}


def soup(mesh: Mesh) -> Mesh:
    """Every triangle with vertices of its own, as in STL."""
    return Mesh(mesh.vertices_mm[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces)))


def joined(*meshes: Mesh) -> Mesh:
    offsets = np.cumsum([0] + [len(mesh.vertices_mm) for mesh in meshes])
    return Mesh(
        np.concatenate([mesh.vertices_mm for mesh in meshes]),
        np.concatenate([mesh.faces + k for mesh, k in zip(meshes, offsets, strict=False)]),
    )


def volume(mesh: Mesh) -> float:
    a, b, c = (mesh.vertices_mm[mesh.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


@pytest.mark.parametrize("mesh", [zoo.sheet(9, jitter=0.3), zoo.cube(), zoo.torus()])
def test_a_good_mesh_is_left_alone(mesh: Mesh) -> None:
    done = mend(mesh)
    assert done.mends == ()
    assert np.array_equal(done.mesh.faces, mesh.faces)
    assert np.array_equal(done.mesh.vertices_mm, mesh.vertices_mm)


def test_a_soup_of_triangles_becomes_one_sheet() -> None:
    mesh = zoo.sheet(9, height=zoo.saddle(80), jitter=0.3)
    done = mend(soup(mesh))
    assert kinds(done) == {"merged": 3 * len(mesh.faces) - len(mesh.vertices_mm)}
    assert done.mesh.area_mm2 == pytest.approx(mesh.area_mm2)
    assert "384 vertices" not in done.mends[0].sentence
    assert done.mends[0].sentence.endswith(".")


def test_thin_walls_are_not_merged() -> None:
    upper = zoo.sheet(5)
    lower = Mesh(upper.vertices_mm - np.array([0, 0, 0.01]), upper.faces[:, ::-1])
    done = mend(joined(upper, lower))
    assert len(done.mesh.faces) == 64


@pytest.mark.parametrize("share", [0.1, 0.4])
def test_flipped_triangles_are_turned_back(share: float) -> None:
    mesh = zoo.sphere(200, splits=3)
    flip = np.random.default_rng(2).random(len(mesh.faces)) < share
    mixed = Mesh(mesh.vertices_mm, np.where(flip[:, None], mesh.faces[:, ::-1], mesh.faces))
    done = mend(mixed)
    assert kinds(done) == {"turned": int(flip.sum())}
    assert volume(done.mesh) == pytest.approx(volume(mesh))


def test_a_closed_surface_that_is_inside_out_is_turned_as_a_whole() -> None:
    mesh = zoo.sphere(200, splits=2)
    done = mend(Mesh(mesh.vertices_mm, mesh.faces[:, ::-1]))
    assert volume(done.mesh) == pytest.approx(volume(mesh))


def test_repeated_and_degenerate_triangles_go() -> None:
    mesh = zoo.sheet(5)
    faces = np.concatenate([mesh.faces, mesh.faces[3:6], [[0, 0, 1], [2, 2, 2]]])
    done = mend(Mesh(mesh.vertices_mm, faces))
    assert kinds(done) == {"degenerate": 2, "repeated": 3}
    assert np.array_equal(np.sort(done.mesh.faces, axis=0), np.sort(mesh.faces, axis=0))


def test_a_triangle_without_area_leaves_no_slit() -> None:
    points = np.array([[0, 0, 0], [40, 0, 0], [80, 0, 0], [40, 60, 0], [40, -60, 0]], float)
    faces = np.array([[0, 1, 3], [1, 2, 3], [0, 2, 1], [2, 0, 4]])
    done = mend(Mesh(points, faces))
    assert kinds(done) == {"degenerate": 1}
    assert done.mesh.area_mm2 == pytest.approx(4800)
    assert len(boundary_loops(done.mesh.faces)) == 1
    assert len(done.mesh.faces) == 4


def test_where_three_sheets_meet_the_surface_is_parted() -> None:
    done = mend(zoo.three_fins(), stray_share=0)
    assert kinds(done)["parted"] == 1
    assert manifold_fault(done.mesh.faces) is None
    assert kinds(mend(zoo.bow_tie(), stray_share=0))["parted"] == 1


def test_stray_shells_go_and_the_largest_stays() -> None:
    small = zoo.one_triangle()
    stray = Mesh(small.vertices_mm / 40 + np.array([0, 0, 70]), small.faces)
    done = mend(joined(stray, zoo.sheet(9)))
    assert kinds(done) == {"stray": 1}
    assert done.mesh.area_mm2 == pytest.approx(10_000)


def test_small_holes_are_filled_and_big_ones_kept() -> None:
    mesh = zoo.sheet(61, side_mm=300, height=zoo.bowl(400))
    holed = zoo.without_faces(mesh, (60, 60, 391), 12)
    holed = zoo.without_faces(holed, (-60, -60, 391), 60)
    done = mend(holed)
    assert kinds(done) == {"filled": 1, "kept-hole": 1}
    length = ring_length_mm(done.mesh.vertices_mm[boundary_loops(done.mesh.faces)[1]])
    said = f"1 hole kept open, with a rim of {length:.0f} mm: only rims up to 120 mm are filled."
    assert done.mends[-1].sentence == said
    assert len(boundary_loops(done.mesh.faces)) == 2
    big = zoo.without_faces(mesh, (-60, -60, 391), 60)
    assert done.mesh.area_mm2 == pytest.approx(big.area_mm2, rel=1e-3)
    assert manifold_fault(done.mesh.faces) is None
    unfilled = mend(holed, fill_mm=0)
    assert kinds(unfilled) == {"kept-hole": 2}
    assert "with rims of" in unfilled.mends[-1].sentence
    assert unfilled.mends[-1].sentence.endswith("mm: none is filled.")


def test_a_hole_just_above_the_limit_is_kept_and_the_limit_is_told() -> None:
    holed = zoo.without_faces(zoo.sheet(61, side_mm=300, height=zoo.bowl(400)), (60, 60, 391), 12)
    length = max(
        ring_length_mm(holed.vertices_mm[loop]) for loop in boundary_loops(holed.faces)[1:]
    )
    assert kinds(mend(holed, fill_mm=length)) == {"filled": 1}
    [kept] = mend(holed, fill_mm=length - 1e-6).mends
    assert kept.sentence.endswith(f"only rims up to {length:.0f} mm are filled.")


def test_a_hole_without_room_for_a_triangle_is_told() -> None:
    """A rim of 1 mm sides that folds back on itself a micrometre away."""
    along = np.arange(0.0, 56.0)
    there = np.stack([along, 0 * along, 0 * along], axis=1)
    back = there[-2:0:-1] + np.array([0.0, 1.1e-3, 0.0])
    rim = np.vstack([there, back])
    middle = rim.mean(axis=0)
    outer = middle + (rim - middle) * 1.2 + np.sign(rim - middle) * 40.0
    count = np.arange(len(rim))
    after = np.roll(count, -1)
    faces = np.vstack(
        [
            np.stack([count, len(rim) + after, len(rim) + count], axis=1),
            np.stack([count, after, len(rim) + after], axis=1),
        ]
    )
    done = mend(Mesh(np.vstack([rim, outer]), faces))
    [kept] = [item for item in done.mends if item.kind == "kept-hole"]
    assert kept.sentence.endswith("there is no room for a triangle between its sides.")


def test_the_only_hole_of_a_closed_body_is_filled() -> None:
    mesh = zoo.sphere(200, splits=4)
    done = mend(zoo.without_faces(mesh, (0, 0, 200), 15))
    assert kinds(done) == {"filled": 1}
    assert not boundary_loops(done.mesh.faces)
    assert volume(done.mesh) == pytest.approx(volume(mesh), rel=1e-3)


def test_a_shell_that_faces_inward_is_turned_and_nothing_else() -> None:
    out, inside_out = zoo.sphere(200, splits=2), zoo.sphere(50, splits=2)
    mesh = Mesh(
        np.vstack([out.vertices_mm, inside_out.vertices_mm]),
        np.vstack([out.faces, inside_out.faces[:, ::-1] + len(out.vertices_mm)]),
    )
    done = faced_outward(mesh)
    assert volume(done) == pytest.approx(volume(out) + volume(inside_out))
    assert np.array_equal(done.vertices_mm, mesh.vertices_mm)
    assert np.array_equal(done.faces, mend(mesh, stray_share=0.0).mesh.faces)


def test_the_rim_of_a_small_sheet_is_no_hole() -> None:
    assert mend(zoo.sheet(5, side_mm=25)).mends == ()


def test_a_surface_with_one_side_is_refused() -> None:
    with pytest.raises(MeshError, match="only one side"):
        mend(zoo.moebius())


@pytest.mark.parametrize("faces", [np.zeros((0, 3)), [[0, 0, 1]], [[0, 1, 1], [2, 2, 2]]])
def test_a_mesh_without_area_is_refused(faces: object) -> None:
    with pytest.raises(MeshError, match="no triangle with an area"):
        mend(Mesh(zoo.one_triangle().vertices_mm, np.array(faces, np.int64)))


def test_a_scan_with_all_faults_at_once_is_mended() -> None:
    clean = zoo.sheet(61, side_mm=300, height=zoo.bowl(400))
    random = np.random.default_rng(8)
    holed = zoo.without_faces(clean, (60, 60, 391), 12)
    flip = random.random(len(holed.faces)) < 0.2
    mixed = Mesh(holed.vertices_mm, np.where(flip[:, None], holed.faces[:, ::-1], holed.faces))
    stray = Mesh(zoo.one_triangle().vertices_mm / 40, zoo.one_triangle().faces)
    done = mend(soup(joined(mixed, stray)))
    assert {"merged", "turned", "stray", "filled"} <= set(kinds(done))
    assert done.mesh.area_mm2 == pytest.approx(clean.area_mm2, rel=1e-3)
    assert oriented(edge_table(done.mesh.faces))
    again = mend(done.mesh)
    assert again.mends == ()


def test_the_report_of_a_mesh_says_what_it_is_like() -> None:
    report = check_mesh(zoo.without_faces(zoo.sheet(41), (0, 0, 0), 10))
    assert report.shells == 1
    assert report.fault == ""
    assert report.size_mm == pytest.approx((100, 100, 0))
    assert report.rims_mm[0] == pytest.approx(400)
    assert 50 < report.rims_mm[1] < 90
    assert report.splinters == 0
    assert check_mesh(zoo.three_fins()).fault.startswith("1 of its edges")


def test_denoising_takes_noise_away_and_keeps_shape_and_rim() -> None:
    clean = zoo.sheet(81, side_mm=300, height=zoo.bowl(400))
    noise = np.random.default_rng(4).normal(0, 0.1, len(clean.vertices_mm))
    rough = Mesh(clean.vertices_mm + noise[:, None] * np.array([0, 0, 1]), clean.faces)
    done = denoise(rough, tolerance_mm=0.3)
    inner = np.setdiff1d(np.arange(len(noise)), boundary_loops(clean.faces)[0])
    left = done.mesh.vertices_mm[inner, 2] - clean.vertices_mm[inner, 2]
    assert np.sqrt(np.mean(left**2)) < 0.5 * np.sqrt(np.mean(noise[inner] ** 2))
    rim = boundary_loops(clean.faces)[0]
    assert np.array_equal(done.mesh.vertices_mm[rim], rough.vertices_mm[rim])
    moved = np.linalg.norm(done.mesh.vertices_mm - rough.vertices_mm, axis=1)
    assert done.greatest_mm == pytest.approx(moved.max())
    assert done.rms_mm == pytest.approx(np.sqrt(np.mean(moved**2)))
    assert f"{done.greatest_mm:.3f} mm at most" in done.sentence


def test_denoising_never_moves_more_than_its_tolerance_and_does_not_shrink() -> None:
    mesh = zoo.sphere(100, splits=3)
    done = denoise(mesh, tolerance_mm=0.05)
    assert done.greatest_mm <= 0.05
    assert volume(denoise(mesh, tolerance_mm=5).mesh) == pytest.approx(volume(mesh), rel=2e-3)
    with pytest.raises(MeshError, match="above 0"):
        denoise(mesh, tolerance_mm=0)
