"""`layflat pack` and `layflat unpack`: what was packed comes out; bad input leaves nothing."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from exchange.parcels import SCAN
from layflat.cli import main
from layflat.cli.pack import command as pack_command
from layflat.cli.unpack import command as unpack_command
from layflat.pattern import Drawing, dxf_text, pattern_json, read_drawing
from layflat.surface import BodyInfo, Edge, EdgeKind, Panel, panels_json
from revise.panel import panel

CORNERS = [[0.0, 0.0, 0.0], [900.0, 0.0, 0.0], [900.0, 700.0, 10.0]]
INFO = BodyInfo("Vesper coupe", panels=(Panel("hood", (Edge(EdgeKind.OPEN, CORNERS, "front"),)),))
WHOSE = ["--maker", "Vesper", "--model", "coupe"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "cap.dxf").write_text(dxf_text(Drawing((panel("cap"),))), encoding="utf-8")
    (tmp_path / "body.ply").write_bytes(SCAN)
    (tmp_path / "panels.json").write_text(panels_json(INFO), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def packed(*more: str, shop: str = "Lampwick Yard", key: str = "yard.key") -> int:
    return main(["pack", *more, *WHOSE, "--shop", shop, "--key", key, "-o", "out.zip"])


def the_fingerprint(said: str) -> str:
    return said.split("fingerprint ", 1)[1].split()[0]


def test_what_was_packed_comes_out(folder: Path) -> None:
    """By click's own runner, then read by Layflat as any drawing is."""
    runner = CliRunner()
    given = ["cap.dxf", "--scan", "body.ply", "--unit", "mm", "--panels", "panels.json"]
    whose = [*WHOSE, "--shop", "Lampwick Yard", "--key", "yard.key", "-o", "out.zip"]
    first = runner.invoke(pack_command, [*given, *whose])
    assert first.exit_code == 0, first.output
    assert "yard.key is new: your key." in first.output
    assert "out.zip: 1 scan, 1 pattern; signed as Lampwick Yard" in first.output
    assert (folder / "yard.key").stat().st_mode & 0o077 == 0
    data = (folder / "out.zip").read_bytes()
    again = runner.invoke(pack_command, [*given, *whose])
    assert "is new" not in again.output
    assert (folder / "out.zip").read_bytes() == data
    shop = the_fingerprint(first.output)
    looked = runner.invoke(unpack_command, ["out.zip"])
    assert f"Vesper coupe, signed as Lampwick Yard, fingerprint {shop}" in looked.output
    assert "Anybody can write a name" in looked.output
    assert not (folder / "there").exists()
    taken = runner.invoke(unpack_command, ["out.zip", "-o", "there", "--from", shop.lower()])
    assert taken.exit_code == 0, taken.output
    assert "there: 4 files" in taken.output
    there = folder / "there"
    assert (there / "scans/1.ply").read_bytes() == SCAN
    assert (there / "panels/1.json").read_bytes() == (folder / "panels.json").read_bytes()
    (was,) = read_drawing(folder / "cap.dxf").patterns
    assert json.loads((there / "patterns/1/1.json").read_bytes()) == pattern_json(was)
    (drawn,) = read_drawing(there / "patterns/1/1.dxf").patterns
    assert len(drawn.cut_outs) == len(was.cut_outs)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ([], "There is nothing to pack"),
        (["gone.dxf"], "gone.dxf"),
        (["body.ply"], "body.ply"),
        (["cap.dxf", "--panels", "panels.json"], "Panels go with the scan"),
        (["--scan", "body.ply"], "give it with --unit"),
        (["--scan", "cap.dxf", "--unit", "mm"], "cap.dxf"),
        (["--scan", "body.ply", "--unit", "mm", "--panels", "cap.dxf"], "cap.dxf"),
        (["cap.dxf", "cap.dxf"], "two patterns of one name"),
        (["cap.dxf", "--shop", ""], "shop"),
        (["cap.dxf", "--shop", "a\u202eb"], "cannot be printed"),
        (["cap.dxf", "--maker", "x" * 81], "maker"),
        (["cap.dxf", "--key", "cap.dxf"], "holds no key"),
        (["cap.dxf", "--key", "."], "holds no key"),
        (["cap.dxf", "--key", "gone/yard.key"], "yard.key cannot be written"),
        (["cap.dxf", "-o", "cap.dxf"], "not written over"),
        (["cap.dxf", "-o", "gone/out.zip"], "there is no folder"),
    ],
)
def test_what_cannot_be_packed_leaves_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], more: list[str], says: str
) -> None:
    before = _files(folder)
    whose = [*WHOSE, "--shop", "Lampwick Yard", "--key", "yard.key", "-o", "out.zip"]
    assert main(["pack", *whose, *more]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.startswith("layflat: ")
    assert said.count("\n") == 1
    assert _files(folder) == before


def test_a_key_is_not_written_over(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert packed("cap.dxf") == 0
    key = (folder / "yard.key").read_bytes()
    whose = [*WHOSE, "--shop", "Lampwick Yard", "--key", "yard.key", "-o", "yard.key"]
    assert main(["pack", "cap.dxf", *whose]) == 2
    assert "not written over" in capsys.readouterr().err
    assert (folder / "yard.key").read_bytes() == key


@pytest.mark.parametrize("way", ["gone", "folder", "text", "cut", "changed", "another", "no print"])
def test_what_is_not_whole_is_not_unpacked(
    folder: Path, capsys: pytest.CaptureFixture[str], way: str
) -> None:
    assert packed("cap.dxf") == 0
    shop = the_fingerprint(capsys.readouterr().out)
    archive = folder / "out.zip"
    data = archive.read_bytes()
    more: list[str] = []
    if way == "gone":
        archive.unlink()
    elif way == "folder":
        archive.unlink()
        archive.mkdir()
    elif way == "text":
        archive.write_text("hello\n" * 50)
    elif way == "cut":
        archive.write_bytes(data[:-30])
    elif way == "changed":
        archive.write_bytes(data.replace(b"Vesper", b"Vespar"))
    elif way == "another":
        more = ["--from", ("B" if shop[0] == "A" else "A") + shop[1:]]
    else:
        more = ["--from", "MZXW"]
    before = _files(folder)
    assert main(["unpack", "out.zip", "-o", "there", *more]) == 2
    said = capsys.readouterr().err
    assert said.startswith("layflat: ")
    assert said.count("\n") == 1
    assert _files(folder) == before


def test_a_folder_of_somebody_else_s_is_left_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert packed("cap.dxf") == 0
    (folder / "there").mkdir()
    (folder / "there" / "letter.txt").write_text("mine")
    before = _files(folder)
    assert main(["unpack", "out.zip", "-o", "there"]) == 2
    assert "there" in capsys.readouterr().err
    assert _files(folder) == before


def _files(folder: Path) -> dict[str, bytes]:
    """All that lies in a folder, also aside and hidden."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }
