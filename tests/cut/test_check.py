"""The check accepts what is right and refuses every fault that is put in on purpose."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cut.shapes import circle, machine, on_stock, plate, rectangle, two_sections, with_texts
from layflat.base import CheckError, LayflatError
from layflat.cut import (
    AWAY_MM,
    CORNER_MM,
    CutProgram,
    check_program,
    program,
    read_hpgl,
    simulate,
)
from layflat.cut.elements import Element, sampled
from layflat.pattern import Curve, Drawing, Pattern, sample

OFFSETS = (0.25, 0.5)


def lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


@pytest.fixture(scope="module", params=OFFSETS)
def good(request: pytest.FixtureRequest) -> tuple[CutProgram, float]:
    return program(plate(), machine(knife_offset_mm=request.param)), request.param


def test_a_good_program_lies_well_within_the_tolerance(good: tuple[CutProgram, float]) -> None:
    error = good[0].tip_error
    # Rounding 0.0177, chords 0.005, thinning 0.002, reference line 0.002: see the theory.
    assert error.max_away_mm < 0.027
    assert error.max_corner_mm < 0.027
    assert error.uncut_mm == 0.0
    assert error.least_overlap_mm > 0.45


@pytest.mark.parametrize("wrong_by", [0.1, -0.1])
def test_a_wrong_offset_is_refused(good: tuple[CutProgram, float], wrong_by: float) -> None:
    made, offset = good
    with pytest.raises(CheckError, match=r"fin|plate"):
        check_program(made, plate(), machine(knife_offset_mm=offset + wrong_by))


def test_compensation_switched_off_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def pivot_on_the_line(cut: list[Element], **knife: float) -> np.ndarray:
        return sampled(cut, step_mm=0.5)

    monkeypatch.setattr("layflat.cut.compose.pivot_path", pivot_on_the_line)
    with pytest.raises(CheckError, match=r"(of|piece) (fin|plate)"):
        program(plate(), machine())


def test_a_missing_overcut_is_refused() -> None:
    made = program(plate(), machine(overcut_mm=0.0))
    with pytest.raises(CheckError, match="beyond its start"):
        check_program(made, plate(), machine(overcut_mm=0.5))


def test_a_cut_that_does_not_close_is_refused() -> None:
    def shorten(text: str) -> str:
        cut = [line for line in lines(text) if line.startswith("PD")]
        longest = max(cut, key=len)
        return text.replace(longest, longest[: longest.rindex(",", 0, longest.rindex(","))] + ";\n")

    with pytest.raises(CheckError):
        check_program(with_texts(program(plate(), machine()), shorten), plate(), machine())


@pytest.mark.parametrize("which", range(1, 4))
def test_a_dropped_knife_down_is_refused(good: tuple[CutProgram, float], which: int) -> None:
    made, offset = good

    def drop(text: str) -> str:
        down = [i for i, line in enumerate(lines(text)) if line.startswith("PD")]
        kept = lines(text)
        kept[down[which]] = "PU" + kept[down[which]][2:]
        return "".join(kept)

    with pytest.raises(CheckError, match="not cut at all"):
        check_program(with_texts(made, drop), plate(), machine(knife_offset_mm=offset))


def test_an_outline_before_its_cut_out_is_refused() -> None:
    made = program(plate(), machine())

    def swap(text: str) -> str:
        # The strokes are pairs of lines (PU, PD); the plate's outline follows its cut-out.
        every = lines(text)
        pairs = [every[i : i + 2] for i in range(1, len(every) - 2, 2)]
        hole = min(range(1, len(pairs)), key=lambda i: np.ptp(_places(pairs[i][1])[:, 0]))
        pairs[hole], pairs[hole + 1] = pairs[hole + 1], pairs[hole]
        return "".join([every[0], *itertools.chain.from_iterable(pairs), *every[-2:]])

    with pytest.raises(CheckError, match="after its outline"):
        check_program(with_texts(made, swap), plate(), machine())


def _places(down: str) -> np.ndarray:
    return np.array([int(n) for n in down[2:].rstrip(";\n").split(",")]).reshape(-1, 2)


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.999])
def test_a_truncated_program_is_refused(good: tuple[CutProgram, float], share: float) -> None:
    made, offset = good
    with pytest.raises(LayflatError):
        check_program(
            with_texts(made, lambda text: text[: int(share * len(text))]),
            plate(),
            machine(knife_offset_mm=offset),
        )


def test_a_cut_across_a_piece_is_refused() -> None:
    made = program(plate(), machine())
    stray = "PU1200,2400;\nPD1800,2400;\n"
    with pytest.raises(CheckError, match="enters the piece plate"):
        check_program(
            with_texts(made, lambda text: text.replace("SP0;", stray + "PU0,0;SP0;")),
            plate(),
            machine(),
        )


@pytest.mark.parametrize("depth_mm", [0.025, 0.2])
def test_a_cut_from_the_waste_may_not_reach_into_film(depth_mm: float) -> None:
    # From below the plate's edge at y = 30; the tip ends as far behind its pivot as the offset is.
    end = round(40 * (30.0 + depth_mm + machine().knife_offset_mm))
    made = with_texts(
        program(plate(), machine()),
        lambda text: text.replace("SP0;", f"PU3000,400;\nPD3000,{end};\nPU0,0;SP0;"),
    )
    if depth_mm <= 0.05:
        assert check_program(made, plate(), machine()).stray_mm == pytest.approx(depth_mm, abs=0.01)
        return
    with pytest.raises(CheckError, match=r"enters the piece plate by 0\.200 mm"):
        check_program(made, plate(), machine())


def test_a_program_moved_by_a_tenth_is_refused() -> None:
    made = program(plate(), machine())
    x, y = 20.1, 30.0
    moved = on_stock(
        Pattern("plate", rectangle(x, y, x + 150, y + 100), (circle(90, 80, 10),)),
        plate().patterns[1],
    )
    with pytest.raises(CheckError):
        check_program(made, moved, machine())


def test_a_whole_that_is_not_its_sections_is_refused() -> None:
    made = program(two_sections(), machine())
    with pytest.raises(CheckError, match="sum of its sections"):
        check_program(
            dataclasses.replace(made, hpgl=made.sections[0].hpgl), two_sections(), machine()
        )


def test_a_lost_section_is_refused() -> None:
    made = program(two_sections(), machine())
    with pytest.raises(CheckError, match="the drawing has 2"):
        check_program(
            dataclasses.replace(made, sections=made.sections[:1]), two_sections(), machine()
        )


@given(
    radius=st.sampled_from([1.0, 4.0, 25.0, 80.0]),
    offset=st.sampled_from([0.1, 0.25, 0.5, 1.0]),
    waves=st.lists(st.tuples(st.floats(-0.25, 0.25), st.floats(0.0, 6.0)), min_size=1, max_size=5),
    count=st.integers(8, 160),
    bulge=st.sampled_from([0.0, 0.1, -0.1, 0.4]),
)
@settings(max_examples=20, deadline=None, derandomize=True)
def test_curves_with_corners_pass_or_are_refused(
    radius: float,
    offset: float,
    waves: list[tuple[float, float]],
    count: int,
    bulge: float,
) -> None:
    angle = np.arange(count) / count * 2.0 * np.pi
    r = radius * (
        1.0 + sum(a / k * np.cos(k * angle + phase) for k, (a, phase) in enumerate(waves, start=1))
    )
    points = np.column_stack((120.0 + r * np.cos(angle), 120.0 + r * np.sin(angle)))
    curve = Curve(points_mm=points, bulges=np.full(count, bulge))
    drawing = on_stock(Pattern("blob", curve))
    knife = machine(knife_offset_mm=offset)
    try:
        made = program(drawing, knife)
    except LayflatError:
        return
    # A second look that shares nothing with the check but the simulated path: every point of
    # the line lies near a tip point of the cut, and none of the cut's end lies off the line.
    assert made.tip_error.max_away_mm <= AWAY_MM
    path = simulate(read_hpgl(made.hpgl), knife_offset_mm=offset, heading_rad=2.0, step_mm=0.02)
    tips = path.cuts[1]
    line = sample(curve, deviation_mm=0.005)
    gaps = np.sqrt(((line[:, None, :] - tips[None, :, :]) ** 2).sum(axis=2)).min(axis=1)
    assert gaps.max() <= CORNER_MM + 0.25 / 2.0


def test_smooth_curves_down_to_the_knife_offset_pass() -> None:
    for radius in (0.3, 0.5, 1.0, 5.0):
        made = program(on_stock(Pattern("dot", circle(50, 50, radius))), machine())
        assert made.tip_error.max_away_mm < 0.027


def test_the_film_between_near_pieces_stays_whole() -> None:
    gap = 1.0
    drawing: Drawing = on_stock(
        Pattern("one", rectangle(20, 30, 80, 90)),
        Pattern("two", rectangle(80 + gap, 30, 140, 90)),
        Pattern("three", rectangle(20, 90 + gap, 140, 150)),
    )
    error = program(drawing, machine()).tip_error
    assert error.stray_mm < 0.027
