"""Damaged drawings come in right, are asked about, or are refused; never silently wrong.

The 200 files are made and judged by `bench/drawings.py`; here is a sample of the same.
"""

import logging
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from layflat.pattern import Curve
from pattern.damaged_dxf import FILE_SINS as DXF_SINS
from pattern.damaged_dxf import damaged_dxf
from pattern.damaged_svg import FILE_SINS as SVG_SINS
from pattern.damaged_svg import damaged_svg
from pattern.truth import Case, outcome

Damager = Callable[[int, Path], Case]
pytestmark = pytest.mark.on_sqlite
SAMPLE = [(damaged_dxf, seed) for seed in range(16)] + [(damaged_svg, seed) for seed in range(12)]


@pytest.fixture(autouse=True)
def quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logging.getLogger("ezdxf"), "disabled", True)


@pytest.mark.parametrize(("damager", "seed"), SAMPLE)
def test_a_damaged_drawing_never_comes_in_silently_wrong(
    damager: Damager, seed: int, tmp_path: Path
) -> None:
    case = damager(seed, tmp_path)
    found, why = outcome(case)
    assert case.fits(found), f"{case.sins}: {why}"


def test_the_sample_holds_most_sins(tmp_path: Path) -> None:
    sins = {sin for damager, seed in SAMPLE for sin in damager(seed, tmp_path).sins}
    assert len(sins & (DXF_SINS.keys() | SVG_SINS.keys())) >= 16


def test_the_judge_sees_a_drawing_that_is_a_tenth_of_a_millimetre_off(tmp_path: Path) -> None:
    case = next(case for seed in range(0, 40, 3) if not (case := damaged_dxf(seed, tmp_path)).sins)
    assert outcome(case)[0] == "right"
    first = case.loops[0]
    moved = Curve(first.curve.points_mm + 0.1, first.curve.bulges)
    case.loops[0] = replace(first, curve=moved)
    assert outcome(case)[0] == "WRONG"
