import numpy as np
import pytest

from layflat.base import FitError, InputError
from layflat.nest import Request, Stock
from layflat.nest.parts import STRIP_SLACK_MM, Frame, make_frame, make_parts
from layflat.nest.turns import extents
from nest.pieces import HOOK, disc, piece, rectangle

FRAME = Frame(usable_mm=200.0, longest_mm=500.0, gap_mm=4.0)


def test_a_piece_that_is_too_wide_names_itself_and_says_by_how_much() -> None:
    request = Request(pattern=rectangle(100, 212.5, name="hood"), turns_deg=(0.0, 180.0))
    with pytest.raises(FitError, match=r"“hood” is 12\.5 mm too large for the 200\.0 mm between"):
        make_parts([request], FRAME)


def test_a_piece_that_is_too_long_for_a_section_names_itself() -> None:
    request = Request(pattern=rectangle(507, 150, name="rocker"), turns_deg=(0.0,))
    with pytest.raises(FitError, match=r"“rocker” is 7\.0 mm too large for the 500\.0 mm within"):
        make_parts([request], FRAME)


def test_the_best_turn_counts() -> None:
    """At 0° it is 300 mm over, at 90° only 10 mm."""
    request = Request(pattern=rectangle(210, 500, name="door"), turns_deg=(0.0, 90.0))
    with pytest.raises(FitError, match=r"10\.0 mm too large .* best turn \(90°\)"):
        make_parts([request], FRAME)


def test_all_pieces_that_do_not_fit_are_listed() -> None:
    requests = [
        Request(pattern=rectangle(100, 201, name="first")),
        Request(pattern=rectangle(100, 100, name="good")),
        Request(pattern=rectangle(100, 202, name="second")),
    ]
    with pytest.raises(FitError) as caught:
        make_parts(requests, FRAME)
    assert "“first” is 1.0 mm" in str(caught.value)
    assert "“second” is 2.0 mm" in str(caught.value)
    assert "good" not in str(caught.value)


def test_a_free_piece_finds_the_one_turn_at_which_it_fits() -> None:
    """A bar drawn at 30° with 199.99 mm across fits when it is turned back, and only then."""
    angle = np.radians(30)
    turned = np.array([[0, 0], [400, 0], [400, 199.99], [0, 199.99]]) @ np.array(
        [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]
    )
    (part,) = make_parts([Request(pattern=piece(turned.tolist()), turns_deg=None)], FRAME)
    assert {round(turn % 180, 3) for turn in part.fitting} == {150.0}


def test_turns_that_do_not_fit_are_not_offered_to_the_engine() -> None:
    request = Request(pattern=rectangle(300, 100), turns_deg=(0.0, 90.0, 180.0, 270.0))
    (part,) = make_parts([request], FRAME)
    assert part.turns == (0.0, 180.0)


def test_a_piece_exactly_as_wide_as_the_roll_allows_still_fits_the_engine() -> None:
    (part,) = make_parts([Request(pattern=disc(100.0))], FRAME)
    _, across = extents(part.grown, np.array([0.0]))
    assert across[0] < FRAME.usable_mm + FRAME.gap_mm + STRIP_SLACK_MM


def test_a_mirrored_part_is_the_mirror_image() -> None:
    (part,) = make_parts([Request(pattern=piece(HOOK), mirrored=True)], FRAME)
    assert part.polygon.bounds == (-90.0, 0.0, 0.0, 60.0)
    assert part.bounds(90.0) == pytest.approx((-60.0, -90.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("points", "what"),
    [
        ([(0, 0), (100, 100), (100, 0), (0, 100)], "touches or crosses itself"),
        ([(0, 0), (100, 0), (50, 0)], "touches or crosses itself|no area"),
        ([(0, 0), (np.nan, 0), (50, 50)], "not numbers"),
        ([(0, 0), (1e9, 0), (50, 50)], "farther than"),
    ],
)
def test_an_outline_that_is_not_sound_is_refused_by_name(points, what: str) -> None:
    with pytest.raises(InputError, match=f"“bad” .*({what})"):
        make_parts([Request(pattern=piece(points, name="bad"))], FRAME)


@pytest.mark.parametrize(
    ("request_", "what"),
    [
        (Request(pattern=rectangle(10, 10), copies=0), "0 times"),
        (Request(pattern=rectangle(10, 10), turns_deg=()), "no turn"),
        (Request(pattern=rectangle(10, 10), turns_deg=(np.nan,)), "no turn"),
    ],
)
def test_an_absurd_request_is_refused(request_: Request, what: str) -> None:
    with pytest.raises(InputError, match=what):
        make_parts([request_], FRAME)


def test_nothing_to_lay_out_is_refused() -> None:
    with pytest.raises(InputError, match="no pieces"):
        make_parts([], FRAME)


@pytest.mark.parametrize(
    ("stock", "gap", "section", "what"),
    [
        (Stock(width_mm=40, edge_margin_mm=20), 4, None, "leave nothing of a roll"),
        (Stock(width_mm=400, edge_margin_mm=-1), 4, None, "edge margin is -1"),
        (Stock(width_mm=np.nan, edge_margin_mm=20), 4, None, "roll width"),
        (Stock(width_mm=400, edge_margin_mm=20), -4, None, "gap is -4"),
        (Stock(width_mm=400, edge_margin_mm=20), np.inf, None, "gap"),
        (Stock(width_mm=400, edge_margin_mm=20), 4, 10, "leave nothing of a section"),
    ],
)
def test_a_frame_without_room_is_refused(stock: Stock, gap: float, section, what: str) -> None:
    with pytest.raises(InputError, match=what):
        make_frame(stock, gap_mm=gap, max_section_mm=section)
