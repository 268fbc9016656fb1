"""Blank or fitted: the least rectangle by brute force, lengths under the knife, the proposal."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from film.shapes import cap, film_of, graph, level
from layflat.base import FitError, FloatArray, SettingError
from layflat.film import Flat, flatten
from layflat.fit import BlankOrFitted, BlankRates, blank_or_fitted, least_rectangle
from layflat.pattern import EdgeFinish, Finish, Pattern, from_flat
from layflat.surface import EdgeKind, KeepOut, KeepOutKind, Mesh, Region, whole_region

WIDE, DEEP = 600.0, 400.0
BOARD = graph(level, width=WIDE, depth=DEEP, across=13, along=9)
ALL_TRIM = (EdgeKind.TRIM,) * 4


def with_kinds(mesh: Mesh, kinds: tuple[EdgeKind, ...]) -> Region:
    region = whole_region(mesh, name="The board")
    (loop,) = region.loops
    edges = tuple(replace(e, kind=kinds[i % len(kinds)]) for i, e in enumerate(loop.edges))
    return Region(region.mesh, (replace(loop, edges=edges),))


def compared(
    mesh: Mesh = BOARD,
    *,
    kinds: tuple[EdgeKind, ...] = ALL_TRIM,
    roll_mm: float = 1524.0,
    fitted_min: float = 60.0,
    one_direction: bool = False,
    **options: object,
) -> BlankOrFitted:
    region = with_kinds(mesh, kinds)
    flat = flatten(region.mesh, replace(film_of(), one_direction=one_direction))
    return blank_or_fitted(
        flat, region, pattern_of(flat, region), roll_mm=roll_mm, fitted_min=fitted_min,
        **options,  # type: ignore[arg-type]
    )  # fmt: skip


def pattern_of(flat: Flat, region: Region) -> Pattern:
    made = from_flat(flat, region, name="board", finishes=lambda _: EdgeFinish(Finish.FLUSH))
    return made.pattern


def oval(seed: int) -> FloatArray:
    """A random star-shaped outline some 500 mm across."""
    random = np.random.default_rng(seed)
    turn = np.sort(random.uniform(0, 2 * np.pi, 12))
    radius = random.uniform(100, 300, 12)
    return np.stack((1.5 * radius * np.cos(turn), radius * np.sin(turn)), axis=1)


@given(seed=st.integers(0, 10_000))
def test_the_least_rectangle_on_a_wide_roll_is_the_one_of_an_outside_library(seed: int) -> None:
    """Shapely's (GEOS) minimum rotated rectangle, for a roll that is never the limit."""
    outline = oval(seed)
    found = least_rectangle(
        outline, roll_mm=5000.0, margin_mm=0.0, one_direction=False, least_rest_mm=0.0
    )
    other = shapely.minimum_rotated_rectangle(shapely.Polygon(outline))
    assert found.used_mm2 == pytest.approx(other.area, rel=1e-6)


# The best turn is the one that just leaves a rest of use, but for rounding.
@example(seed=6577, roll_mm=522.0, margin_mm=0.0, least_rest_mm=9.285497496465297)
@given(
    seed=st.integers(0, 10_000),
    roll_mm=st.floats(350.0, 900.0),
    margin_mm=st.floats(0.0, 40.0),
    least_rest_mm=st.floats(0.0, 400.0),
)
def test_no_turn_of_a_fine_grid_takes_less(
    seed: int, roll_mm: float, margin_mm: float, least_rest_mm: float
) -> None:
    outline = oval(seed)
    turns = np.radians(np.arange(0.0, 180.0, 0.1))
    cos, sin = np.cos(turns)[:, None], np.sin(turns)[:, None]
    x, y = outline.T
    along = np.ptp(x * cos - y * sin, axis=1) + 2 * margin_mm
    across = np.ptp(x * sin + y * cos, axis=1) + 2 * margin_mm
    used = along * np.where(roll_mm - across < least_rest_mm, roll_mm, across)
    fits = across <= roll_mm
    try:
        found = least_rectangle(
            outline, roll_mm=roll_mm, margin_mm=margin_mm, one_direction=False,
            least_rest_mm=least_rest_mm,
        )  # fmt: skip
    except FitError:
        assert not fits.any()
        return
    assert found.across_mm <= roll_mm + 1e-6
    if fits.any():
        assert found.used_mm2 <= used[fits].min() * (1 + 1e-9)
    # It covers the piece: turned back onto it, margin and all.
    turned = found.turn
    assert np.ptp(x * math.cos(turned) - y * math.sin(turned)) + 2 * margin_mm == pytest.approx(
        found.along_mm, rel=1e-9
    )


def test_film_with_a_direction_is_not_turned() -> None:
    diamond = 200.0 * np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)])
    options = {"roll_mm": 5000.0, "margin_mm": 0.0, "least_rest_mm": 0.0}
    free = least_rectangle(diamond, one_direction=False, **options)
    kept = least_rectangle(diamond, one_direction=True, **options)
    assert free.used_mm2 == pytest.approx(80_000.0)
    assert (kept.along_mm, kept.across_mm, kept.turn) == (400.0, 400.0, 0.0)
    with pytest.raises(FitError, match="100 mm wider than the roll of 300"):
        least_rectangle(diamond, one_direction=True, **{**options, "roll_mm": 300.0})


def test_a_board_by_hand() -> None:
    found = compared(kinds=(EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.OPEN, EdgeKind.GAP))
    assert found.rectangle is not None
    assert sorted((found.rectangle.along_mm, found.rectangle.across_mm)) == pytest.approx(
        [460.0, 660.0], abs=0.1
    )
    # 0.66 m by 0.46 m of film against 0.24 m² at 75 % of a layout.
    assert found.blank_mm2 == pytest.approx(660 * 460, rel=1e-3)
    assert found.fitted_mm2 == pytest.approx(240_000 / 0.75, rel=1e-3)
    assert found.trimmed_mm == pytest.approx(2000.0, rel=1e-6)
    assert found.beside_paint_mm == pytest.approx(2000.0, rel=1e-6)
    assert found.on_paint_mm == 0.0
    # 3 min to cut it, 2 m of trimming at 4 min, against 60.
    assert found.blank_min == pytest.approx(11.0, rel=1e-6)
    assert found.costs == pytest.approx((0.3036 - 0.32) * 40 - 49.0, abs=0.01)
    assert found.take_blank
    assert found.sentence.startswith("A blank will do for “board”: ")
    assert any("2.0 m of it with paint beside it and 0.0 m on paint" in r for r in found.reasons)
    assert any("Assumed by this program: margin" in r for r in found.reasons)
    assert "practised hands" in found.caution
    assert "sensors" in found.caution


def test_a_blank_that_costs_more_is_not_proposed() -> None:
    found = compared(fitted_min=5.0)
    assert found.can_lie
    assert not found.take_blank
    assert "would cost" in found.sentence
    rest = compared(roll_mm=700.0, fitted_min=5.0)
    # 460 mm across leave 240 of 700, which is no use: the whole width counts.
    assert rest.blank_mm2 == pytest.approx(min(660 * 700, 460 * 700), rel=1e-3)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"kinds": (EdgeKind.INNER, *ALL_TRIM[1:])}, "own open paint"),
        ({"roll_mm": 300.0}, "wider than the roll of 300"),
        (
            {
                "keep_outs": (
                    KeepOut(
                        KeepOutKind.SENSOR,
                        np.array([(0, 0, 0), (9, 0, 0), (9, 9, 0)], float),
                        "radar",
                    ),
                )
            },
            "leaves radar free: nobody trims",
        ),
        ({"mesh": cap(12, angle=0.7, radius=400.0)}, "would not lie down"),
    ],
)
def test_what_speaks_against_any_blank_is_said(options: dict[str, object], words: str) -> None:
    found = compared(fitted_min=500.0, **options)  # type: ignore[arg-type]
    assert not found.take_blank
    assert found.sentence == "Cut “board” fitted: a blank is no choice here."
    assert any(words in reason for reason in found.reasons)


def test_the_shop_s_own_numbers_count_and_are_not_called_assumed() -> None:
    rates = BlankRates(margin_mm=50.0, per_hour=0.0, own=frozenset({"margin_mm", "per_hour"}))
    found = compared(rates=rates, fitted_mm2=400_000.0)
    assert found.fitted_mm2 == 400_000.0
    assert found.blank_mm2 == pytest.approx(700 * 500, rel=1e-3)
    assert found.costs == pytest.approx(-0.05 * 40, abs=0.02)
    (said,) = [reason for reason in found.reasons if reason.startswith("Assumed")]
    assert "margin" not in said
    assert "work per hour" not in said
    assert "used share" not in said
    assert "minutes to trim a metre 4" in said


@pytest.mark.parametrize(
    ("name", "value"),
    [("margin_mm", 0.0), ("fitted_yield", 1.2), ("film_per_m2", float("nan")), ("per_hour", -1.0)],
)
def test_rates_that_cannot_be_are_refused(name: str, value: float) -> None:
    with pytest.raises(SettingError, match=name):
        replace(BlankRates(), **{name: value})


@pytest.mark.parametrize("options", [{"roll_mm": 0.0}, {"fitted_min": float("nan")}])
def test_a_roll_or_minutes_that_cannot_be_are_refused(options: dict[str, float]) -> None:
    with pytest.raises(SettingError, match="cannot be"):
        compared(**options)  # type: ignore[arg-type]
