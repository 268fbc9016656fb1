"""Every command and every file that README and guide show does what they say."""

import ast
import re
import shlex
from pathlib import Path

import click
import pytest
import trimesh

import pages
import zoo
from layflat.cli.main import layflat_command, main
from layflat.cut import read_machine, read_marks, read_readings, read_times
from layflat.film import read_film, read_strip_test
from layflat.job import read_order, read_week
from layflat.pattern import read_drawing
from layflat.revise import read_notes_file
from layflat.surface import Mesh, read_panels

READERS = {
    "board-panels.json": read_panels,
    "job.toml": read_order,
    "film.toml": read_film,
    "strip.toml": read_strip_test,
    "plotter.toml": read_machine,
    "readings.toml": read_readings,
    "marks.toml": read_marks,
    "test-cut.svg": read_drawing,
    "week.toml": read_week,
    "times.toml": read_times,
    "notes.toml": read_notes_file,
}


def save(mesh: Mesh, path: Path, *, per_mm: float = 1.0) -> None:
    trimesh.Trimesh(mesh.vertices_mm * per_mm, mesh.faces, process=False).export(path)


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with all that the documents take for granted: scans, and the guide's own files."""
    save(zoo.sheet(51, side_mm=700.0, jitter=0.2, seed=1), tmp_path / "board.ply")
    dome = zoo.sheet(21, side_mm=400.0, height=zoo.bowl(1500.0))
    for name in ("panel", "hood", "fender"):
        save(dome, tmp_path / f"{name}.ply")
    save(dome, tmp_path / "body.ply", per_mm=0.001)
    for name, text in pages.files(pages.GUIDE).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("page", [pages.README, pages.GUIDE], ids=lambda page: page.name)
def test_every_command_runs(page: Path, workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = pages.commands(page)
    assert len(lines) >= 5
    for line in lines:
        program, *arguments = shlex.split(line)
        assert program == "layflat", line
        if arguments[0] == "nest" and "--seconds" not in arguments:
            arguments += ["--seconds", "1"]  # the search's budget, nothing else
        assert main(arguments) == 0, f"{line}\n{capsys.readouterr().err}"
        for option in ("-o", "--report"):
            if option in arguments:
                assert (workshop / arguments[arguments.index(option) + 1]).exists(), line


def test_every_settings_block_is_a_whole_file_that_is_read(workshop: Path) -> None:
    shown = {"toml", "json", "svg"}
    whole = pages.files(pages.GUIDE)
    for page in (pages.README, pages.GUIDE):
        loose = [b.text for b in pages.blocks(page) if b.language in shown and b.mark == ""]
        assert loose == []
    assert set(whole) == set(READERS)
    for name in whole:
        READERS[name](workshop / name)


def test_every_make_target_that_is_named_exists() -> None:
    makefile = (pages.ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^(\w+):", makefile, re.MULTILINE))
    for page in pages.PAGES:
        text = page.read_text(encoding="utf-8")
        code = [*(block.text for block in pages.blocks(page)), *pages.codes(text)]
        named = {name for part in code for name in re.findall(r"^make (\w+)", part, re.MULTILINE)}
        assert named <= targets, page.name


def test_every_option_that_is_named_exists() -> None:
    context = click.Context(layflat_command)
    known = {"--help", "--version"}
    for name in layflat_command.list_commands(context):
        command = layflat_command.get_command(context, name)
        assert command is not None
        known |= {option for item in command.params for option in item.opts}
    for page in (pages.README, pages.GUIDE):
        named = re.findall(r"(?<![\w-])--[a-z][a-z-]+", page.read_text(encoding="utf-8"))
        assert set(named) <= known, page.name


def said() -> list[str]:
    """Every string of the code, with … for what is filled in."""
    found = []
    for path in (pages.ROOT / "src").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.append(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [v.value if isinstance(v, ast.Constant) else "…" for v in node.values]
                found.append("".join(map(str, parts)))
    return found


def test_every_sentence_that_the_guide_explains_is_one_that_the_program_says() -> None:
    tables = pages.tables(pages.GUIDE)
    rows = [*tables["sentences"], *tables["mends"]]
    assert len(rows) > 20
    strings = said()
    for row in rows:
        parts = [
            part.strip()
            for part in row["it says"].split(" (a note")[0].split("…")
            if part.strip(" .")
        ]
        wanted = re.compile(".*".join(map(re.escape, parts)), re.DOTALL)
        assert any(wanted.search(string) for string in strings), row["it says"]
