"""The workshop on disk, and both jobs from it to papers, all on coarse scans."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

import layflat.demo.run as run_module
import layflat.demo.workshop as workshop_module
from layflat.base import InputError, OutputError, StoppedError
from layflat.cut import read_machine
from layflat.demo import Design, Workshop, run_demo, write_workshop
from layflat.film import read_film
from layflat.job import Order, read_order
from layflat.surface import KeepOutKind, Mesh, read_mesh, read_panels

SPACING_MM = 34.0
"""As that of the clean bodies in `conftest`."""

FILES = {
    "van-scan.ply", "van-panels.json", "van-job.toml",
    "coupe-scan.ply", "coupe-panels.json", "coupe-job.toml",
    "film.toml", "machine.toml",
}  # fmt: skip


def coarsen(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(workshop_module, "_VAN_SPACING_MM", SPACING_MM)
    patch.setattr(workshop_module, "_COUPE_SPACING_MM", SPACING_MM)


def drawn(patch: pytest.MonkeyPatch, designs: dict[str, Design]) -> None:
    """Take the designs that are drawn already."""
    patch.setattr(workshop_module, "van_design", lambda: designs["van"])
    patch.setattr(workshop_module, "coupe_design", lambda: designs["coupe"])


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory, designs: dict[str, Design]) -> Workshop:
    folder = tmp_path_factory.mktemp("workshop")
    with pytest.MonkeyPatch.context() as patch:
        coarsen(patch)
        drawn(patch, designs)
        return write_workshop(folder)


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, designs: dict[str, Design]
) -> tuple[Path, tuple[str, ...]]:
    """A run on coarse scans in which each job covers its small panels only."""

    def small(path: Path) -> Order:
        order = read_order(path)
        covers = [item for item in order.covers if item.panel in ("mirror-left", "lamp-left")]
        return replace(order, covers=tuple(covers))

    output = tmp_path_factory.mktemp("demo") / "out"
    with pytest.MonkeyPatch.context() as patch:
        coarsen(patch)
        drawn(patch, designs)
        patch.setattr(run_module, "read_order", small)
        return output, run_demo(output, layout_seconds=0.5)


def digest(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_folder_holds_scans_panels_film_machine_and_jobs(workshop: Workshop) -> None:
    assert {path.name for path in workshop.folder.iterdir()} == FILES
    for paths, ending in (
        (workshop.jobs, "-job.toml"),
        (workshop.scans, "-scan.ply"),
        (workshop.panels, "-panels.json"),
    ):
        assert [path.name for path in paths] == [f"van{ending}", f"coupe{ending}"]
        assert all(path.is_file() for path in paths)


def test_job_files_are_read_with_nothing_assumed_and_name_what_is_there(
    workshop: Workshop,
) -> None:
    for path, scan in zip(workshop.jobs, workshop.scans, strict=True):
        order = read_order(path)
        assert dict(order.defaults) == {}
        assert order.body == scan
        assert order.film is not None
        assert order.machine is not None
        assert read_film(order.film).sources
        assert read_machine(order.machine).name.endswith("(invented)")
        known = {panel.name for panel in read_panels(order.panels).panels}
        assert {cover.panel for cover in order.covers} <= known


def test_panels_come_back_from_their_files(workshop: Workshop, designs: dict[str, Design]) -> None:
    for design, path in zip(designs.values(), workshop.panels, strict=True):
        info = read_panels(path)
        assert info.name == design.info.name
        for read, drawn in zip(info.panels, design.info.panels, strict=True):
            assert read.name == drawn.name
            assert [item.name for item in read.keep_outs] == [i.name for i in drawn.keep_outs]
            for edge, other in zip(read.outline, drawn.outline, strict=True):
                assert (edge.name, edge.kind) == (other.name, other.kind)
                assert edge.points_mm == pytest.approx(other.points_mm, abs=1e-3)


def test_each_job_meets_a_keep_out_of_its_own(workshop: Workshop) -> None:
    for path, expected in zip(
        workshop.jobs,
        ({KeepOutKind.EMBLEM, KeepOutKind.SENSOR, KeepOutKind.JET}, {KeepOutKind.EMBLEM}),
        strict=True,
    ):
        order = read_order(path)
        info = read_panels(order.panels)
        covered = [panel for cover in order.covers if (panel := info.panel(cover.panel))]
        assert expected <= {item.kind for panel in covered for item in panel.keep_outs}


def test_one_scan_is_in_metres_and_the_other_in_millimetres(workshop: Workshop) -> None:
    """Lengths by another reader of the format."""
    lengths = [
        np.ptp(trimesh.load_mesh(path, process=False).vertices[:, 0]) for path in workshop.scans
    ]
    assert lengths == pytest.approx([5.3, 4400.0], rel=0.03)
    for path, scan in zip(workshop.jobs, workshop.scans, strict=True):
        order = read_order(path)
        read = read_mesh(scan, unit=order.unit)
        assert 4000 < np.ptp(read.mesh.vertices_mm[:, 0]) < 5500


def test_a_scan_differs_from_the_clean_body_as_promised(
    workshop: Workshop, name: str, design: Design, body: Mesh
) -> None:
    path = workshop.folder / f"{name}-scan.ply"
    scan = read_mesh(path, unit=read_order(workshop.folder / f"{name}-job.toml").unit).mesh
    points = np.unique(scan.vertices_mm, axis=0)
    assert len(scan.vertices_mm) - len(points) > 100  # vertices there twice
    # Shells that float beside the body.
    beside = np.abs(points[:, 1]) > body.vertices_mm[:, 1].max() + 20.0
    assert beside.sum() == 12 * 4
    # Noise of 0.1 mm; what the triangles' vertices are moved along a curved skin adds to it.
    hood = (np.abs(points[:, 1]) < 300) & (points[:, 0] > 0.52 * design.axle_mm + 500)
    value, slope = design.skin.with_gradient(points[hood])
    noise = value / np.linalg.norm(slope, axis=1)
    noise = noise[np.abs(noise) < 0.5]
    assert len(noise) > 300
    assert np.sqrt(np.mean(noise**2)) == pytest.approx(0.1, abs=0.05)
    # Triangles that face inward, about one in seventy.
    sides = scan.vertices_mm[scan.faces]
    normal = np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0])
    middle = sides.mean(axis=1)
    skin = np.abs(design.skin(middle)) < 5.0
    inward = np.einsum("ij,ij->i", normal, design.skin.with_gradient(middle)[1]) < 0
    assert 0.008 < inward[skin].mean() < 0.025
    # Two big holes of more than 80 mm radius in the roof, and small ones.
    assert scan.area_mm2 < body.area_mm2 - 2 * np.pi * 80.0**2


def test_the_workshop_is_the_same_byte_for_byte(
    workshop: Workshop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    coarsen(monkeypatch)
    write_workshop(tmp_path)
    assert digest(tmp_path) == digest(workshop.folder)


def test_writing_into_a_missing_folder_is_refused_at_once(tmp_path: Path) -> None:
    def never(what: str, share: float) -> None:
        raise AssertionError(f"{what} although nothing can be written")

    with pytest.raises(OutputError, match="nowhere"):
        write_workshop(tmp_path / "nowhere", progress=never)


def test_a_demo_holds_its_workshop_and_a_folder_for_each_job(
    demo: tuple[Path, tuple[str, ...]],
) -> None:
    output, lines = demo
    assert {path.name for path in output.iterdir() if path.is_dir()} == {
        "workshop", "K-0412", "K-0413",
    }  # fmt: skip
    assert {path.name for path in (output / "workshop").iterdir()} == FILES
    for number in ("K-0412", "K-0413"):
        kinds = {path.suffix for path in (output / number).rglob("*") if path.is_file()}
        assert {".pdf", ".plt", ".dxf", ".json"} <= kinds
        assert any(number in line for line in lines)
    assert str(output / "workshop") in lines[-1]


def test_no_curve_of_a_demos_programs_strays_with_a_wrong_offset(
    demo: tuple[Path, tuple[str, ...]],
) -> None:
    for number in ("K-0412", "K-0413"):
        report = json.loads((demo[0] / number / "report.json").read_text(encoding="utf-8"))
        told = report["cut"]["offset_wrong"]
        assert told["wrong_mm"] == 0.05
        assert told["tip_error_curves_max_mm"] < 0.05
        # At corners no program could; how far behind them, and how far off, is said.
        assert told["tip_error_near_corners_max_mm"] < told["tip_beside_line_after_turn_mm"] + 0.02
        assert 0.0 < told["corner_reach_mm"] < 1.0


def test_a_demo_runs_on_the_very_workshop_it_writes(
    demo: tuple[Path, tuple[str, ...]], workshop: Workshop
) -> None:
    assert digest(demo[0] / "workshop") == digest(workshop.folder)


def test_a_stopped_demo_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, designs: dict[str, Design]
) -> None:
    drawn(monkeypatch, designs)

    def stop(what: str, share: float) -> None:
        if share > 0:
            raise StoppedError(f"stopped while {what}")

    with pytest.raises(StoppedError, match="stopped while scanning the van"):
        run_demo(tmp_path / "out", progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_something_else_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.txt").write_text("keep me")
    with pytest.raises((OutputError, InputError)):
        run_demo(tmp_path)
    assert (tmp_path / "holiday.txt").read_text() == "keep me"
