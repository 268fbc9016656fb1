"""The commands on small files of their own: what they write, say and report."""

import json
from collections.abc import Callable
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh

import layflat
from layflat.base import file_sha256
from layflat.cli import main
from layflat.cut import read_hpgl

RADIUS_MM = 400.0
HALF_MM = 60.0


@pytest.fixture(scope="module")
def panel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A square patch of a sphere, as a scanner would write it."""
    side = np.linspace(-HALF_MM, HALF_MM, 25)
    x, y = (grid.ravel() for grid in np.meshgrid(side, side))
    vertices = np.stack([x, y, np.sqrt(RADIUS_MM**2 - x**2 - y**2)], axis=1)
    corner = np.arange(24)[:, None] * 25 + np.arange(24)
    a, b, c, d = (
        corner.ravel(),
        corner.ravel() + 1,
        corner.ravel() + 26,
        corner.ravel() + 25,
    )
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    path = tmp_path_factory.mktemp("panel") / "patch.ply"
    trimesh.Trimesh(vertices, faces, process=False).export(path)
    return path


@pytest.fixture(scope="module")
def drawing(panel: Path) -> Path:
    path = panel.with_suffix(".dxf")
    assert main(["flatten", str(panel), "--unit", "mm", "-o", str(path)]) == 0
    return path


@pytest.fixture(scope="module")
def layout(drawing: Path) -> Path:
    path = drawing.with_name("layout.dxf")
    command = ["nest", str(drawing), "--copies", "3", "--width", "610", "--edge-margin", "20"]
    command += ["--gap", "4", "--turns", "quarter", "--seconds", "1", "--seed", "5"]
    command += ["-o", str(path), "--report", str(path.with_suffix(".json"))]
    assert main(command) == 0
    return path


def report_of(path: Path) -> dict[str, object]:
    document: dict[str, object] = json.loads(path.read_text(encoding="utf-8"))
    return document


def test_flatten_writes_surface_and_flat_shape_in_one_obj(panel: Path, tmp_path: Path) -> None:
    out, report = tmp_path / "flat.obj", tmp_path / "flat.json"
    command = ["flatten", str(panel), "--unit", "mm", "-o", str(out), "--report", str(report)]
    assert main([*command, "--finger-aversion", "3"]) == 0
    read = trimesh.load(out, process=False, maintain_order=True)
    assert isinstance(read, trimesh.Trimesh)
    original = trimesh.load(panel, process=False)
    assert isinstance(original, trimesh.Trimesh)
    assert read.area == pytest.approx(original.area, rel=1e-9)
    flat = np.asarray(read.visual.uv)
    assert flat.shape == (len(read.vertices), 2)
    a, b, c = (flat[read.faces[:, i]] for i in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    assert (doubled > 0).all()
    said = report_of(report)
    assert said["layflat"] == layflat.__version__
    assert said["inputs"] == {panel.name: file_sha256(panel)}
    assert said["finger_aversion"] == 3.0
    assert said["inverted_triangles"] == 0
    assert said["pattern_area_mm2"] == pytest.approx(0.5 * doubled.sum(), rel=1e-9)
    assert said["surface_area_mm2"] == pytest.approx(original.area, rel=1e-9)
    assert said["defaults"] == {"film": "generic clear film"}


def test_a_unit_that_nobody_gave_is_said(
    panel: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flatten", str(panel), "-o", str(tmp_path / "a.obj"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["defaults"]["unit"] == "mm"
    assert said["defaults"]["finger_aversion"] == 1.0
    assert any("taken as mm" in sentence for sentence in said["warnings"])


def test_the_same_input_gives_the_same_bytes(panel: Path, tmp_path: Path) -> None:
    for suffix in (".obj", ".dxf", ".svg"):
        first, second = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
        for path in (first, second):
            assert main(["flatten", str(panel), "--unit", "mm", "-o", str(path)]) == 0
        assert first.read_bytes() == second.read_bytes()


def test_a_flattened_drawing_has_the_contract_s_layers(drawing: Path) -> None:
    document = ezdxf.readfile(drawing)
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    outlines = document.modelspace().query('LWPOLYLINE[layer=="OUTLINE"]')
    assert len(outlines) == 1
    assert outlines[0].closed


def test_nest_reports_length_yield_and_bound(layout: Path) -> None:
    said = report_of(layout.with_suffix(".json"))
    assert said["seed"] == 5
    defaults = said["defaults"]
    assert defaults == {"end_margin_mm": 5.0}
    placements = said["placements"]
    assert isinstance(placements, list)
    assert len(placements) == 3
    length, bound, used = said["length_mm"], said["lower_bound_mm"], said["yield"]
    assert isinstance(length, float)
    assert isinstance(bound, float)
    assert isinstance(used, float)
    assert bound <= length
    # Three squares of 120 mm stand side by side on 570 usable millimetres.
    assert length < 2 * (2 * HALF_MM)
    assert 0.0 < used < 1.0
    document = ezdxf.readfile(layout)
    assert len(document.modelspace().query('LWPOLYLINE[layer=="OUTLINE"]')) == 3
    assert len(document.modelspace().query('LWPOLYLINE[layer=="STOCK"]')) == 1


def test_cut_writes_a_program_and_reports_the_tip(
    layout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, report = tmp_path / "p.plt", tmp_path / "p.json"
    assert main(["cut", str(layout), "-o", str(out), "--report", str(report)]) == 0
    said = report_of(report)
    error = said["tip_error_max_mm"]
    assert isinstance(error, float)
    assert error <= 0.05
    assert len(read_hpgl(out.read_text())) >= 3
    # Again, with times of sections that took a fifth longer: they change no byte of the program.
    times, again = tmp_path / "times.toml", tmp_path / "q.plt"
    times.write_text("sections_s = [[100, 120], [200, 240], [50, 60], [80, 96]]\n")
    command = ["cut", str(layout), "-o", str(again), "--report", str(report)]
    assert main([*command, "--times", str(times)]) == 0
    assert again.read_bytes() == out.read_bytes()
    time = report_of(report)["time"]
    assert isinstance(time, dict)
    assert time["records"] == 4
    assert 1.15 < time["ratio"] < 1.2
    assert time["corrected_s"] == pytest.approx(time["ratio"] * said["seconds_estimated"])
    assert time["low_s"] < time["corrected_s"] < time["high_s"]
    assert "4 recorded sections took 1." in capsys.readouterr().out
    for wrong in ("sections_s = [[100]]", "sections_s = [[10, 900]]", "sections_s = []"):
        times.write_text(wrong)
        assert main([*command, "--times", str(times)]) == 2
        assert again.read_bytes() == out.read_bytes()


def test_cut_says_what_the_machine_file_left_out(layout: Path, tmp_path: Path) -> None:
    machine, report = tmp_path / "m.toml", tmp_path / "p.json"
    machine.write_text(
        "name = 'Bench plotter'\nknife_offset_mm = 0.25\novercut_mm = 0.5\n"
        "cut_speed_mm_s = 200\ntravel_speed_mm_s = 400\nacceleration_mm_s2 = 3000\n"
        "force_g = 90\nmax_width_mm = 1600\nmax_section_mm = 3000\nsend_speed = true\n"
    )
    command = ["cut", str(layout), "--machine", str(machine), "-o", str(tmp_path / "p.plt")]
    assert main([*command, "--report", str(report)]) == 0
    assert report_of(report)["defaults"] == {
        "machine.units_per_mm": 40.0,
        "machine.junction_deviation_mm": 0.02,
        "machine.knife_move_s": 0.05,
        "machine.send_force": False,
        "machine.buffer_bytes": 0,
        "machine.answers_position": False,
        "machine.scale_x": 1.0,
        "machine.scale_y": 1.0,
        "machine.skew": 0.0,
        "machine.walk": 0.0,
        "machine.speed_by_curve": False,
        "machine.speed_unit_mm_s": 10.0,
        "machine.least_speed_mm_s": 20.0,
        "machine.origin_x_mm": 0.0,
        "machine.origin_y_mm": 0.0,
        "machine.mirror_x": False,
        "machine.mirror_y": False,
        "machine.swap_axes": False,
        "machine.relative": False,
        "machine.most_command_bytes": 0,
        "machine.largest_unit": 1073741823,
    }


def test_check_says_what_a_mesh_is_like(panel: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(panel), "--unit", "mm"]) == 0
    out = capsys.readouterr().out
    assert "1,152 triangles" in out
    assert "one sheet" in out


@pytest.mark.parametrize(
    "command", ["check", "flatten", "lay", "fit", "strip", "nest", "cut", "job", "demo", "send"]
)
def test_every_command_teaches_by_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    out = capsys.readouterr().out
    assert "Example" in out
    assert f"layflat {command}" in out


def test_the_version_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"layflat {layflat.__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["flatten"], "Missing argument"),
        (["flatten", "a.ply", "-o", "a.obj", "--finger-aversion", "0"], "range"),
        (["flatten", "a.ply", "-o", "a.obj", "--unit", "ell"], "ell"),
        (["fold"], "No such command"),
        (["nest", "--width", "610", "-o", "a.dxf"], "Missing argument"),
    ],
)
def test_wrong_usage_is_one_sentence_and_exit_code_2(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert words in captured.err
    assert "Traceback" not in captured.err
    assert captured.out == ""


def test_an_unknown_suffix_is_refused(
    panel: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flatten", str(panel), "-o", str(tmp_path / "a.doc")]) == 2
    assert ".obj or .dxf or .svg" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", [KeyboardInterrupt, MemoryError])
def test_stopping_and_lack_of_memory_end_in_a_sentence(
    kind: type[BaseException],
    panel: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def fail(*args: object, **options: object) -> Callable[[], None]:
        raise kind

    monkeypatch.setattr("layflat.job.flatten_file", fail)
    code = main(["flatten", str(panel), "-o", str(tmp_path / "a.obj")])
    assert code == (130 if kind is KeyboardInterrupt else 2)
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
