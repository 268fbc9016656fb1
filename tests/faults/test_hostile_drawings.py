"""Drawings made to keep a reader busy: refused by counts, before the costly work begins.

Bounds are proved by counts of what is done, never by a clock.
"""

from collections.abc import Callable
from pathlib import Path

import ezdxf
import pytest
from scipy.spatial import KDTree

import layflat.pattern.dxf_open as dxf_open
import layflat.pattern.dxf_read as dxf_read
import layflat.pattern.mend_doubles as mend_doubles
import layflat.pattern.mend_parts as mend_parts
import layflat.pattern.svg_path as svg_path
import layflat.pattern.svg_read as svg_read
from layflat.base import DrawingError
from layflat.pattern import read_drawing
from layflat.pattern.sketch import Part

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" viewBox="0 0 100 100">{}</svg>'


def many_segments() -> str:
    return '<path d="M0 0' + " L9 9 9 0" * 250_000 + '"/>'


def many_points() -> str:
    return '<polygon points="' + "0 0 9 9 9 0 " * 170_000 + '"/>'


def many_small_paths() -> str:
    return ('<path d="M0 0' + " L9 9" * 4_000 + '"/>') * 120


@pytest.mark.parametrize("body", [many_segments, many_points, many_small_paths])
def test_a_million_segments_are_refused_before_they_are_parsed(
    body: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parsed: list[int] = []
    real = svg_path.Path

    def counting(*words: str) -> svg_path.Path:
        parsed.append(sum(len(word) for word in words if isinstance(word, str)))
        return real("M 0 0 L 1 1 L 1 0 Z")

    monkeypatch.setattr(svg_path, "Path", counting)
    path = tmp_path / "much.svg"
    path.write_text(SVG.format(body()))
    with pytest.raises(DrawingError, match="more than 400000 numbers"):
        read_drawing(path)
    assert sum(parsed) < 2_500_000


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("<g>" * 40 + "</g>" * 40, "deeper than 32"),
        ("<g>" * 5_000 + "</g>" * 5_000, "deeper than 32"),
        ("<g/>" * 200_001, "more than 200000 elements"),
        ('<g id="a"><use href="#a"/></g>', "clones"),
        ('<svg viewBox="0 0 1 1"><path d="M0 0"/></svg>' * 3 + '<use href="a.svg#b"/>', "another"),
        ('<symbol id="s" viewBox="0 0 0 1"/><use href="#s" width="1" height="1"/>', "no area"),
        (
            f'<g transform="{" " * 200_000}x"><path d="M0 0 1 1"/></g>',
            "transformation that is none",
        ),
        (f'<g transform="{"scale(1) " * 50_000}"><path d="M0 0"/></g>', "is none"),
        (f'<rect width="{"1" * 200_000}!" height="1"/>', "absolute lengths"),
        (f'<rect width="{"9" * 1_000}" height="1"/>', "absolute lengths"),
    ],
    ids=[
        "deep",
        "very deep",
        "elements",
        "use",
        "another file",
        "empty symbol",
        "blanks",
        "chain",
        "digits",
        "endless",
    ],
)
def test_a_hostile_svg_is_refused_in_one_sentence(body: str, words: str, tmp_path: Path) -> None:
    """Each of these costs quadratic or exponential work where nothing bounds it."""
    path = tmp_path / "hostile.svg"
    path.write_text(SVG.format(body))
    with pytest.raises(DrawingError, match=words) as caught:
        read_drawing(path)
    assert len(str(caught.value)) < 300


def test_a_view_box_of_a_million_digits_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "box.svg"
    box = "1" * 200_000 + "!"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 {box}"/>')
    with pytest.raises(DrawingError, match="view box"):
        read_drawing(path)


@pytest.mark.parametrize("levels", [6, 12])
def test_clones_of_clones_unfold_within_a_count(
    levels: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    groups = "".join(
        f'<g id="l{n}">' + f'<use href="#l{n - 1}"/>' * 10 + "</g>" for n in range(1, levels)
    )
    path = tmp_path / "clones.svg"
    bomb = f'<use href="#l{levels - 1}"/>'
    path.write_text(SVG.format(f'<defs><path id="l0" d="M0 0 1 1"/>{groups}</defs>{bomb}'))
    monkeypatch.setattr(svg_read, "_MOST_CLONED", 2_000)
    visited: list[int] = []
    real = svg_read.inside

    def counting(*given: object) -> object:
        visited.append(1)
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(svg_read, "inside", counting)
    with pytest.raises(DrawingError, match="clones"):
        read_drawing(path)
    assert len(visited) <= 2_002


def test_line_ends_all_in_one_place_are_refused_before_they_are_paired(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(KDTree, "query_pairs", lambda *_, **__: pytest.fail("they were paired"))
    rays = "".join(f'<line x1="5" y1="5" x2="{10 + i}" y2="90"/>' for i in range(400))
    path = tmp_path / "star.svg"
    path.write_text(SVG.format(f'<g id="OUTLINE" stroke="black">{rays}</g>'))
    with pytest.raises(DrawingError, match="line ends meet in one place"):
        read_drawing(path)


def test_lines_all_upon_each_other_are_refused_before_they_are_split(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mend_doubles, "_MOST_PAIRS", 0)
    looked: list[int] = []
    monkeypatch.setattr(mend_doubles, "_shared", lambda *_: looked.append(1) or [])
    rays = "".join(f'<line x1="{i}" y1="5" x2="{90 - i}" y2="5"/>' for i in range(1, 400, 2))
    path = tmp_path / "pile.svg"
    path.write_text(SVG.format(f'<g id="OUTLINE" stroke="black">{rays}</g>'))
    with pytest.raises(DrawingError, match="too many lines lie upon each other"):
        read_drawing(path)
    assert len(looked) <= 10 * 200


@pytest.mark.parametrize("apart", ["0", "0.3"])
def test_the_same_loop_a_thousand_times_is_no_thousand_squared(
    apart: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mend_parts, "_MOST_LOOPS_ALIKE", 0)
    compared: list[int] = []
    real = mend_parts.apart_mm

    def counting(one: Part, two: Part) -> float:
        compared.append(1)
        return real(one, two) + float(apart) * 5

    monkeypatch.setattr(mend_parts, "apart_mm", counting)
    boxes = '<rect x="5" y="5" width="50" height="40"/>' * 300
    path = tmp_path / "same.svg"
    path.write_text(SVG.format(f'<g id="OUTLINE">{boxes}</g>'))
    with pytest.raises(DrawingError, match="closed lines lie upon each other"):
        read_drawing(path)
    assert len(compared) <= 8 * 300


def test_loops_in_loops_are_counted(tmp_path: Path) -> None:
    rings = "".join(f'<circle cx="500" cy="500" r="{10 + 3 * i}"/>' for i in range(40))
    path = tmp_path / "rings.svg"
    path.write_text(SVG.format(rings))
    with pytest.raises(DrawingError, match="more than 32 loops lie one in the other"):
        read_drawing(path)


def test_a_dxf_of_many_records_is_refused_before_the_library_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(dxf_open, "readfile", lambda _: pytest.fail("it was read"))
    path = tmp_path / "much.dxf"
    path.write_text("0\nSECTION\n2\nENTITIES\n" + "  0\nLINE\n" * 200_001 + "0\nENDSEC\n0\nEOF\n")
    with pytest.raises(DrawingError, match="at most 200000 are read"):
        read_drawing(path)


def document_with_block() -> ezdxf.document.Drawing:
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("B0").add_line((0, 0), (1, 0))
    return document


def test_an_insert_repeated_a_million_times_is_refused_unfolded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = document_with_block()
    insert = document.modelspace().add_blockref("B0", (0, 0))
    insert.grid(size=(1000, 1000), spacing=(1, 1))
    document.saveas(tmp_path / "grid.dxf")
    monkeypatch.setattr(
        ezdxf.entities.Insert, "virtual_entities", lambda *_, **__: pytest.fail("it was unfolded")
    )
    with pytest.raises(DrawingError, match="1000000 times"):
        read_drawing(tmp_path / "grid.dxf")


def test_a_block_that_holds_itself_is_refused_or_left_out(tmp_path: Path) -> None:
    document = document_with_block()
    document.blocks.get("B0").add_blockref("B0", (1, 1))
    document.modelspace().add_blockref("B0", (0, 0), dxfattribs={"layer": "OUTLINE"})
    document.saveas(tmp_path / "itself.dxf")
    with pytest.raises(DrawingError):
        read_drawing(tmp_path / "itself.dxf")


def test_blocks_in_blocks_unfold_within_a_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = document_with_block()
    for level in range(1, 8):
        block = document.blocks.new(f"B{level}")
        for copy in range(10):
            block.add_blockref(f"B{level - 1}", (copy, 0))
    document.modelspace().add_blockref("B7", (0, 0), dxfattribs={"layer": "OUTLINE"})
    document.saveas(tmp_path / "bomb.dxf")
    monkeypatch.setattr(dxf_read, "_MOST_UNFOLDED", 2_000)
    unfolded: list[int] = []
    real = ezdxf.entities.Insert.virtual_entities

    def counting(self: ezdxf.entities.Insert, **options: object) -> object:
        unfolded.append(1)
        return real(self, **options)

    monkeypatch.setattr(ezdxf.entities.Insert, "virtual_entities", counting)
    with pytest.raises(DrawingError, match="unfold"):
        read_drawing(tmp_path / "bomb.dxf")
    assert len(unfolded) <= 2_000


@pytest.mark.parametrize(("degree", "count"), [(3, 12_000), (500, 600)])
def test_a_monstrous_spline_is_refused(degree: int, count: int, tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    points = [(i % 100, i // 100, 0) for i in range(count)]
    document.modelspace().add_open_spline(points, degree=degree, dxfattribs={"layer": "OUTLINE"})
    document.saveas(tmp_path / "spline.dxf")
    with pytest.raises(DrawingError, match="too large"):
        read_drawing(tmp_path / "spline.dxf")
