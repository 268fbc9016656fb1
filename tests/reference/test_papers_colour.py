"""Colours against published sets and formulas.

Okabe and Ito, *Color Universal Design* (2002, rev. 2008), as carried by matplotlib; contrast
by WCAG 2.2; lightness L* by CIE 15 from the luminance that WCAG defines.
"""

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_hex

from layflat.papers import contrast_ratio, strain_colours
from layflat.papers.look import CHALK, GROUND, INK, OKABE_ITO, PAPER, PENCIL

WHITE, BLACK = "#FFFFFF", "#000000"


def test_the_categories_are_the_published_set() -> None:
    published = {to_hex(colour).upper() for colour in matplotlib.color_sequences["okabe_ito"]}
    assert set(OKABE_ITO.values()) == published


@pytest.mark.parametrize(
    ("colour", "on_white", "on_black"),
    [
        ("#000000", 21.000, 1.000),
        ("#E69F00", 2.252, 9.324),
        ("#56B4E9", 2.307, 9.101),
        ("#009E73", 3.421, 6.138),
        ("#F0E442", 1.322, 15.881),
        ("#0072B2", 5.185, 4.050),
        ("#D55E00", 3.867, 5.430),
        ("#CC79A7", 3.061, 6.860),
        ("#767676", 4.5422, 21 / 4.5422),
        ("#FF0000", 3.9985, 21 / 3.9985),
    ],
)
def test_contrast_ratios(colour: str, on_white: float, on_black: float) -> None:
    assert contrast_ratio(colour, WHITE) == pytest.approx(on_white, abs=6e-4)
    assert contrast_ratio(BLACK, colour) == pytest.approx(on_black, abs=6e-4)


@pytest.mark.parametrize("ground", [PAPER, GROUND])
@pytest.mark.parametrize("text", [INK, PENCIL, CHALK])
def test_text_reaches_aa_on_every_ground(text: str, ground: str) -> None:
    assert contrast_ratio(text, ground) >= 4.5


def lightness(rgb: np.ndarray) -> np.ndarray:
    c = rgb / 255.0
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    y = linear @ np.array([0.2126, 0.7152, 0.0722])
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_lightness_falls_steadily_on_either_side(side: float) -> None:
    steps = lightness(strain_colours(side * np.linspace(0, 1, 65)))
    assert (np.diff(steps) < 0).all()
    assert steps[0] - steps[-1] > 60


def test_both_sides_start_from_the_same_paper_white() -> None:
    assert lightness(strain_colours(np.array([0.0])))[0] > 95
