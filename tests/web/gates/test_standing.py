"""Which steps are open at a moment, and what the others wait for, in words."""

import datetime

from layflat.web.gates.models import Dwell, Kind, Step
from layflat.web.gates.standing import Standing, stand
from layflat.web.people.models import Shop
from web.gates.steps import START, a_step, minutes

SHOP = Shop(name="Lampwick Yard", time_zone="Europe/Vienna")


def stands(*steps: Step, now: datetime.datetime = START, **more: object) -> dict[str, Standing]:
    found = stand(steps, now=now, shop=SHOP, **more)  # type: ignore[arg-type]
    return {item.step.key: item for item in found}


def test_a_step_waits_for_what_it_needs_in_words() -> None:
    wash, iron = a_step("rinse"), a_step("iron-removal", Kind.IRON, "rinse")
    lay = a_step("lay-film", Kind.LAY, "iron-removal")
    found = stands(wash, iron, lay)
    assert [item.may_begin for item in found.values()] == [True, False, False]
    assert found["iron-removal"].waits == "rinse"
    assert found["lay-film"].waits == "iron removal"
    iron.state = Step.State.BEGUN
    assert stands(wash, iron, lay)["lay-film"].waits == "iron removal, which is under way"


def test_a_rest_says_how_long_and_until_when_by_the_shop_s_clock() -> None:
    lay = a_step("lay", Kind.LAY, state=Step.State.DONE, ended_at=START)
    steps = (
        a_step("iron", Kind.IRON, state=Step.State.DONE, ended_at=START),
        lay,
        a_step("rest", Kind.REST, "lay", rest_s=12 * 3600),
        a_step("edges", Kind.EDGES, "rest"),
    )
    found = stands(*steps, now=START + minutes(340))
    # 08:00 UTC is 10:00 in Vienna in May; twelve hours later 22:00.
    assert found["edges"].waits == "rest: 6 h 20 min left, until 22:00"
    assert found["rest"].word == "resting"
    later = stands(*steps, now=START + minutes(720))
    assert later["edges"].may_begin
    assert later["rest"].is_over
    assert not stands(*steps, now=START + minutes(719.9))["edges"].may_begin
    # The next day is named.
    lay.ended_at = START + minutes(600)
    assert stands(*steps, now=START + minutes(600))["edges"].waits.endswith(
        "until 2031-05-21 08:00"
    )


def test_what_needs_a_step_that_was_left_out_waits_for_what_that_one_needs() -> None:
    dry = a_step("dry")
    wipe = a_step("wipe", Kind.HAND, "dry", state=Step.State.LEFT_OUT)
    coat = a_step("polish", Kind.HAND, "wipe")
    assert stands(dry, wipe, coat)["polish"].waits == "dry"
    dry.state, dry.ended_at = Step.State.DONE, START
    assert stands(dry, wipe, coat)["polish"].may_begin


def test_steps_that_need_each_other_are_never_open() -> None:
    found = stands(a_step("one", Kind.HAND, "two"), a_step("two", Kind.HAND, "one"))
    assert not any(item.may_begin or item.is_over for item in found.values())


def test_nothing_is_begun_outside_the_bay() -> None:
    assert not stands(a_step("rinse"), stage="handed")["rinse"].may_begin


def test_a_dwell_says_when_to_rinse_and_when_it_is_too_late() -> None:
    step = a_step("iron", Kind.IRON, state=Step.State.BEGUN, pk=3)
    dwell = Dwell(pk=1, step=step, where="left side", began_at=START, least_s=180, most_s=300)
    for after, word, shape in (
        (2.9, "working", "waiting"),
        (3, "rinse now", "today"),
        (5, "rinse now", "today"),
        (5.1, "may have dried: rinse, then do it again", "late"),
    ):
        found = stands(step, dwells=[dwell], now=START + minutes(after))["iron"]
        (running,) = found.running
        assert (running.word, running.shape) == (word, shape)
    dwell.ended_at, dwell.was_late = START + minutes(7), True
    again = stands(step, dwells=[dwell], now=START + minutes(8))["iron"]
    assert [item.word for item in again.again] == ["had dried; do it again"]
    newer = Dwell(pk=2, step=step, where="left side", began_at=START, ended_at=START + minutes(4))
    assert not stands(step, dwells=[dwell, newer], now=START + minutes(8))["iron"].again
