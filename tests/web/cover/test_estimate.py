"""Quick estimates: what real computations find lies within what they say, and they take no time."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from layflat.base import InputError
from layflat.pattern import EdgeFinish, Finish
from layflat.plan import metres_of, price
from layflat.web.cover.choices import Choices, PanelChoice, to_json
from layflat.web.cover.estimate import Estimate, estimate
from layflat.web.cover.flat_shapes import flat_shape
from layflat.web.cover.measure import ask_measures, measured, revision_inputs
from layflat.web.cover.price import minutes_from, priced, rates_of
from layflat.web.people.models import Shop
from layflat.web.work.models import State
from web.cover.domes import BOTH, LEFT, RIGHT_PART, Domes

pytestmark = pytest.mark.on_sqlite

WHOLE = Choices((PanelChoice(panel="left"), PanelChoice(panel="right")))
COVERS = (BOTH, Choices((LEFT,)), Choices((RIGHT_PART,)), WHOLE)


def real(domes: Domes, choices: Choices) -> dict[str, Any]:
    inputs = {
        **revision_inputs(domes.revision),
        "choices": to_json(choices),
        "roll_width_mm": 610.0,
        "seconds": 1.0,
    }
    return domes.result("cover.compute", inputs)


@pytest.mark.parametrize("choices", COVERS)
@pytest.mark.parametrize("is_measured", [True, False])
def test_the_real_film_lies_within_the_range(
    domes: Domes, shop: Shop, choices: Choices, is_measured: bool
) -> None:
    if is_measured:
        domes.measure()
    found = estimate(choices, domes.revision, shop)
    assert found.is_measured == is_measured
    assert found.pieces == len(choices.panels)
    assert found.film_least_mm <= found.film_mm <= found.film_most_mm
    computed = real(domes, choices)
    assert found.film_least_mm <= computed["film_mm"] <= found.film_most_mm
    minutes = minutes_from(computed["minutes"])
    assert found.minutes.total == pytest.approx(minutes.total, rel=0.03)
    its_price = priced(computed["film_mm"], computed["minutes"], shop)
    assert float(found.price.gross) == pytest.approx(float(its_price.gross), rel=0.05)


def test_minutes_and_price_follow_the_same_rules_as_the_real_ones(domes: Domes, shop: Shop) -> None:
    domes.measure()
    found = estimate(BOTH, domes.revision, shop)
    again = price(metres=metres_of(found.film_mm), minutes=found.minutes, rates=rates_of(shop))
    assert found.price == again
    assert any("estimate" in note.lower() for note in found.notes)


def test_a_part_is_like_the_real_piece(domes: Domes) -> None:
    domes.measure()
    measures = measured(domes.revision)
    (piece,) = real(domes, Choices((RIGHT_PART,)))["pieces"]
    shape = flat_shape(RIGHT_PART, domes.revision, measures)
    assert shape.area_mm2 == pytest.approx(piece["area_mm2"], rel=0.02)
    edges = {edge["name"]: edge["length_mm"] for edge in piece["details"]["edges"]}
    assert shape.rim_mm == pytest.approx(sum(edges.values()), rel=0.05)
    assert shape.cut_outs == 0
    unmeasured = flat_shape(RIGHT_PART, domes.revision, None)
    assert unmeasured.area_mm2 == pytest.approx(piece["area_mm2"], rel=0.03)


def test_wraps_make_pieces_larger_by_their_depth(domes: Domes) -> None:
    domes.measure()
    measures = measured(domes.revision)
    plain = flat_shape(PanelChoice(panel="left"), domes.revision, measures)
    deep = PanelChoice(panel="left", edges={"front": EdgeFinish(Finish.WRAP, 20.0)})
    wrapped = flat_shape(deep, domes.revision, measures)
    front = measures.panels["left"].edges[0]
    assert front[0] == "front"
    # From 1.5 mm short to 20 mm round the edge.
    assert wrapped.area_mm2 - plain.area_mm2 == pytest.approx(21.5 * front[2], rel=1e-6)
    assert wrapped.wrap_mm == pytest.approx(front[2])
    assert plain.cut_outs == 1
    over = dataclasses.replace(deep, film_over={"emblem": "No radar."})
    assert flat_shape(over, domes.revision, measures).cut_outs == 0


def test_a_piece_wider_than_the_roll_is_said_at_once(domes: Domes, shop: Shop) -> None:
    domes.measure()
    shop.roll_width_mm = 240.0
    found = estimate(Choices((LEFT,)), domes.revision, shop)
    (warning,) = [item for item in found.warnings if "roll" in item.sentence]
    assert (warning.panel, warning.effort) == ("left", "hard")
    assert "200 mm" in warning.sentence
    assert found.film_mm > 270
    shop.inches = True
    found = estimate(Choices((LEFT,)), domes.revision, shop)
    assert any("7.9 in" in item.sentence for item in found.warnings)


def test_strain_is_said_from_the_measures_and_less_for_a_part(domes: Domes, shop: Shop) -> None:
    domes.measure()
    measures = measured(domes.revision)
    whole = measures.panels["right"]
    strained = dataclasses.replace(
        whole, stretch=0.12, compression=0.03, over_stretch=0.2, over_finger=0.3, effort="hard"
    )
    shape = flat_shape(PanelChoice(panel="right"), domes.revision, measures)
    sentences = _warnings(dataclasses.replace(shape, measures=strained))
    assert [effort for effort, _ in sentences] == ["hard"]
    assert "about 12" in sentences[0][1]
    half = _warnings(dataclasses.replace(shape, measures=strained, share=0.6))
    assert "about 7" in half[0][1]
    assert _warnings(dataclasses.replace(shape, measures=whole)) == []


def _warnings(shape: Any) -> list[tuple[str, str]]:
    from layflat.web.cover.estimate import _strained

    return [(item.effort, item.sentence) for item in _strained(shape)]


def test_what_is_not_there_is_said(domes: Domes, shop: Shop) -> None:
    with pytest.raises(InputError, match="no panel “roof”"):
        estimate(Choices((PanelChoice(panel="roof"),)), domes.revision, shop)
    bad = dataclasses.replace(RIGHT_PART, line_mm=RIGHT_PART.line_mm[:1] * 2)
    with pytest.raises(InputError, match="The line on Right"):
        estimate(Choices((bad,)), domes.revision, shop)
    domes.revision.light = None
    domes.revision.lines = None
    with pytest.raises(InputError, match="not prepared yet"):
        estimate(Choices((LEFT,)), domes.revision, shop)


def test_nothing_covered_costs_no_film(domes: Domes, shop: Shop) -> None:
    found: Estimate = estimate(Choices(), domes.revision, shop)
    assert (found.pieces, found.film_mm, found.film_most_mm) == (0, 0.0, 0.0)


def test_queries_are_few_and_no_work_is_done_twice(
    domes: Domes, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    domes.measure()
    estimate(BOTH, domes.revision, shop)
    from layflat.web.cover import lines

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a line was traced again")

    monkeypatch.setattr(lines, "clip_region", refuse)
    with CaptureQueriesContext(connection) as asked:
        estimate(BOTH, domes.revision, shop)
    assert len(asked) <= 2


def test_measures_are_of_the_whole_panels(domes: Domes) -> None:
    assert measured(domes.revision) is None
    computation = ask_measures(domes.revision, who=None)
    assert computation.state == State.OPEN
    assert measured(domes.revision) is None
    domes.finish(computation)
    measures = measured(domes.revision)
    assert measures is not None
    assert set(measures.panels) == {"left", "right"}
    assert measures.faults == {}
    left = measures.panels["left"]
    (piece,) = real(domes, Choices((PanelChoice(panel="left"),)))["pieces"]
    assert left.area_mm2 == pytest.approx(piece["area_mm2"], abs=0.1)
    assert left.effort == piece["effort"]
    assert left.stretch == pytest.approx(piece["stretch"], abs=1e-5)
    x, y = left.outline.T
    shoelace = 0.5 * abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()))
    # A circle of 15 mm with 2 mm of clearance is left free.
    assert shoelace - np.pi * 17**2 == pytest.approx(left.area_mm2, rel=2e-3)
    assert [name for name, _, _ in left.edges] == ["front", "right", "rear", "left"]
