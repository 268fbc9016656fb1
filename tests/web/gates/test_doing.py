"""Steps begun, done, left out and taken back, as taps do it; who may not, and what is refused."""

import datetime
import uuid
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.gates import doing, dwells, planning, tools
from layflat.web.gates.models import Condition, Dwell, Kind, Step, Tool, ToolUse, Zone
from layflat.web.gates.standing import require_open, standing, unfinished
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.acts import Call, find
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from web.covered import a_body, a_job
from web.gates.steps import START, minutes

People = dict[Role, Person]
EVERYTHING = [one.value for one in planning.ASKED]


@pytest.fixture(autouse=True)
def no_part_above(monkeypatch: pytest.MonkeyPatch) -> None:
    """Laying and inspection have their say in tests of their own."""
    monkeypatch.setattr(doing, "_CHECKS", {})


@pytest.fixture
def who(people: People) -> Person:
    return people[Role.INSTALLER]


def planned(who: Person, number: str = "2031-0042", *conditions: str) -> Job:
    job = a_job(number, body=a_body(f"Siskwing {number}"), stage=Stage.ACCEPTED)
    planning.plan(job, conditions, left_out={}, who=who, at=START)
    return job


def step(job: Job, key: str) -> Step:
    return Step.objects.get(job=job, key=key)


def run(job: Job, who: Person, *keys: str, at: datetime.datetime = START) -> None:
    """Do these steps one after another, their dwell times with them."""
    for key in keys:
        if doing.has_dwell(step(job, key)):
            dwells.put_on(job, key, "", who=who, at=at)
            at += minutes(4)
            dwells.rinsed(job, key, "", who=who, at=at)
        doing.done(job, key, who=who, at=at)


WASHED = ("rinse", "iron-removal", "tar-and-glue", "contact-wash", "dry", "panel-wipe")


def test_the_bay_is_planned_once(who: Person) -> None:
    job = planned(who)
    job.refresh_from_db()
    assert job.stage == Stage.BAY
    assert step(job, "lay").title == "Laying the film"
    assert not Step.objects.filter(job=job, key="coating").exists()
    with pytest.raises(InputError, match="planned for job 2031-0042 already"):
        planning.plan(job, [], left_out={}, who=who, at=START)
    assert Event.objects.get(job=job, kind="gates.planned").sentence.startswith("The bay was")


def test_conditions_are_proposed_from_the_walk_round(who: Person) -> None:
    job = a_job(body=a_body(), stage=Stage.ACCEPTED)
    job.faults.create(number=1, kind="repaint", panel="hood")
    job.faults.create(number=2, kind="old film", is_withdrawn=True)
    found = {one.condition: one for one in planning.asked(job)}
    assert found[Condition.REPAINT].holds
    assert "fault 1" in found[Condition.REPAINT].because
    assert not found[Condition.OLD_FILM].holds
    assert not found[Condition.COATING].holds


@pytest.mark.parametrize("key", ["iron-removal", "lay", "inspection", "hand-back", "rest"])
def test_what_no_plan_goes_without_is_never_left_out(who: Person, key: str) -> None:
    job = a_job(body=a_body(), stage=Stage.ACCEPTED)
    with pytest.raises(InputError, match="never left out"):
        planning.plan(job, [], left_out={key: "no time"}, who=who, at=START)
    assert not Step.objects.exists()
    planning.plan(job, [], left_out={"tar-and-glue": "none seen"}, who=who, at=START)
    with pytest.raises(InputError, match="never left out"):
        doing.left_out(job, key, "no time", who=who, at=START)
    assert step(job, "tar-and-glue").left_out_because == "none seen"


def test_a_step_is_left_out_for_a_reason_and_taken_in_again(who: Person) -> None:
    job = planned(who)
    with pytest.raises(InputError, match="Say why"):
        doing.left_out(job, "tar-and-glue", "  ", who=who, at=START)
    doing.left_out(job, "tar-and-glue", "none seen", who=who, at=START)
    run(job, who, "rinse", "iron-removal", "contact-wash")
    with pytest.raises(InputError, match="“Contact wash” has begun and needs"):
        doing.undo(job, "tar-and-glue", who=who, at=START)
    doing.undo(job, "contact-wash", who=who, at=START)
    doing.undo(job, "tar-and-glue", who=who, at=START)
    assert step(job, "tar-and-glue").state == Step.State.OPEN
    assert step(job, "tar-and-glue").left_out_because == ""


def test_other_parts_ask_whether_film_may_be_laid(who: Person) -> None:
    job = a_job(body=a_body(), stage=Stage.ACCEPTED)
    with pytest.raises(InputError, match="not planned"):
        require_open(job, Kind.LAY, at=START)
    planning.plan(job, [], left_out={}, who=who, at=START)
    with pytest.raises(InputError, match="Film is laid after iron removal"):
        require_open(job, Kind.LAY, at=START)
    run(job, who, *WASHED, "cut-and-weed")
    require_open(job, Kind.LAY, at=START)
    doing.begin_kind(job, Kind.LAY, who=who, at=START)
    doing.begin_kind(job, Kind.LAY, who=who, at=START)
    assert Event.objects.filter(kind="gates.begun", after__step="lay").count() == 1
    (ended,) = doing.finish_kind(job, Kind.LAY, who, START)
    assert ended.state == Step.State.DONE
    assert doing.finish_kind(job, Kind.LAY, who, START) == ()
    require_open(job, Kind.LAY, at=START)  # after a flag, film is laid again
    with pytest.raises(InputError, match="waits for heating the edges"):
        require_open(job, Kind.INSPECT, at=START)
    with pytest.raises(InputError, match="“Rest overnight” goes by itself"):
        doing.begin(job, "rest", who=who, at=START + minutes(800))


def test_a_step_is_not_done_while_the_part_that_knows_says_so(who: Person) -> None:
    said = ["2 pieces are not laid yet."]
    doing.done_when(Kind.LAY, lambda _job: said[0])
    job = planned(who, "2031-0042", Condition.COATING)
    run(job, who, *WASHED, "cut-and-weed")
    doing.begin(job, "lay", who=who, at=START)
    with pytest.raises(InputError, match="2 pieces are not laid yet"):
        doing.done(job, "lay", who=who, at=START)
    said[0] = ""
    run(job, who, "lay")
    run(job, who, "heat-edges", "inspection", at=START + minutes(900))
    # A piece that was taken off again since: no coating under the film that is still to come.
    said[0] = "1 piece is not laid yet."
    with pytest.raises(InputError, match="“Coating over the film” waits: 1 piece"):
        doing.begin(job, "coating", who=who, at=START + minutes(900))


def test_a_rest_that_is_over_is_written_down_by_itself(who: Person) -> None:
    job = planned(who)
    run(job, who, *WASHED, "cut-and-weed", "lay")
    laid_at = step(job, "lay").ended_at
    assert laid_at is not None
    almost = laid_at + minutes(12 * 60 - 1)
    with pytest.raises(InputError, match="rest: 1 min left"):
        doing.begin(job, "heat-edges", who=who, at=almost)
    assert "Rest overnight" in unfinished(job, at=almost)
    assert "Rest overnight" not in unfinished(job, at=almost + minutes(1))
    doing.begin(job, "heat-edges", who=who, at=almost + minutes(60))
    rest = step(job, "rest")
    assert (rest.state, rest.began_at) == (Step.State.DONE, laid_at)
    assert rest.ended_at == laid_at + minutes(12 * 60)


def test_a_dwell_that_dried_or_was_too_short_is_done_again(who: Person) -> None:
    job = planned(who)
    run(job, who, "rinse")
    at = START + minutes(10)
    dwells.put_on(job, "iron-removal", "left side", who=who, at=at)
    dwells.put_on(job, "iron-removal", "roof", who=who, at=at)
    with pytest.raises(InputError, match="works on left side already"):
        dwells.put_on(job, "iron-removal", " left side ", who=who, at=at)
    with pytest.raises(InputError, match="still works on left side"):
        doing.done(job, "iron-removal", who=who, at=at + minutes(4))
    with pytest.raises(InputError, match="still works on"):
        doing.undo(job, "iron-removal", who=who, at=at + minutes(4))
    short = dwells.rinsed(job, "iron-removal", "left side", who=who, at=at + minutes(1))
    late = dwells.rinsed(job, "iron-removal", "roof", who=who, at=at + minutes(6))
    assert (short.was_short, short.was_late) == (True, False)
    assert (late.was_short, late.was_late) == (False, True)
    assert "may have dried. Do it again there" in dwells.what_came_of(late)
    for where, said in (("left side", "rinsed too early"), ("roof", "had dried")):
        with pytest.raises(InputError, match=f"On {where} it {'was ' if said[0] == 'r' else ''}"):
            doing.done(job, "iron-removal", who=who, at=at + minutes(8))
        dwells.put_on(job, "iron-removal", where, who=who, at=at + minutes(10))
        dwells.rinsed(job, "iron-removal", where, who=who, at=at + minutes(14))
    doing.done(job, "iron-removal", who=who, at=at + minutes(15))
    with pytest.raises(InputError, match="Nothing works on roof"):
        dwells.rinsed(job, "iron-removal", "roof", who=who, at=at + minutes(15))


def test_a_step_with_a_dwell_time_is_not_done_without_it(who: Person) -> None:
    job = planned(who)
    with pytest.raises(InputError, match="a dwell time that nobody has begun"):
        doing.done(job, "rinse", who=who, at=START)
    with pytest.raises(InputError, match="has no dwell time"):
        dwells.put_on(job, "dry", "", who=who, at=START)


def test_a_clock_set_back_shortens_no_rest_and_no_dwell(who: Person) -> None:
    job = planned(who)
    run(job, who, *WASHED, "cut-and-weed")
    doing.begin(job, "lay", who=who, at=START + minutes(300))
    # The clock was set back by five hours when laying ended: it ended no earlier than it began.
    doing.done(job, "lay", who=who, at=START)
    assert step(job, "lay").ended_at == START + minutes(300)
    with pytest.raises(InputError, match="rest"):
        doing.begin(job, "heat-edges", who=who, at=START + minutes(300 + 719))
    other = planned(who, "2031-0043")
    dwells.put_on(other, "rinse", "", who=who, at=START + minutes(300))
    rinsed = dwells.rinsed(other, "rinse", "", who=who, at=START)
    assert rinsed.was_short


def test_what_is_done_while_the_server_s_clock_is_behind_lies_no_longer_ago(who: Person) -> None:
    job = planned(who)
    ahead = Event.objects.order_by("-pk")[0].at + minutes(600)
    Event.objects.filter(kind="gates.planned").update(at=ahead)
    now = Event.objects.model._meta.get_field("at")  # auto_now_add gives the clock's own time
    assert now is not None
    at = datetime.datetime.now(datetime.UTC)
    assert abs(doing.by_the_record(at) - ahead) < minutes(1)
    assert job.stage == Stage.BAY


def test_steps_are_worked_on_in_the_bay_only(who: Person) -> None:
    job = planned(who)
    Job.objects.filter(pk=job.pk).update(stage=Stage.HANDED)
    job.refresh_from_db()
    for act in (doing.begin, doing.done, doing.undo):
        with pytest.raises(InputError, match="Handed back"):
            act(job, "rinse", who=who, at=START)
    with pytest.raises(InputError, match="in the bay"):
        require_open(job, Kind.LAY, at=START)


@pytest.mark.parametrize("key", ["", "nothing", "rinse'--"])
def test_a_step_that_is_none_is_refused_in_words(who: Person, key: str) -> None:
    job = planned(who)
    with pytest.raises(InputError, match="no such step"):
        doing.begin(job, key, who=who, at=START)


# Conditions that change while the car is in the bay.


def test_brakes_found_sensitive_later_are_covered_before_iron_removal(who: Person) -> None:
    job = planned(who)
    known: dict[str, Any] = {"who": who, "at": START}
    with pytest.raises(InputError, match="Say why"):
        planning.change_conditions(job, ["sensitive-brakes"], because="", seen=[], **known)
    run(job, who, "rinse")
    planning.change_conditions(job, ["sensitive-brakes"], because="seen now", seen=[], **known)
    with pytest.raises(InputError, match="Iron is removed after sensitive brakes"):
        doing.begin(job, "iron-removal", who=who, at=START)
    with pytest.raises(InputError, match="meanwhile"):
        planning.change_conditions(job, [], because="no", seen=[], **known)
    seen = ["sensitive-brakes"]
    planning.change_conditions(job, [], because="they are steel", seen=seen, **known)
    assert step(job, "cover-brakes").left_out_because == "they are steel"
    run(job, who, "iron-removal", at=START + minutes(30))
    with pytest.raises(InputError, match="has begun"):
        planning.change_conditions(job, seen, because="after all", seen=[], **known)


def test_brakes_come_too_late_once_iron_removal_has_begun(who: Person) -> None:
    job = planned(who)
    run(job, who, "rinse")
    doing.begin(job, "iron-removal", who=who, at=START)
    with pytest.raises(InputError, match="comes too late"):
        planning.change_conditions(
            job, ["sensitive-brakes"], because="seen now", seen=[], who=who, at=START
        )


def test_a_repaint_found_later_is_looked_at_before_laying(who: Person) -> None:
    job = planned(who)
    run(job, who, *WASHED, "cut-and-weed")
    planning.change_conditions(
        job, ["repaint", "coating"], because="felt it", seen=[], who=who, at=START
    )
    keys = [item.step.key for item in standing(job, at=START)]
    assert keys.index("dry") < keys.index("look-at-repaint") < keys.index("lay")
    with pytest.raises(InputError, match="looking at the repaint"):
        require_open(job, Kind.LAY, at=START)
    assert step(job, "coating").needs == ["lay", "inspection"]
    assert "coating" in step(job, "final-wipe").needs
    run(job, who, "look-at-repaint")
    require_open(job, Kind.LAY, at=START)


# Tools.


def test_a_tool_of_another_zone_or_from_the_floor_is_refused(who: Person) -> None:
    job = planned(who)
    run(job, who, "rinse", "iron-removal", "tar-and-glue")
    mitt = tools.add_tool(" blue  mitt 2 ", Zone.PAINT, who=who)
    brush = tools.add_tool("wheel brush", Zone.WHEELS, who=who)
    assert mitt.name == "blue mitt 2"
    with pytest.raises(InputError, match="wheel brush belongs to wheels and shuts"):
        tools.take(job, "contact-wash", brush, who=who, at=START)
    for _ in range(2):
        tools.take(job, "contact-wash", mitt, who=who, at=START)
    assert ToolUse.objects.count() == 1
    for _ in range(2):
        tools.dropped(mitt, job=job, who=who, at=START)
    assert Event.objects.filter(kind="gates.tool-dropped").count() == 1
    with pytest.raises(InputError, match="out of use until it is laundered"):
        tools.take(job, "contact-wash", mitt, who=who, at=START)
    tools.laundered(mitt, job=None, who=who)
    tools.take(job, "contact-wash", mitt, who=who, at=START)
    with pytest.raises(InputError, match="waits for"):
        tools.take(job, "panel-wipe", mitt, who=who, at=START)
    with pytest.raises(InputError, match="a tool “BLUE MITT 2” already"):
        tools.add_tool("BLUE MITT 2", Zone.PAINT, who=who)
    for name, zone in (("", "paint"), ("cloth", "moon")):
        with pytest.raises(InputError):
            tools.add_tool(name, zone, who=who)
    tools.retire_tool(mitt, retired=True, who=who)
    with pytest.raises(InputError, match="no longer in use"):
        tools.take(job, "contact-wash", mitt, who=who, at=START)


# As taps.


def tap(job: Job, who: Person, name: str, **fields: str) -> Tap:
    return do(name, key=uuid.uuid4().hex, who=who, job=job.number, fields=fields)


def test_taps_do_it_once_and_refusals_change_nothing(people: People) -> None:
    job = planned(people[Role.COUNTER])
    who = people[Role.INSTALLER]
    key = uuid.uuid4().hex
    for _ in range(2):
        done = do(
            "gates.dwell", key=key, who=who, job=job.number, fields={"step": "rinse", "where": ""}
        )
        assert done.state == Tap.State.DONE
    assert Dwell.objects.count() == 1
    refused = tap(job, who, "gates.begin", step="lay")
    assert refused.state == Tap.State.REFUSED
    assert "Film is laid after iron removal" in refused.says
    again = tap(job, who, "gates.dwell", step="rinse", where="roof", other="mirror cap")
    assert again.says == "It works on mirror cap now."
    tool = Tool.objects.create(name="cloth", zone=Zone.PAINT)
    assert do("gates.dropped", key=uuid.uuid4().hex, who=who, fields={"tool": str(tool.pk)}).says
    assert do("gates.dropped", key=uuid.uuid4().hex, who=who, fields={"tool": "x"}).state == (
        Tap.State.REFUSED
    )


ACTS = st.tuples(
    st.sampled_from(
        ["gates.begin", "gates.done", "gates.done", "gates.undo", "gates.leave-out", "dwell"]
    ),
    st.integers(0, 16),
    st.sampled_from(list(Role)),
    st.integers(-600, 900),
)


@settings(
    max_examples=12,
    deadline=None,
    phases=(Phase.explicit, Phase.generate),  # making failures smaller takes minutes here
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(acts=st.lists(ACTS, min_size=10, max_size=60), all_done=st.booleans())
def test_no_order_of_taps_by_any_role_opens_a_step_early(
    people: People, acts: list[tuple[str, int, Role, int]], all_done: bool
) -> None:
    """Against a ledger of its own: what was done when, by a clock that is also set back."""
    number = f"J-{uuid.uuid4().hex[:8]}"
    job = planned(people[Role.COUNTER], number, *EVERYTHING)
    keys = list(Step.objects.filter(job=job).values_list("key", flat=True))
    # Half of the examples come so far that film is laid, by doing in order first.
    early = keys[: keys.index("lay") + 1] if all_done else []
    clock, seen = START, START
    for key in early:
        run(job, people[Role.INSTALLER], key, at=clock)
        clock += minutes(10)
        seen = max(seen, clock)
    for name, place, role, passed in acts:
        clock += minutes(passed)
        seen = max(seen, clock)
        before = {s.key: s for s in Step.objects.filter(job=job)}
        key = keys[place]
        fields = {"step": key, "because": "no time"}
        names = ("gates.dwell", "gates.rinsed") if name == "dwell" else (name,)
        for index, one in enumerate(names):
            call = Call(job=job, who=people[role], at=clock + minutes(4 * index), fields=fields)
            try:
                find(one).run(call)
            except InputError:
                continue
        seen = max(seen, clock + minutes(4))
        _check_begun(before, Step.objects.get(job=job, key=key), seen)


def _check_begun(before: dict[str, Step], now: Step, seen: datetime.datetime) -> None:
    """Whether a step that was begun just now could be, by the rows that were there before."""
    was = before[now.key].state
    if was != Step.State.OPEN or now.state not in (Step.State.BEGUN, Step.State.DONE):
        return
    done = {one.kind for one in before.values() if one.state == Step.State.DONE}
    facts = {
        Kind.LAY: {Kind.IRON, Kind.COVER_BRAKES},
        Kind.IRON: {Kind.COVER_BRAKES},
        Kind.COAT: {Kind.LAY, Kind.INSPECT},
        Kind.EDGES: {Kind.LAY},
        Kind.INSPECT: {Kind.LAY, Kind.EDGES},
        Kind.HAND_BACK: {Kind.INSPECT},
    }
    left_out = {one.kind for one in before.values() if one.state == Step.State.LEFT_OUT}
    assert done >= facts.get(Kind(now.kind), set()) - left_out
    for key in now.needs:
        assert before[key].state != Step.State.BEGUN
        assert before[key].state != Step.State.OPEN or before[key].kind == Kind.REST
    if now.kind == Kind.EDGES:
        laid_at = before["lay"].ended_at
        assert laid_at is not None
        assert seen - laid_at >= datetime.timedelta(hours=12)


def test_acts_are_for_those_who_work_in_the_bay() -> None:
    names = ("begin", "done", "undo", "leave-out", "dwell", "rinsed", "take-tool")
    for name in names:
        assert find(f"gates.{name}").roles == frozenset(Role)
        assert find(f"gates.{name}").needs_job
    for name in ("dropped", "laundered"):
        assert not find(f"gates.{name}").needs_job


def test_templates_race(who: Person) -> None:
    from layflat.web.gates.models import StepTemplate
    from layflat.web.gates.usual import templates, usual_templates

    first = templates()
    StepTemplate.objects.bulk_create(usual_templates(), ignore_conflicts=True)
    assert [row.key for row in templates()] == [row.key for row in first]
