"""What comes before what; facts of the trade hold whatever the shop's own steps say."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from layflat.web.gates.models import Condition, Kind, Step, StepTemplate
from layflat.web.gates.order import all_needs, direct_needs, what_is_wrong
from layflat.web.gates.planning import ASKED, steps_from
from layflat.web.gates.standing import Standing, stand
from layflat.web.gates.usual import FIRST, usual_templates
from layflat.web.people.models import Shop
from web.gates.steps import START, a_step, minutes

SHOP = Shop(name="Lampwick Yard")


def stands(*steps: Step, now: Any = START) -> dict[str, Standing]:
    return {item.step.key: item for item in stand(steps, now=now, shop=SHOP)}


def done(step: Step) -> Step:
    step.state, step.ended_at = Step.State.DONE, START
    return step


def usual(**changes: Callable[[StepTemplate], None]) -> list[StepTemplate]:
    rows = usual_templates()
    for row in rows:
        changes.get(row.key.replace("-", "_"), lambda _row: None)(row)
    return rows


def put(name: str, value: Any) -> Callable[[StepTemplate], None]:
    return lambda row: setattr(row, name, value)


# Common practice, no source: the facts of the trade, each with steps that name no needs at all.


def test_film_before_iron_removal_is_refused() -> None:
    iron, lay = a_step("iron", Kind.IRON), a_step("lay", Kind.LAY)
    assert stands(iron, lay)["lay"].waits == "iron"
    assert stands(done(iron), lay)["lay"].may_begin
    assert "not in this job's plan" in stands(lay)["lay"].waits
    left = a_step("iron", Kind.IRON, state=Step.State.LEFT_OUT)
    assert not stands(left, lay)["lay"].may_begin


def test_coating_under_film_is_refused() -> None:
    iron, lay, coat = (
        done(a_step("iron", Kind.IRON)),
        a_step("lay", Kind.LAY),
        a_step("coat", Kind.COAT),
    )
    assert stands(iron, lay, coat)["coat"].waits == "lay"
    assert not stands(iron, coat)["coat"].may_begin
    assert stands(iron, done(lay), coat)["coat"].may_begin


def test_iron_is_removed_after_sensitive_brakes_are_covered() -> None:
    brakes, iron = a_step("brakes", Kind.COVER_BRAKES), a_step("iron", Kind.IRON)
    assert stands(brakes, iron)["iron"].waits == "brakes"
    assert stands(done(brakes), iron)["iron"].may_begin
    assert stands(iron)["iron"].may_begin


def test_edges_are_heated_after_the_rest() -> None:
    steps = (
        done(a_step("lay", Kind.LAY)),
        a_step("rest", Kind.REST, "lay", rest_s=3600),
        a_step("edges", Kind.EDGES),
    )
    assert not stands(*steps, now=START + minutes(59))["edges"].may_begin
    assert stands(*steps, now=START + minutes(60))["edges"].may_begin


def test_the_usual_steps_are_an_order_of_work_with_their_cautions() -> None:
    rows = usual_templates()
    assert what_is_wrong(rows) == ""
    reached = all_needs(direct_needs(rows))
    assert reached["lay"] >= {"iron-removal", "dry", "panel-wipe", "cut-and-weed"}
    assert reached["coating"] >= {"lay", "inspection"}
    assert reached["hand-back"] == {row.key for row in rows} - {"hand-back"}
    by_key = {row.key: row for row in rows}
    for word in ("gloves", "goggles", "air"):
        assert word in by_key["iron-removal"].caution
    assert "burns" in by_key["heat-edges"].caution
    assert all(row.caution.endswith(FIRST) for row in rows if row.caution)
    assert all(len(row.words) <= 400 and len(row.caution) <= 400 for row in rows)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"lay": put("needs", ["panel-wipe"]), "tar_and_glue": put("needs", [])}, "after iron"),
        ({"iron_removal": put("needs", ["rinse"])}, "after sensitive brakes"),
        ({"iron_removal": put("is_retired", True)}, "iron removal"),
        ({"iron_removal": put("condition", Condition.REPAINT)}, "Every job has “iron removal”"),
        ({"cover_brakes": put("is_retired", True)}, "covers them"),
        ({"coating": put("condition", Condition.ALWAYS)}, "belongs only to jobs"),
        ({"coating": put("needs", ["dry"])}, "on top of film"),
        ({"rest": put("rest_s", 0)}, "after a rest"),
        ({"heat_edges": put("needs", ["lay"])}, "after a rest"),
        ({"rest": put("needs", ["dry"])}, "after a rest"),
        ({"rest": put("is_retired", True)}, "after a rest"),
        ({"rest": put("condition", Condition.COATING)}, "belongs to the same jobs"),
        ({"dry": put("needs", ["lay"])}, "wait for each other"),
        ({"dry": put("needs", ["polish"])}, "which there is not"),
        ({"dry": put("position", 99)}, "listed after it"),
    ],
)
def test_steps_that_break_a_fact_or_wait_for_each_other_are_refused(
    changes: dict[str, Callable[[StepTemplate], None]], said: str
) -> None:
    assert said in what_is_wrong(usual(**changes))


def test_a_rest_of_the_edges_own_will_do() -> None:
    rows = usual(
        rest=put("is_retired", True),
        heat_edges=lambda row: (put("needs", ["lay"])(row), put("rest_s", 3600)(row))[0],
    )
    assert what_is_wrong(rows) == ""


def test_no_coating_step_where_none_was_ordered() -> None:
    keys = {step.key for step in steps_from(usual_templates(), [])}
    assert "coating" not in keys
    assert "cover-brakes" not in keys
    all_keys = {step.key for step in steps_from(usual_templates(), [c.value for c in ASKED])}
    assert all_keys - keys == {"coating", "cover-brakes", "look-at-repaint", "take-off-old-film"}


def test_what_a_car_does_not_have_stands_for_what_it_needs() -> None:
    steps = {step.key: step for step in steps_from(usual_templates(), [])}
    assert set(steps["iron-removal"].needs) == {"rinse"}
    assert set(steps["final-wipe"].needs) == {"inspection", "lay"}


KEYS = [row.key for row in usual_templates()]
CHANGES = st.one_of(
    st.tuples(st.just("needs"), st.lists(st.sampled_from(KEYS), max_size=3, unique=True)),
    st.tuples(st.just("kind"), st.sampled_from(Kind.values)),
    st.tuples(st.just("condition"), st.sampled_from(Condition.values)),
    st.tuples(st.just("is_retired"), st.booleans()),
    st.tuples(st.just("rest_s"), st.sampled_from([0, 60, 7200])),
    st.tuples(st.just("position"), st.integers(1, 17)),
)


def save(rows: list[StepTemplate], key: str, name: str, value: Any) -> None:
    """As the owner saves one change: what makes no order of work is refused."""
    (row,) = [row for row in rows if row.key == key]
    before = getattr(row, name)
    setattr(row, name, value)
    if what_is_wrong(rows):
        setattr(row, name, before)


def must_be_right(step: Step, steps: list[Step], conditions: set[str]) -> None:
    """The facts of the trade, read from what is done when a step begins."""
    kinds = {other.kind for other in steps if other.state == Step.State.DONE}
    is_covered = any(other.kind == Kind.COVER_BRAKES for other in steps)
    wanted = {
        Kind.LAY: {Kind.IRON},
        Kind.IRON: {Kind.COVER_BRAKES} if is_covered else set(),
        Kind.COAT: {Kind.LAY},
        Kind.EDGES: {Kind.LAY},
    }
    assert kinds >= wanted.get(Kind(step.kind), set())
    assert step.kind != Kind.COAT or Condition.COATING.value in conditions


@settings(max_examples=100, deadline=None, phases=(Phase.explicit, Phase.generate))
@given(
    edits=st.lists(st.tuples(st.sampled_from(KEYS), CHANGES), max_size=4),
    conditions=st.sets(st.sampled_from([one.value for one in ASKED])),
    order=st.randoms(use_true_random=False),
)
def test_whatever_the_owner_saved_no_order_of_taps_breaks_a_fact(
    edits: list[tuple[str, tuple[str, Any]]], conditions: set[str], order: Any
) -> None:
    """Templates that are not refused, any car, and steps done in any order that is open.

    What is open is asked again after each, and in the end every step was done.
    """
    rows = usual_templates()
    for key, (name, value) in edits:
        save(rows, key, name, value)
    steps = steps_from(rows, conditions)
    now, laid_at = START, START
    while not all(item.is_over for item in stand(steps, now=now, shop=SHOP)):
        found = stand(steps, now=now, shop=SHOP)
        may = [item.step for item in found if item.may_begin]
        if not may:
            now = min(item.opens_at for item in found if item.opens_at and item.opens_at > now)
            continue
        step = order.choice(may)
        must_be_right(step, steps, conditions)
        assert step.kind != Kind.EDGES or now > laid_at
        step.state, step.ended_at = Step.State.DONE, now
        laid_at = now if step.kind == Kind.LAY else laid_at
        now += minutes(order.randint(0, 90))
