"""Layouts made by hand: what is wrong is found, with its pieces, its value and its place."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from layflat.base import CheckError
from layflat.nest import Fault, Layout, Placement, Section, Stock, Stretch, check_layout, judge_hand
from layflat.pattern import to_polygon
from nest.pieces import bounded, rectangle, two_hooks

BOX = rectangle(100.0, 50.0, name="box")


def hand(*places: tuple[float, float], ends: tuple[float, ...] = (), **stock: object) -> Layout:
    """Boxes of 100 by 50 mm, 5 mm apart at least, on film with 60 mm between its margins."""
    film = {"width_mm": 100.0, "edge_margin_mm": 20.0, "end_margin_mm": 10.0} | stock
    bounds = (0.0, *ends, 10_000.0)
    return Layout(
        stock=Stock(**film),
        gap_mm=5.0,
        placements=tuple(
            Placement(
                pattern=BOX, number=7 + i, copy=1 + i, section=0, turn_deg=0.0, x_mm=x, y_mm=y
            )
            for i, (x, y) in enumerate(places)
        ),
        sections=tuple(Section(start_mm=a, end_mm=b) for a, b in pairwise(bounds)),
        length_mm=0.0,
        piece_area_mm2=5000.0 * len(places),
        lower_bound_mm=0.0,
        seed=0,
        seconds=0.0,
    )


def test_a_sound_layout_is_as_it_was() -> None:
    layout = two_hooks()
    judged = judge_hand(layout, max_section_mm=110)
    assert judged.is_cuttable
    assert judged.sentence == ""
    assert judged.require_cuttable() == layout


WRONG: dict[str, tuple[Layout, float | None, Fault, tuple[int, ...], float | None, str]] = {
    "overlap": (two_hooks(y_mm=-15.0), None, Fault.OVERLAP, (0, 1), 0.0, "overlap"),
    "gap": (two_hooks(y_mm=-0.1), None, Fault.GAP, (0, 1), 4.9, "are 4.90 mm apart, not 5 mm"),
    "turn": (two_hooks(turn_deg=181.0), None, Fault.TURN, (1,), None, "turned by 181°"),
    "edge": (hand((10, 19)), None, Fault.EDGE, (0,), 1.0, "1.00 mm into an edge margin"),
    "far edge": (hand((10, 33)), None, Fault.EDGE, (0,), 3.0, "3.00 mm into an edge margin"),
    "cut end": (hand((6, 25)), None, Fault.END, (0,), 4.0, "4.00 mm into an end margin"),
    "fault": (
        hand((10, 25), faults=(Stretch(start_mm=60, end_mm=62, reason="splice"),)),
        None,
        Fault.SPOILT,
        (0,),
        None,
        "piece 7 “box” lies on the fault “splice”",
    ),
    "section": (
        hand((10, 25), (117, 25)),
        200.0,
        Fault.LONG_SECTION,
        (0, 1),
        27.0,
        "pieces 7 and 8 lie together on 207 mm, and a section holds 180 mm: leave a straight lane",
    ),
    "piece": (
        hand((10, 25)),
        110.0,
        Fault.LONG_SECTION,
        (0,),
        10.0,
        "piece 7 is 100 mm long, and a section holds 90 mm",
    ),
    "roll": (hand((10, 25), length_mm=100.0), None, Fault.ROLL, (), 20.0, "20 mm more than there"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_is_found(name: str) -> None:
    layout, longest, fault, pieces, amount, says = WRONG[name]
    judged = judge_hand(layout, max_section_mm=longest)
    found = next(one for one in judged.findings if one.fault == fault)
    assert found.pieces == pieces
    assert found.amount_mm == (amount if amount is None else pytest.approx(amount, abs=0.005))
    assert says in found.sentence
    with pytest.raises(CheckError, match="It cannot be cut like this"):
        judged.require_cuttable()


def test_a_gap_is_shown_where_it_is() -> None:
    """Value and place against shapely's own, on the two boxes themselves."""
    judged = judge_hand(hand((10, 25), (113, 30)))
    (found,) = judged.findings
    boxes = [affinity.translate(to_polygon(BOX), x, y) for x, y in ((10, 25), (113, 30))]
    assert found.amount_mm == pytest.approx(boxes[0].distance(boxes[1])) == pytest.approx(3.0)
    (x0, y0), (x1, y1) = found.at_mm
    assert (x0, x1) == pytest.approx((110, 113))
    assert y0 == pytest.approx(y1)
    assert 30 <= y0 <= 75


def test_an_overlap_is_shown_inside_both() -> None:
    (found,) = judge_hand(hand((10, 25), (100, 30))).findings
    ((x, y),) = found.at_mm
    assert 100 <= x <= 110
    assert 30 <= y <= 75


def test_sections_end_where_they_did_while_a_lane_is_there() -> None:
    judged = judge_hand(hand((10, 25), (140, 25), (270, 25), ends=(120.0,)), max_section_mm=1000)
    assert judged.is_cuttable
    assert [(s.start_mm, s.end_mm) for s in judged.layout.sections] == [(0, 120), (130, 380)]
    assert [p.section for p in judged.layout.placements] == [0, 1, 1]


def test_sections_are_as_few_as_their_limit_lets_them_be() -> None:
    judged = judge_hand(hand((10, 25), (140, 25), (270, 25)), max_section_mm=250)
    assert judged.is_cuttable
    assert [(s.start_mm, s.end_mm) for s in judged.layout.sections] == [(0, 250), (260, 380)]


def test_a_lane_may_be_narrower_by_the_tolerance() -> None:
    """As margins may be, so that whatever passes the check stays in its sections."""
    judged = judge_hand(hand((10, 25), (129.992, 25), ends=(119.995,)), max_section_mm=130)
    assert judged.is_cuttable
    assert len(judged.layout.sections) == 2


def test_a_lane_that_is_closed_joins_two_sections() -> None:
    judged = judge_hand(hand((10, 25), (125, 25), ends=(115.0,)), max_section_mm=1000)
    assert judged.is_cuttable
    assert len(judged.layout.sections) == 1


def test_a_section_ends_at_a_fault() -> None:
    crease = (Stretch(start_mm=125, end_mm=135, reason="crease"),)
    judged = judge_hand(hand((10, 25), (150, 25), faults=crease))
    assert judged.is_cuttable
    assert [(s.start_mm, s.end_mm) for s in judged.layout.sections] == [(0, 120), (140, 260)]


def test_pieces_come_in_cutting_order_and_keep_their_numbers() -> None:
    judged = judge_hand(hand((270, 25), (140, 25), (10, 25)), max_section_mm=125)
    assert [p.number for p in judged.layout.placements] == [9, 8, 7]
    assert judged.layout.length_mm == 380


MOVES = st.tuples(st.floats(-40, 40), st.floats(-40, 40))


@bounded
@given(MOVES, st.sampled_from([0.0, 180.0]))
def test_it_is_the_same_judgement_as_the_check_that_every_layout_must_pass(
    move: tuple[float, float], turn_deg: float
) -> None:
    judged = judge_hand(two_hooks(x_mm=move[0], y_mm=move[1], turn_deg=turn_deg))
    placements = enumerate(judged.layout.placements, start=1)
    numbered = replace(
        judged.layout, placements=tuple(replace(item, number=i) for i, item in placements)
    )
    if judged.is_cuttable:
        check_layout(numbered)
    else:
        with pytest.raises(CheckError):
            check_layout(numbered)
