"""Weed lines, and which piece comes before which."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cut.shapes import circle, machine, on_stock, rectangle, rounded
from layflat.base import SettingError
from layflat.cut import Wishes, landed, program, read_hpgl, simulate
from layflat.cut.sheet import sheets_of
from layflat.cut.waste_lines import weed_lines
from layflat.cut.wishes import precedence, require_names
from layflat.pattern import Drawing, Pattern

WISHES = Wishes(strip_mm=100.0, clear_mm=3.0)


def row() -> Drawing:
    return on_stock(
        Pattern("left", rounded(30, 40, 120, 200, 20.0), (circle(70, 100, 12, clockwise=True),)),
        Pattern("disc", circle(190, 120, 45)),
        Pattern("right", rectangle(260, 60, 370, 250)),
    )


def test_a_piece_of_a_layout_is_called_with_or_without_its_number() -> None:
    drawing = row()
    numbered = replace(
        drawing,
        patterns=tuple(
            replace(one, name=f"{number} {one.name}")
            for number, one in enumerate(drawing.patterns, start=1)
        ),
    )
    (sheet,) = sheets_of(numbered, machine())
    names = [pattern.name for pattern in sheet.patterns]
    pairs = precedence(sheet, ("right", "1 left"))
    assert (names.index("3 right"), names.index("1 left")) in pairs
    require_names(("right", "2 disc"), [sheet])
    with pytest.raises(SettingError, match="No piece is called “3 disc”"):
        require_names(("3 disc",), [sheet])


def test_least_is_cut_at_an_edge_of_the_pieces_shadow() -> None:
    # One boundary, sought within 150 to 250 mm: over the whole width but in the shadow of the
    # rectangle, where 300 - 2 x 2 - (200 + 2 x 2) mm are left.
    film = shapely.box(180, 50, 230, 250)
    lines = weed_lines(film, reach=shapely.box(0, 0, 400, 300), strip_mm=200, clear_mm=2)
    assert sum(line.length_mm for line in lines) == pytest.approx(300 - 4 - 204)
    assert all(178 <= line.x_mm <= 232 for line in lines)


def test_weed_lines_come_last_and_are_told() -> None:
    section = program(row(), machine(), wishes=WISHES).sections[0]
    kinds = [cut.kind for cut in section.cuts]
    assert kinds.index("weed line") > max(i for i, kind in enumerate(kinds) if kind == "outline")
    assert section.cut_names[-1].startswith("weed line ")
    assert section.strokes == section.cuts[-1].last
    bare = program(row(), machine()).sections[0]
    assert section.cuts[: len(bare.cuts)] == bare.cuts
    assert len(section.cuts) > len(bare.cuts) + 2


@pytest.mark.parametrize(
    "feed",
    [
        {"walk": 0.01},
        {"walk": -0.01, "max_width_mm": 305.0},
        {"walk": -0.01, "max_width_mm": 295.0},
        {"scale_y": 0.98, "max_width_mm": 300.0},
        {"skew": 0.05},
        {"walk": 0.004, "skew": -0.006, "scale_x": 1.01, "scale_y": 0.99},
    ],
)
def test_weed_lines_end_where_a_walking_film_takes_the_knife_no_farther(
    feed: dict[str, float],
) -> None:
    ours = machine(**feed)
    drawing = on_stock(
        Pattern("left", rounded(40, 60, 220, 200, 8.0)),
        Pattern("right", circle(900, 150, 60)),
        length=1500.0,
    )
    section = program(drawing, ours, wishes=Wishes(strip_mm=200.0)).sections[0]
    told = read_hpgl(section.hpgl)
    ways = [stroke.points_mm for stroke in told if stroke.down]
    lines = [np.vstack(ways[c.first : c.last]) for c in section.cuts if c.kind == "weed line"]
    assert len(lines) >= 6
    assert min(line.min() for line in lines) >= 2.0 - 0.3
    assert max(line[:, 1].max() for line in lines) <= ours.max_width_mm - 2.0 + 0.3
    # No line is left out for it: nearly all of the width is cut where no piece lies.
    assert sum(np.ptp(line[:, 1]) > 270 for line in lines) >= 4


def test_a_cut_starts_where_a_walking_film_lets_the_knife_get() -> None:
    # Beside the outline's lower side there is waste, but the head is told nothing below 0.
    drawing = on_stock(Pattern("sill", rectangle(300, 4.2, 380, 200)))
    made = program(drawing, machine(walk=0.01))
    assert not made.notes
    assert min(stroke.points_mm.min() for stroke in read_hpgl(made.hpgl)) >= 0.0


@given(
    places=st.lists(
        st.tuples(st.floats(-12, 12), st.floats(-12, 12), st.floats(12, 33), st.booleans()),
        min_size=1,
        max_size=6,
    ),
    strip=st.floats(80, 400),
    clear=st.floats(0.6, 8),
)
@settings(max_examples=12, deadline=None)
def test_every_line_is_cut_once_and_weed_lines_keep_clear(
    places: list[tuple[float, float, float, bool]], strip: float, clear: float
) -> None:
    patterns = []
    for i, (dx, dy, radius, has_opening) in enumerate(places):
        x, y = 60.0 + 120.0 * (i % 3) + dx, 60.0 + 120.0 * (i // 3) + dy
        inner = (circle(x, y, 0.4 * radius, clockwise=True),) if has_opening else ()
        patterns.append(Pattern(f"piece {i}", circle(x, y, radius), inner))
    drawing = on_stock(*patterns)
    made = program(drawing, machine(), wishes=Wishes(strip_mm=strip, clear_mm=clear))
    section, sheet = made.sections[0], sheets_of(drawing, machine())[0]
    # Every line of every piece exactly once.
    lines = [(section.pieces[c.piece], c.kind) for c in section.cuts if c.piece is not None]
    wanted = [(p.name, "outline") for p in patterns]
    wanted += [(p.name, "opening") for p in patterns for _ in p.cut_outs]
    assert sorted(lines) == sorted(wanted)
    # Nothing outside the section; the tip on weed lines as far from film as is said.
    strokes = landed(read_hpgl(section.hpgl), machine())
    points = np.vstack([stroke.points_mm for stroke in strokes])
    assert points.min() >= 0.0
    assert points[:, 0].max() <= sheet.length_mm
    assert points[:, 1].max() <= sheet.width_mm
    tips = simulate(strokes, knife_offset_mm=0.25).cuts
    for cut in section.cuts:
        if cut.kind == "weed line":
            away = shapely.distance(
                sheet.film, shapely.points(np.vstack(tips[cut.first : cut.last]))
            )
            assert away.min() >= clear - 0.03


def test_a_small_piece_comes_before_its_great_neighbour_and_an_inner_one_before_its_outer() -> None:
    drawing = on_stock(
        Pattern("ring", circle(100, 150, 80), (circle(100, 150, 70, clockwise=True),)),
        Pattern("disc", circle(100, 150, 60)),
        Pattern("chip", circle(195, 150, 8)),
        Pattern("far", circle(330, 150, 20)),
    )
    pairs = precedence(sheets_of(drawing, machine())[0], ())
    assert set(pairs) == {(1, 0), (2, 0)}
    order = program(drawing, machine()).sections[0].pieces
    assert order.index("disc") < order.index("ring")
    assert order.index("chip") < order.index("ring")


def test_pieces_that_are_laid_first_are_cut_first() -> None:
    for first in (("right", "left"), ("disc",), ("left", "disc", "right")):
        order = program(row(), machine(), wishes=Wishes(first=first)).sections[0].pieces
        assert order[: len(first)] == first


def test_what_lies_in_a_named_piece_comes_with_it() -> None:
    drawing = on_stock(
        Pattern("ring", circle(150, 150, 80), (circle(150, 150, 50, clockwise=True),)),
        Pattern("disc", circle(150, 150, 30)),
        Pattern("other", circle(300, 150, 30)),
    )
    made = program(drawing, machine(), wishes=Wishes(first=("ring", "disc")))
    assert made.sections[0].pieces == ("disc", "ring", "other")


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"strip_mm": 10.0}, "cannot be 10 mm wide"),
        ({"strip_mm": float("nan")}, "cannot be nan mm wide"),
        ({"clear_mm": 0.0}, "cannot stay 0 mm from film"),
    ],
)
def test_wishes_out_of_range_are_refused(wishes: dict[str, float], words: str) -> None:
    with pytest.raises(SettingError, match=words):
        Wishes(**wishes)  # type: ignore[arg-type]


def test_an_unknown_name_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(SettingError, match=r"“hood”.*disc, left, right"):
        program(row(), machine(), wishes=Wishes(first=("hood",)))
