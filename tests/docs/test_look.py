"""The page on the look states the colours that papers and pictures have."""

import re
import sys

import pytest

import pages
from layflat.papers import contrast_ratio, look

ROW = re.compile(r"^\| (\w+) \| `(#\w{6})` \|[^|]*\|([^|]*)\|([^|]*)\|$", re.MULTILINE)
ROWS = ROW.findall((pages.ROOT / "docs" / "look.md").read_text(encoding="utf-8"))


def test_the_page_names_every_colour() -> None:
    assert {name for name, *_ in ROWS} == {"paper", "ground", "ink", "pencil", "line", "chalk"}


@pytest.mark.parametrize(("name", "colour", "on_paper", "on_ground"), ROWS)
def test_colours_and_contrasts_are_the_code_s(
    name: str, colour: str, on_paper: str, on_ground: str
) -> None:
    assert getattr(look, name.upper()) == colour
    for stated, below in ((on_paper, look.PAPER), (on_ground, look.GROUND)):
        if stated.strip():
            assert float(stated.split(":")[0]) == pytest.approx(
                contrast_ratio(colour, below), abs=0.05
            )


def test_the_pictures_have_the_same_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(pages.ROOT / "docs"))
    from figures import svg

    for name in ("PAPER", "GROUND", "INK", "PENCIL", "LINE", "CHALK"):
        assert getattr(svg, name) == getattr(look, name)
    assert look.OKABE_ITO["vermillion"] == svg.VERMILLION
    for module in ("figures", "figures.svg"):
        sys.modules.pop(module, None)
