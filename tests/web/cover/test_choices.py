"""Choices as values and as JSON: nothing is lost, and what nobody can trust is refused."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.pattern import EdgeFinish, Finish
from layflat.web.cover.choices import (
    FAR_MM,
    LEAST_MM,
    MOST_MM,
    Choices,
    PanelChoice,
    from_json,
    to_json,
)

NAMES = st.text(min_size=1, max_size=80).filter(lambda name: bool(name.strip()))
COORDINATES = st.floats(-FAR_MM, FAR_MM)
POINTS = st.tuples(COORDINATES, COORDINATES, COORDINATES)
DISTANCES = st.floats(LEAST_MM, MOST_MM)
ENDINGS = st.just(EdgeFinish(Finish.FLUSH)) | st.builds(
    EdgeFinish, st.sampled_from([Finish.SHORT, Finish.WRAP]), DISTANCES
)


@st.composite
def panel_choices(draw: st.DrawFn) -> PanelChoice:
    line = tuple(draw(st.just([]) | st.lists(POINTS, min_size=2, max_size=6)))
    paths = st.lists(st.lists(POINTS, min_size=2, max_size=3).map(tuple), max_size=2).map(tuple)
    return PanelChoice(
        panel=draw(NAMES),
        line_mm=line,
        keep_mm=draw(POINTS) if line else None,
        edges=draw(st.dictionaries(NAMES, ENDINGS, max_size=3)),
        film_over=draw(st.dictionaries(NAMES, NAMES, max_size=2)),
        reliefs=draw(paths),
        refused_reliefs=draw(paths),
        seams=draw(paths),
        refused_seams=draw(paths),
    )


CHOICES = st.lists(panel_choices(), max_size=4, unique_by=lambda choice: choice.panel).map(
    lambda found: Choices(tuple(found))
)


@given(CHOICES)
def test_choices_come_back_from_their_json_as_they_were(choices: Choices) -> None:
    text = json.dumps(to_json(choices), allow_nan=False)
    again = from_json(json.loads(text))
    assert again == choices
    assert json.dumps(to_json(again)) == text


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["panels", "panel", "line_mm", "keep_mm", "edges", "film_over", "finish", "x"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=20,
)


@given(JSON)
def test_whatever_json_comes_is_read_or_refused(value: Any) -> None:
    try:
        found = from_json(value)
    except InputError:
        return
    assert from_json(to_json(found)) == found


@pytest.mark.parametrize(
    "panel",
    [
        {},
        {"panel": 7},
        {"panel": "  "},
        {"panel": "x" * 81},
        {"panel": "hood", "colour": "red"},
        {"panel": "hood", "line_mm": [[0, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, 0], [1, 0, 0]]},
        {"panel": "hood", "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0], [1, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, True], [1, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, 1e9], [1, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, float("nan")], [1, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, 10**400], [1, 0, 0]], "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": [[0, 0, 0]] * 201, "keep_mm": [0, 0, 0]},
        {"panel": "hood", "line_mm": "across", "keep_mm": [0, 0, 0]},
        {"panel": "hood", "edges": []},
        {"panel": "hood", "edges": {"front": {"finish": "glue"}}},
        {"panel": "hood", "edges": {"front": {"finish": ["wrap"]}}},
        {"panel": "hood", "edges": {"front": {"finish": "wrap"}}},
        {"panel": "hood", "edges": {"front": {"finish": "wrap", "distance_mm": 61}}},
        {"panel": "hood", "edges": {"front": {"finish": "short", "distance_mm": -1}}},
        {"panel": "hood", "edges": {"front": {"finish": "short", "distance_mm": "1"}}},
        {"panel": "hood", "edges": {"front": {"finish": "flush", "depth": 1}}},
        {"panel": "hood", "film_over": {"emblem": ""}},
        {"panel": "hood", "film_over": {"emblem": None}},
        {"panel": "hood", "film_over": {"emblem": "x" * 201}},
    ],
)
def test_a_wrong_value_is_refused(panel: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        from_json({"panels": [panel]})


def test_a_panel_that_comes_twice_is_refused() -> None:
    with pytest.raises(InputError, match="twice"):
        from_json({"panels": [{"panel": "hood"}, {"panel": "hood"}]})
