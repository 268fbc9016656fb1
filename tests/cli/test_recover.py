"""`layflat recover` and `layflat cut --witness` on files of their own."""

import json
import re
from pathlib import Path

import pytest

from cut.shapes import rectangle, rounded
from layflat.base import InputError
from layflat.cli import main
from layflat.cut import (
    CutProgram,
    generic_machine,
    program,
    program_from_text,
    read_hpgl,
    witnessed,
)
from layflat.pattern import Drawing, Pattern, dxf_text, read_drawing


def drawn() -> Drawing:
    places = [(10, 22), (160, 22), (410, 22)]
    patterns = tuple(
        Pattern(f"{i + 1} flap", rounded(x, y, x + 130, y + 70, 9.0))
        for i, (x, y) in enumerate(places)
    )
    return Drawing(
        patterns=patterns, stock=(rectangle(0, 0, 400, 115), rectangle(400, 0, 600, 115))
    )


@pytest.fixture(scope="module")
def texts() -> tuple[str, str]:
    return dxf_text(drawn()), program(drawn(), generic_machine()).hpgl


@pytest.fixture(scope="module")
def marked(texts: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> CutProgram:
    path = tmp_path_factory.mktemp("marked") / "layout.dxf"
    path.write_text(texts[0], encoding="utf-8")
    drawing, machine = read_drawing(path), generic_machine()
    return witnessed(program(drawing, machine), drawing, machine, every_mm=150)


@pytest.fixture
def layout(tmp_path: Path, texts: tuple[str, str]) -> Path:
    path = tmp_path / "layout.dxf"
    path.write_text(texts[0], encoding="utf-8")
    path.with_name("layout.plt").write_text(texts[1], encoding="utf-8")
    return path


def run(layout: Path, *options: str, program: str = "layout.plt") -> tuple[int, Path]:
    out = layout.with_name("rest.dxf")
    command = ["recover", str(layout), str(layout.with_name(program)), "-o", str(out)]
    return main([*command, "--seconds", "0.1", *options]), out


def test_a_piece_under_the_knife_waits_until_it_was_looked_at(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = run(layout, "--at", "2", "--json")
    document = json.loads(capsys.readouterr().out)
    assert code == 0
    assert document["pieces"]["doubtful"] == ["2 flap"]
    assert document["defaults"]["gap_mm"] == 4
    assert "3 flap" in document["was"].values()
    assert "2 flap" not in document["was"].values()
    film = document["film"]
    parts = ("whole_mm", "spoiled_mm", "waste_mm", "left_mm")
    assert sum(film[part] for part in parts) == pytest.approx(film["length_in_mm"], abs=1e-5)
    new = layout.with_name("rest.plt")
    code, out = run(layout, "--at", "2", "--seen-lost", "2", "--program", str(new))
    assert code == 0
    anew = read_drawing(out)
    assert len(anew.patterns) == len(document["was"]) + 1
    # The new program is that of the new layout.
    assert new.read_text(encoding="utf-8") == program(anew, generic_machine()).hpgl


def test_a_section_s_own_program_and_strokes(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = program(read_drawing(layout), generic_machine())
    for section in made.sections:
        path = layout.with_name(f"section-{section.number}.plt")
        path.write_text(section.hpgl, encoding="utf-8")
    assert run(layout, "--whole", "1", program="section-2.plt")[0] == 2
    assert "(--section)" in capsys.readouterr().err
    options = ("--section", "2", "--whole", "2", "--begun", "2")
    assert run(layout, *options, program="section-2.plt")[0] == 0
    assert "1 whole, 0 lost, 0 doubtful, 0 to cut" in capsys.readouterr().out
    assert run(layout, *options, program="section-1.plt")[0] == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--at", "9"], "is no piece of the layout"),
        ([], "at which piece"),
        (["--section", "1"], "how many strokes are whole"),
        (["--at", "1", "--whole", "2"], "not by both"),
        (["--at", "1", "--section", "2"], "is not cut in the section"),
        (["--section", "5", "--whole", "0"], "no section 5"),
        (["--at", "1", "--seen-whole", "1", "--seen-lost", "1"], "both whole and lost"),
        (["--at", "1", "--roll", "150"], "has no room"),
    ],
)
def test_what_cannot_be_is_refused(
    layout: Path, options: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = run(layout, *options)
    assert code == 2
    assert words in capsys.readouterr().err
    assert not out.exists()


def test_another_layout_s_program_is_refused(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = Drawing(
        patterns=(Pattern("1 flap", rectangle(20, 30, 60, 60)),), stock=(rectangle(0, 0, 400, 115),)
    )
    text = program(other, generic_machine()).hpgl
    layout.with_name("other.plt").write_text(text, encoding="utf-8")
    assert run(layout, "--section", "1", "--whole", "1", program="other.plt")[0] == 2
    assert "not the program of this layout" in capsys.readouterr().err


def test_witness_marks_are_cut_and_read_over_by_recovery(
    layout: Path, marked: CutProgram, capsys: pytest.CaptureFixture[str]
) -> None:
    path = layout.with_name("marked.plt")
    assert main(["cut", str(layout), "--witness", "150", "-o", str(path)]) == 0
    text = path.read_text(encoding="utf-8")
    assert text == marked.hpgl
    assert "comes back to its witness marks by itself" in capsys.readouterr().out
    drawing, machine = read_drawing(layout), generic_machine()
    # Taken apart again, the sections have the same strokes as before.
    again = program_from_text(text, drawing, machine)
    for one, other in zip(marked.sections, again.sections, strict=True):
        strokes = [[s for s in read_hpgl(p.hpgl) if s.down] for p in (one, other)]
        assert len(strokes[0]) == len(strokes[1]) == other.strokes
        for a, b in zip(*strokes, strict=True):
            assert a.points_mm.tolist() == b.points_mm.tolist()
    capsys.readouterr()
    assert run(layout, "--at", "2", "--seen-whole", "2", program="marked.plt")[0] == 0
    assert "2 whole, 0 lost, 0 doubtful, 1 to cut" in capsys.readouterr().out


def marks(layout: Path, shifts: dict[str, float], *, every: int = 150) -> Path:
    """A file of readings of marks, each off across the roll."""
    path = layout.with_name("marks.toml")
    rows = [f'[[mark]]\nname = "{name}"\ndx_mm = 0\ndy_mm = {dy}\n' for name, dy in shifts.items()]
    path.write_text("\n".join([f"every_mm = {every}", *rows]), encoding="utf-8")
    return path


def test_a_drift_that_was_read_loses_pieces_and_bends_what_follows(
    layout: Path, marked: CutProgram, capsys: pytest.CaptureFixture[str]
) -> None:
    layout.with_name("marked.plt").write_text(marked.hpgl, encoding="utf-8")
    first = marked.sections[0]
    shifts = {mark.name: round(0.018 * mark.fed_mm, 1) for mark in first.witnesses}
    new = layout.with_name("rest.plt")
    ended = ("--section", "1", "--whole", str(first.strokes), "--program", str(new), "--json")
    read = ("--marks", str(marks(layout, shifts)))
    code, out = run(layout, *ended, *read, program="marked.plt")
    document = json.loads(capsys.readouterr().out)
    assert code == 0
    assert document["drift"]["verdict"] == "correct"
    assert document["drift"]["across"] == pytest.approx(0.018, abs=0.001)
    # What was cut on film that had been fed before does not count as lost.
    assert "2 flap" in document["pieces"]["lost"]
    assert set(document["was"].values()) == {*document["pieces"]["lost"], "3 flap"}
    # Bent: not the program that a film that stays would get.
    assert new.read_text(encoding="utf-8") != program(read_drawing(out), generic_machine()).hpgl
    assert run(layout, *ended, "--marks", str(marks(layout, shifts, every=200)))[0] == 2
    assert "not this layout's with marks every 200 mm" in capsys.readouterr().err


def test_marks_of_a_program_with_weed_lines_and_tabs_are_read_with_the_same_wishes(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, report = layout.with_name("wished.plt"), layout.with_name("wished.json")
    wishes = ("--strips", "80", "--tabs", "2", "--first", "2 flap")
    told = ("--witness", "150", "-o", str(path), "--report", str(report))
    assert main(["cut", str(layout), *wishes, *told]) == 0
    rows = json.loads(report.read_text())["sections"][0]
    names = [mark["name"] for mark in rows["witnesses"]]
    assert [row["kind"] for row in rows["bridges"]] == ["tab"] * 2 * len(rows["pieces"])
    assert all(row["along_mm"] > 100 for row in rows["rectangles"])
    read = ("--marks", str(marks(layout, dict.fromkeys(names, 0.0))), "--json")
    at = ("--at", "2", "--seen-lost", "2", "--program", str(layout.with_name("rest.plt")))
    capsys.readouterr()
    assert run(layout, *at, *read, program="wished.plt")[0] == 2
    assert "interval and the wishes that it was made with" in capsys.readouterr().err
    assert run(layout, *at, *read, *wishes, program="wished.plt")[0] == 0
    document = json.loads(capsys.readouterr().out)
    assert document["drift"]["verdict"] == "go on"
    assert "2 flap" in document["was"].values()
    # The new program keeps the wishes: three strokes to every outline, and weed lines after them.
    downs = [s for s in read_hpgl(layout.with_name("rest.plt").read_text()) if s.down]
    assert len(downs) > 1 + 3 * len(document["was"])


def test_a_program_that_was_cut_short_anywhere_is_refused(
    layout: Path, texts: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    drawing, text = read_drawing(layout), texts[1]
    for end in (match.end() for match in re.finditer(";", text[: text.rindex(";")])):
        with pytest.raises(InputError, match="is not whole"):
            program_from_text(text[:end], drawing, generic_machine())
    for short in (text[: text.rindex("SP0")], text[: text.rindex("PU")], text[:200]):
        layout.with_name("layout.plt").write_text(short, encoding="utf-8")
        code, out = run(layout, "--at", "1")
        assert code == 2
        assert "is not whole" in capsys.readouterr().err
        assert not out.exists()


def test_a_program_in_another_s_letters_is_refused(layout: Path, texts: tuple[str, str]) -> None:
    """A machine reads small letters alike; where Layflat's programs may be parted is known."""
    drawing, small = read_drawing(layout), texts[1].lower()
    with pytest.raises(InputError, match="none that Layflat wrote"):
        program_from_text(f"{small}PU;SP0;", drawing, generic_machine())
