"""The screen's colours: as the page on the look states them, and legible.

Source: WCAG 2.2, 1.4.3 (text, 4.5 : 1) and 1.4.11 (parts that carry meaning, 3 : 1). The formula's
own check against published values stands with the papers.
"""

import re

import pytest

import pages
from layflat.papers import contrast_ratio, look

SHEET = (pages.ROOT / "src/layflat/web/static/layflat/look.css").read_text(encoding="utf-8")
PAGE = (pages.ROOT / "docs/look.md").read_text(encoding="utf-8")
TEXT, PARTS = 4.5, 3.0
SCHEMES = ("light", "dark")


def variables(scheme: str) -> dict[str, str]:
    """The colours of a scheme by their variables' names."""
    light, dark = re.findall(r":root \{(.*?)\}", SHEET, re.DOTALL)
    found = re.findall(r"(--[\w-]+): (#\w{6});", light if scheme == "light" else dark)
    return dict(found)


def test_both_schemes_have_the_same_variables() -> None:
    assert set(variables("light")) == set(variables("dark"))
    assert len(variables("light")) >= 8


def test_the_light_scheme_is_that_of_paper() -> None:
    colours = variables("light")
    for name in ("PAPER", "GROUND", "INK", "PENCIL", "LINE", "CHALK"):
        assert colours[f"--{name.lower()}"] == getattr(look, name).lower()
    assert colours["--vermillion"] == look.OKABE_ITO["vermillion"].lower()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    ("name", "least"),
    [("--ink", TEXT), ("--pencil", TEXT), ("--chalk", TEXT), ("--vermillion", PARTS)],
)
def test_what_is_read_can_be_read(scheme: str, name: str, least: float) -> None:
    colours = variables(scheme)
    for below in ("--paper", "--ground"):
        assert contrast_ratio(colours[name], colours[below]) >= least, below


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_on_buttons_and_pennants_can_be_read(scheme: str) -> None:
    colours = variables(scheme)
    assert contrast_ratio(colours["--on-chalk"], colours["--chalk"]) >= TEXT
    assert contrast_ratio(colours["--paper"], colours["--ink"]) >= TEXT


def test_the_page_on_the_look_states_these_values() -> None:
    rows = re.findall(r"^\| `(--\w+)` \| `(#\w+)` \| `(#\w+)` \|(.*)\|[^|]*\|$", PAGE, re.MULTILINE)
    stated = {name for name, *_ in rows} | {"--on-chalk"}
    assert stated == set(variables("light"))
    for name, light, dark, ratios in rows:
        assert (light, dark) == (variables("light")[name], variables("dark")[name])
        belows = [(scheme, below) for scheme in SCHEMES for below in ("--paper", "--ground")]
        for (scheme, below), cell in zip(belows, ratios.split("|"), strict=True):
            if cell.strip():
                colours = variables(scheme)
                ratio = contrast_ratio(colours[name], colours[below])
                assert float(cell) == pytest.approx(ratio, abs=0.051), (name, scheme, below)
