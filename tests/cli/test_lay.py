"""`layflat lay`: a given piece on a surface, from the command line."""

import json
import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import trimesh

from layflat.cli import main

RADIUS_MM, HALF_MM = 900.0, 150.0
TOP = f"150,150=0,0,{RADIUS_MM:g}"


@pytest.fixture(scope="module")
def cap(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A square cap of a sphere, its top at z = 900 mm."""
    side = np.linspace(-HALF_MM, HALF_MM, 17)
    x, y = (grid.ravel() for grid in np.meshgrid(side, side))
    points = np.column_stack((x, y, np.sqrt(RADIUS_MM**2 - x**2 - y**2)))
    corner = (np.arange(16)[:, None] * 17 + np.arange(16)).ravel()
    lower = np.column_stack((corner, corner + 1, corner + 18))
    upper = np.column_stack((corner, corner + 18, corner + 17))
    path = tmp_path_factory.mktemp("cap") / "cap.ply"
    trimesh.Trimesh(points, np.vstack((lower, upper)), process=False).export(path)
    return path


def laid(capsys: pytest.CaptureFixture[str], *words: str | Path) -> dict[str, object]:
    assert main(["lay", *map(str, words), "--unit", "mm", "--json"]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_a_pattern_comes_back_to_its_panel(
    cap: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drawing = tmp_path / "cap.dxf"
    assert main(["flatten", str(cap), "--unit", "mm", "-o", str(drawing)]) == 0
    out, report = tmp_path / "laid.obj", tmp_path / "laid.json"
    words = ["lay", str(cap), str(drawing), "--unit", "mm", "-o", str(out), "--report", str(report)]
    capsys.readouterr()
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "Its edges end 0.0 mm from the surface's on the mean, 0.1 mm at most." in said
    results = json.loads(report.read_text(encoding="utf-8"))
    assert results["edges_off_mm"]["greatest"] < 0.2
    mesh = trimesh.load(out, process=False)
    assert np.linalg.norm(mesh.vertices, axis=1) == pytest.approx(RADIUS_MM, rel=1e-3)


def test_a_smaller_rectangle_ends_short_all_round(
    cap: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A square 20 mm less than the panel's chords lies about 10 mm short on each side."""
    results = laid(capsys, cap, "--rectangle", "280x280", "--anchor", "140,140=0,0,900")
    off = results["edges_off_mm"]
    assert isinstance(off, dict)
    # Chords of 300 mm have arcs 1.4 mm longer on this sphere.
    assert off["mean"] == pytest.approx(10.7, abs=0.8)
    assert results["hanging_mm2"] == pytest.approx(0.0, abs=1.0)


def test_film_that_cannot_push_says_how_far_it_fingers(
    cap: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = laid(capsys, cap, "--rectangle", "300x300", "--anchor", TOP)
    relaxed = laid(capsys, cap, "--rectangle", "300x300", "--anchor", TOP, "--law", "relaxed")
    assert relaxed["energy_mj"] < 0.05 * plain["energy_mj"]  # type: ignore[operator]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "Say what is laid"),
        (["--rectangle", "300"], "cannot be read; write its length and width"),
        (["--rectangle", "300x2"], "sides of 5 to 20000 mm, not 2"),
        (["--rectangle", "300x300", "--anchor", "1,2"], "cannot be read; write the point"),
        (["--rectangle", "300x300", "--anchor", "400,9=0,0,900"], "off the piece"),
        (["--rectangle", "300x300", "--anchor", "150,150=0,0,700"], "off the surface"),
        (["--rectangle", "3000x3000", "--anchor", "9,9=0,0,900"], "would hang beyond"),
        (["--rectangle", "300x300", "--law", "relaxed", "--finger-aversion", "2"], "no finger"),
    ],
)
def test_what_cannot_be_laid_is_one_sentence(
    cap: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert main(["lay", str(cap), "--unit", "mm", *words]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1


@pytest.mark.parametrize(
    ("key", "value"), [("poisson_ratio", "0.5"), ("youngs_modulus_mpa", "-20.0")]
)
def test_film_out_of_physics_is_refused(
    cap: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], key: str, value: str
) -> None:
    generic = (files("layflat.film") / "generic.toml").read_text(encoding="utf-8")
    film = tmp_path / "film.toml"
    film.write_text(re.sub(rf"(?m)^{key} = [\d.]+$", f"{key} = {value}", generic), "utf-8")
    words = ["lay", str(cap), "--unit", "mm", "--rectangle", "300x300", "--film", str(film)]
    assert main(words) == 2
    error = capsys.readouterr().err
    assert key in error
    assert len(error.splitlines()) == 1
