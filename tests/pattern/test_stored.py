"""Patterns as JSON: every bit comes back, and what was damaged is refused with words."""

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import DrawingError
from layflat.pattern import (
    Curve,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
    pattern_json,
    read_pattern_json,
)
from layflat.surface import EdgeKind

numbers = st.floats(-1e6, 1e6, allow_nan=False)
words = st.text(max_size=20)


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    rows = draw(st.lists(st.tuples(numbers, numbers, numbers), min_size=2, max_size=6))
    table = np.array(rows)
    return Curve(points_mm=table[:, :2], bulges=table[:, 2])


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    outline = draw(curves())
    joints = st.integers(0, len(outline.bulges) - 1)
    points = st.lists(st.tuples(numbers, numbers), min_size=1, max_size=3)
    ends = st.builds(EdgeFinish, st.sampled_from(Finish), numbers)
    return Pattern(
        name=draw(words),
        outline=outline,
        cut_outs=tuple(draw(st.lists(curves(), max_size=2))),
        marks=tuple(
            draw(st.lists(st.builds(Mark, st.sampled_from(MarkKind), points, words), max_size=2))
        ),
        edges=tuple(
            draw(
                st.lists(
                    st.builds(EdgeRecord, words, st.sampled_from(EdgeKind), ends, numbers, numbers),
                    max_size=2,
                )
            )
        ),
        deviation_mm=draw(numbers),
        outline_corners=draw(
            st.none()
            | st.lists(joints, max_size=3, unique=True).map(lambda rows: np.array(rows, np.int64))
        ),
    )


def bits(pattern: Pattern) -> list[Any]:
    """Everything in a pattern, numbers as their bytes: -0.0 is not 0.0."""
    curves = (pattern.outline, *pattern.cut_outs)
    corners = pattern.outline_corners
    return [
        pattern.name,
        [(curve.points_mm.tobytes(), curve.bulges.tobytes()) for curve in curves],
        [(mark.kind, mark.points_mm.tobytes(), mark.text) for mark in pattern.marks],
        [
            (e.name, e.kind, e.finish, e.surface_length_mm.hex(), e.flat_length_mm.hex())
            for e in pattern.edges
        ],
        float(pattern.deviation_mm).hex(),
        None if corners is None else corners.tolist(),
    ]


@given(patterns())
def test_every_bit_comes_back_through_json(pattern: Pattern) -> None:
    text = json.dumps(pattern_json(pattern), allow_nan=False)
    again = read_pattern_json(json.loads(text))
    assert bits(again) == bits(pattern)
    assert json.dumps(pattern_json(again)) == text


def whole() -> dict[str, Any]:
    square = Curve(points_mm=np.array([[0, 0], [9, 0], [9, 9.5]]), bulges=np.zeros(3))
    return pattern_json(
        Pattern(
            name="hood",
            outline=square,
            cut_outs=(square,),
            marks=(Mark(MarkKind.NUMBER, np.array([[1.0, 2.0]]), "1"),),
            edges=(EdgeRecord("front", EdgeKind.GAP, EdgeFinish(Finish.SHORT, 1.5), 9.0, 9.1),),
            outline_corners=np.array([0, 2]),
        )
    )


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        ((), [], "it is no table"),
        (("form",), "other", "its form is 'other'"),
        (("name",), 7, "its name is no text"),
        (("name",), "x" * 501, "at most 500"),
        (("outline",), None, "its outline is no list"),
        (("outline",), [0.0, 0.0, 0.0], "has 3 numbers"),
        (("outline",), [0.0] * 7, "has 7 numbers"),
        (("outline", 1), math.nan, "its outline is nan"),
        (("outline", 1), 1e7, "its outline is 1e+07"),
        (("outline", 1), True, "its outline is no number"),
        (("outline", 1), "1", "its outline is no number"),
        (("cut_outs",), {}, "the list of its cut-outs is no list"),
        (("cut_outs",), [[]] * 10_001, "10001 entries; 10000 are the most"),
        (("cut_outs", 0), 3, "cut-out 1 is no list"),
        (("marks", 0), 3, "mark 1 is no table"),
        (("marks", 0, "kind"), "arrow", "the kind of mark 1 is not one of align, notch, number"),
        (("marks", 0, "points"), [], "mark 1 has 0 numbers"),
        (("edges", 0, "finish"), "glued", "the finish of edge 1 is not one of"),
        (("edges", 0, "flat_length_mm"), None, "the flat length of edge 1 is no number"),
        (("deviation_mm",), None, "its deviation is no number"),
        (("corners",), [0, 3], "its corners are not joints from 0 to 2"),
        (("corners",), [0.0], "its corners are not joints"),
        (("corners",), [0] * 4, "the list of its corners has 4 entries"),
    ],
)
def test_what_was_damaged_is_refused(place: tuple[Any, ...], value: Any, says: str) -> None:
    data: Any = whole()
    if place:
        inner = data
        for key in place[:-1]:
            inner = inner[key]
        inner[place[-1]] = value
    else:
        data = value
    with pytest.raises(DrawingError) as refused:
        read_pattern_json(data)
    assert says in str(refused.value)
    assert "Compute the cover anew." in str(refused.value)
