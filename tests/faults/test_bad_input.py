"""Bad input and bad luck, through the command line: one sentence, exit code 2, nothing written.

Where the process itself matters, `python -m layflat` runs as a process of its own.
"""

import os
import resource
import struct
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh

import zoo
from layflat.cli import main
from layflat.surface import Mesh


@dataclass(frozen=True)
class Ended:
    """How a run of the command ended."""

    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def here(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    """Run the command in this process."""

    def command(*arguments: str) -> Ended:
        code = main(arguments)
        captured = capsys.readouterr()
        return Ended(code, captured.out, captured.err)

    return command


def process(*arguments: str, file_limit: int | None = None) -> Ended:
    def limit() -> None:
        if file_limit is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_limit, file_limit))

    done = subprocess.run(
        [sys.executable, "-m", "layflat", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        preexec_fn=limit,
    )
    return Ended(done.returncode, done.stdout, done.stderr)


def assert_one_sentence(result: Ended, *words: str) -> None:
    assert result.returncode == 2, result.stderr
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("layflat: ")
    assert "Traceback" not in result.stderr
    for word in words:
        assert word in lines[0]
    assert result.stdout == ""


def save(path: Path, vertices: object, faces: object) -> None:
    trimesh.Trimesh(np.asarray(vertices, float), np.asarray(faces), process=False).export(path)


def save_zoo(path: Path, mesh: Mesh) -> None:
    save(path, mesh.vertices_mm, mesh.faces)


def grid() -> tuple[np.ndarray, np.ndarray]:
    mesh = zoo.sheet(9, side_mm=200.0, height=zoo.bowl(500.0))
    return np.array(mesh.vertices_mm), np.array(mesh.faces)


def truncated(path: Path) -> None:
    save(path, *grid())
    path.write_bytes(path.read_bytes()[:-200])


def not_a_number(path: Path) -> None:
    vertices, faces = grid()
    vertices[7, 1] = np.nan
    save(path, vertices, faces)


def too_many(path: Path) -> None:
    path.write_bytes(bytes(80) + struct.pack("<I", 5_000_000) + bytes(50 * 5_000_000))


MESHES: dict[str, tuple[Callable[[Path], object], str]] = {
    "empty": (lambda path: path.touch(), "is empty"),
    "no-mesh": (lambda path: path.write_text("a shopping list\n"), "no PLY, STL, OBJ or GLB"),
    "truncated": (truncated, "cut short"),
    "not-a-number": (not_a_number, "not finite"),
    "zero-area": (
        lambda path: save(path, [[0, 0, 0], [50, 0, 0], [100, 0, 0]], [[0, 1, 2]]),
        "area",
    ),
    "wrong-unit": (lambda path: save(path, grid()[0] / 1000, grid()[1]), "in m"),
    "far-too-large": (lambda path: save(path, grid()[0] * 1000, grid()[1]), "no vehicle panel"),
    "closed": (
        lambda path: trimesh.creation.icosphere(subdivisions=2, radius=100).export(path),
        "closed like a ball",
    ),
    "handle": (lambda path: save_zoo(path, zoo.handle_sheet()), "handle"),
    "touching-itself": (lambda path: save_zoo(path, zoo.bow_tie()), "separate pieces"),
    "one-sided": (lambda path: save_zoo(path, zoo.moebius()), "only one side"),
    "two-pieces": (
        lambda path: save(
            path,
            np.vstack([grid()[0], grid()[0] + [500, 0, 0]]),
            np.vstack([grid()[1], grid()[1] + len(grid()[0])]),
        ),
        "separate pieces",
    ),
    "one-triangle": (
        lambda path: save(path, [[0, 0, 0], [100, 0, 0], [0, 80, 20]], [[0, 1, 2]]),
        "one triangle only",
    ),
    "five-million": (too_many, "at most 3,000,000"),
}


@pytest.mark.parametrize("name", MESHES)
def test_a_mesh_that_cannot_be_used(name: str, tmp_path: Path, here: Callable[..., Ended]) -> None:
    make, words = MESHES[name]
    path = tmp_path / ("a.stl" if name == "five-million" else "a.ply")
    make(path)
    result = here("flatten", str(path), "--unit", "mm", "-o", str(tmp_path / "out.obj"))
    assert_one_sentence(result, words)
    assert sorted(tmp_path.iterdir()) == [path]


CROSSED = [(0.0, 0.0), (100.0, 0.0), (20.0, 60.0), (60.0, 60.0)]
BOX = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0)]


def draw(path: Path, outline: list[tuple[float, float]], *, closed: bool = True) -> None:
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    if outline:
        space.add_lwpolyline(outline, close=closed, dxfattribs={"layer": "OUTLINE"})
    stock = [(-10.0, -30.0), (150.0, -30.0), (150.0, 130.0), (-10.0, 130.0)]
    space.add_lwpolyline(stock, close=True, dxfattribs={"layer": "STOCK"})
    document.saveas(path)


DRAWINGS: dict[str, tuple[Callable[[Path], object], str]] = {
    "empty": (lambda path: path.touch(), "is empty"),
    "no-drawing": (lambda path: path.write_text("a shopping list\n"), "DXF"),
    "no-pieces": (lambda path: draw(path, []), "OUTLINE"),
    "open": (
        lambda path: draw(path, BOX[:3], closed=False),
        "a.dxf: Layer OUTLINE: the line is open",
    ),
    "crossing": (lambda path: draw(path, CROSSED), "cross"),
    "too-wide": (lambda path: draw(path, [(9 * x, 9 * y) for x, y in BOX]), "mm"),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_that_cannot_be_laid_out(
    name: str, tmp_path: Path, here: Callable[..., Ended]
) -> None:
    make, words = DRAWINGS[name]
    path = tmp_path / "a.dxf"
    make(path)
    out = str(tmp_path / "out.dxf")
    result = here("nest", str(path), "--width", "610", "--seconds", "1", "-o", out)
    assert_one_sentence(result, words)
    assert sorted(tmp_path.iterdir()) == [path]


MACHINE = """
name = "Bench plotter"
knife_offset_mm = 0.25
overcut_mm = 0.5
cut_speed_mm_s = 200
travel_speed_mm_s = 400
acceleration_mm_s2 = 3000
force_g = 90
max_width_mm = 1600
max_section_mm = 3000
units_per_mm = 40
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("knife_offset_mm = 0.25", "", "“knife_offset_mm” is missing"),
        ("knife_offset_mm = 0.25", "knife_offset_mm = 25", "between"),
        ("cut_speed_mm_s = 200", 'cut_speed_mm_s = "fast"', "must be a number"),
        ("force_g = 90", "force_g = -1", "between"),
        ("force_g = 90", "force_g = 90\nfource_g = 80", "“fource_g” is not a value"),
        ("force_g = 90", "force_g = = 90", "not a TOML file"),
    ],
)
def test_a_machine_file_with_a_wrong_value(
    old: str, new: str, words: str, tmp_path: Path, here: Callable[..., Ended]
) -> None:
    layout, machine = tmp_path / "a.dxf", tmp_path / "m.toml"
    draw(layout, BOX)
    command = ["cut", str(layout), "--machine", str(machine), "-o", str(tmp_path / "p.plt")]
    machine.write_text(MACHINE)
    assert here(*command).returncode == 0
    (tmp_path / "p.plt").unlink()
    machine.write_text(MACHINE.replace(old, new))
    assert_one_sentence(here(*command), words)
    assert sorted(tmp_path.iterdir()) == [layout, machine]


@pytest.fixture
def panel(tmp_path: Path) -> Path:
    path = tmp_path / "panel.ply"
    save(path, *grid())
    return path


def test_a_full_disk_leaves_no_half_file(panel: Path, tmp_path: Path) -> None:
    command = ["flatten", str(panel), "--unit", "mm", "-o", str(tmp_path / "out.obj")]
    assert_one_sentence(process(*command, file_limit=512), "cannot be written")
    assert sorted(tmp_path.iterdir()) == [panel]
    assert process(*command).returncode == 0


def test_a_folder_that_nobody_may_write_to(panel: Path, tmp_path: Path) -> None:
    folder = Path("/proc") if os.geteuid() == 0 else tmp_path / "locked"
    if os.geteuid() != 0:
        folder.mkdir(mode=0o500)
    out = folder / "out.obj"
    assert_one_sentence(process("flatten", str(panel), "--unit", "mm", "-o", str(out)), str(out))
    assert not out.exists()


def test_nothing_is_written_where_the_report_cannot_be(
    panel: Path, tmp_path: Path, here: Callable[..., Ended]
) -> None:
    out = str(tmp_path / "out.obj")
    report = str(tmp_path / "none" / "report.json")
    command = ["flatten", str(panel), "--unit", "mm", "-o", out, "--report", report]
    assert_one_sentence(here(*command), "report.json", "no folder")
    assert_one_sentence(here(*command[:-1], out), "two results")
    assert sorted(tmp_path.iterdir()) == [panel]


def test_an_input_is_not_written_over(tmp_path: Path, here: Callable[..., Ended]) -> None:
    scan, drawing = tmp_path / "scan.obj", tmp_path / "a.dxf"
    save(scan, *grid())
    draw(drawing, BOX)
    (tmp_path / "link.obj").symlink_to(scan)
    before = scan.read_bytes(), drawing.read_bytes()
    for command in (
        ["flatten", str(scan), "-o", str(scan)],
        ["flatten", str(scan), "-o", str(tmp_path / "link.obj")],
        ["check", str(scan), "--report", str(scan)],
        ["nest", str(drawing), "--width", "610", "--seconds", "1", "-o", str(drawing)],
        ["cut", str(drawing), "-o", str(tmp_path / "a.plt"), "--report", str(drawing)],
    ):
        assert_one_sentence(here(*command), "is read as input")
    assert (scan.read_bytes(), drawing.read_bytes()) == before


def test_places_are_looked_at_before_long_work(
    tmp_path: Path, here: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(*_: object, **__: object) -> None:
        raise AssertionError("the work began")

    for name in ("flatten_file", "nest_files", "cut_file", "check_file", "read_order"):
        monkeypatch.setattr(f"layflat.job.{name}", work)
    (tmp_path / "file").touch()
    for command in (
        ["flatten", "a.ply", "-o", str(tmp_path / "none" / "a.obj")],
        ["flatten", "a.ply", "-o", str(tmp_path / "a.png")],
        ["nest", "a.dxf", "--width", "610", "-o", str(tmp_path)],
        ["cut", "a.dxf", "-o", str(tmp_path / "a.svg")],
        ["check", "a.ply", "--report", str(tmp_path / "file" / "a.json")],
        ["job", "a.toml", "-o", str(tmp_path / "file")],
        ["job", "a.toml", "-o", str(tmp_path / "file" / "out")],
    ):
        assert_one_sentence(here(*command), str(tmp_path))


def test_missing_files_are_named(tmp_path: Path, here: Callable[..., Ended]) -> None:
    gone = str(tmp_path / "gone")
    for command in (
        ["flatten", gone, "-o", str(tmp_path / "a.obj")],
        ["check", gone],
        ["nest", gone + ".dxf", "--width", "610", "-o", str(tmp_path / "a.dxf")],
        ["cut", gone + ".dxf", "-o", str(tmp_path / "a.plt")],
        ["job", gone, "-o", str(tmp_path / "out")],
    ):
        assert_one_sentence(here(*command), "gone", "does not exist")
    assert list(tmp_path.iterdir()) == []
