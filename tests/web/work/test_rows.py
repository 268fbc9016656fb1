"""What may happen to a computation's row, with an engine that only takes notes."""

import sys
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from django.db.models.functions import Now
from pytest_django.fixtures import Settings

from layflat import __version__
from layflat.base import InputError
from layflat.web.people.models import Person, Role
from layflat.web.work import rows
from layflat.web.work.due import Due
from layflat.web.work.models import Computation, State
from layflat.web.work.reconcile import Reconciler
from layflat.web.work.rows import Wish
from layflat.web.work.tasks import ask, find, key_of, title_of

pytestmark = pytest.mark.django_db


class Notes:
    """An engine that computes nothing."""

    def __init__(self) -> None:
        self.submitted: list[list[str]] = []

    def submit(self, due: Sequence[Due]) -> None:
        self.submitted.append([one.key for one in due])

    def close(self) -> None:
        """There is nothing to end."""


def asked(word: str = "one") -> Computation:
    return ask("sample.echo", {"log": word}, who=None)


def claimed(row: Computation) -> rows.Claim:
    held = rows.claim(row.key, runner="bench")
    assert held is not None
    return held


def fresh(row: Computation) -> Computation:
    row.refresh_from_db()
    return row


def age(row: Computation, seconds: float) -> None:
    Computation.objects.filter(pk=row.pk).update(beat_at=Now() - timedelta(seconds=seconds))


def test_a_key_depends_on_task_inputs_and_version_but_not_on_order() -> None:
    key = key_of("a.b", {"x": 1, "y": [2.5, "ä"]})
    assert key == key_of("a.b", {"y": [2.5, "ä"], "x": 1})
    others = [
        key_of("a.c", {"x": 1, "y": [2.5, "ä"]}),
        key_of("a.b", {"x": 2, "y": [2.5, "ä"]}),
        key_of("a.b", {"x": 1, "y": [2.5, "ä"]}, version="0"),
    ]
    assert len({key, *others}) == 4
    # FIPS 180-4's SHA-256 of the canonical JSON, by a program of the system (sha256sum).
    assert key_of("a.b", {"x": 1}, version="0") == (
        "6c915563c7f1ffd591fe29c4328f3ccecb5002c5060ab675b154e9c0d43af3e8"
    )


@pytest.mark.parametrize("wrong", [{"x": float("nan")}, {"x": object()}, {"x": {1, 2}}])
def test_inputs_that_are_not_json_are_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="not JSON"):
        ask("sample.echo", wrong, who=None)
    assert not Computation.objects.exists()


@pytest.mark.parametrize("name", ["sample.nothing", "nowhere.echo", "", "work.echo", "."])
def test_an_unknown_task_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="There is no computation"):
        ask(name, {}, who=None)
    assert title_of(name) == name


def test_tasks_are_found_by_the_label_of_their_part(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("layflat.web.work.tasks._TASKS", {})
    monkeypatch.delitem(sys.modules, "web.work.sample.tasks")
    with pytest.raises(InputError, match="There is no computation"):
        find("sample.echo")
    settings.INSTALLED_APPS = [*settings.INSTALLED_APPS, "web.work.sample.apps.SampleConfig"]
    assert find("sample.echo").title == "Giving back"


def test_a_request_is_a_row_that_equal_ones_share(people: dict[Role, Person]) -> None:
    first = ask("sample.echo", {"log": "x"}, who=people[Role.COUNTER])
    second = ask("sample.echo", {"log": "x"}, who=people[Role.OWNER])
    assert first.pk == second.pk
    assert second.asked_by == people[Role.COUNTER]
    assert (first.state, first.version, first.attempts) == (State.OPEN, __version__, 0)


def test_a_row_is_claimed_once() -> None:
    row = asked()
    held = claimed(row)
    assert rows.claim(row.key, runner="bay") is None
    assert (held.task, held.inputs) == ("sample.echo", {"log": "one"})
    assert (fresh(row).state, row.attempts, row.runner) == (State.RUNNING, 1, "bench")
    assert row.beat_at is not None


def test_only_the_attempt_that_holds_the_claim_writes() -> None:
    row = asked()
    old = claimed(row)
    age(row, 60)
    assert rows.take_back_lost(25) == 1
    new = claimed(row)
    assert rows.beat(old, progress=("late", 0.9)) is Wish.LOST
    assert not rows.finish(old, {"by": "old"})
    assert not rows.fail(old, "late")
    assert not rows.break_off(old, "late")
    assert not rows.give_back(old)
    assert rows.beat(new, progress=("going", 0.25)) is Wish.GO_ON
    assert (fresh(row).says, row.progress, row.attempts) == ("going", 0.25, 2)
    assert rows.finish(new, {"by": "new"})
    assert not rows.finish(new, {"by": "again"})
    assert (fresh(row).state, row.result, row.progress) == (State.DONE, {"by": "new"}, 1.0)


def test_progress_stays_between_its_bounds() -> None:
    row = asked()
    held = claimed(row)
    rows.beat(held, progress=("x" * 999, 7.0))
    assert (len(fresh(row).says), row.progress) == (200, 1.0)
    rows.beat(held, progress=("", -1.0))
    assert fresh(row).progress == 0.0


def test_three_attempts_then_it_has_failed_and_may_be_asked_for_again() -> None:
    row = asked()
    for attempt in (1, 2):
        assert rows.break_off(claimed(row), "the lamp went out")
        assert (fresh(row).state, row.attempts) == (State.OPEN, attempt)
        assert row.says == "Begun again: the lamp went out"
    assert rows.break_off(claimed(row), "the lamp went out")
    assert fresh(row).state == State.FAILED
    assert row.error == "It broke off 3 times, the last time because the lamp went out."
    assert rows.claim(row.key, runner="bench") is None
    again = asked()
    assert (again.pk, again.state, again.attempts, again.error) == (row.pk, State.OPEN, 0, "")
    assert again.says == "Asked for again."
    assert again.ended_at is None


def test_a_worker_that_ends_gives_back_without_cost() -> None:
    row = asked()
    assert rows.give_back(claimed(row))
    assert (fresh(row).state, row.attempts) == (State.OPEN, 0)


def test_lost_rows_are_taken_back_by_the_databases_clock() -> None:
    lost, alive, last, unwanted = (asked(word) for word in ("lost", "alive", "last", "unwanted"))
    for row in (lost, alive, last, unwanted):
        claimed(row)
    Computation.objects.filter(pk=last.pk).update(attempts=3)
    assert rows.ask_stop(unwanted.pk)
    for row in (lost, last, unwanted):
        age(row, 26)
    age(alive, 24)
    assert rows.take_back_lost(25) == 3
    assert rows.take_back_lost(25) == 0
    states = [fresh(row).state for row in (lost, alive, last, unwanted)]
    assert states == [State.OPEN, State.RUNNING, State.FAILED, State.STOPPED]
    assert "its worker gave no more sign" in last.error


def test_rows_whose_process_is_gone_are_taken_back_without_waiting() -> None:
    words = ("gone", "fresh", "alive", "nameless", "last", "unwanted")
    gone, fresh_, alive, nameless, last, unwanted = (asked(word) for word in words)
    for row in (gone, fresh_, last, unwanted):
        assert rows.claim(row.key, runner="bench", process="a dead one")
    assert rows.claim(alive.key, runner="bench", process="a living one")
    assert rows.claim(nameless.key, runner="bench")
    Computation.objects.filter(pk=last.pk).update(attempts=3)
    assert rows.ask_stop(unwanted.pk)
    for row in (gone, alive, nameless, last, unwanted):
        age(row, 3)
    for count in (3, 0):
        assert rows.take_back_gone(lambda name: name == "a dead one", grace_s=2) == count
    states = [fresh(row).state for row in (gone, fresh_, alive, nameless, last, unwanted)]
    running = [State.RUNNING] * 3
    assert states == [State.OPEN, *running, State.FAILED, State.STOPPED]
    assert "its worker was ended from outside" in last.error
    assert (gone.process, gone.says) == ("", "Begun again: its worker was ended from outside.")


def test_an_attempt_that_ended_meanwhile_is_not_taken_back() -> None:
    row = asked()
    held = rows.claim(row.key, runner="bench", process="a dead one")
    assert held is not None
    age(row, 3)

    def finished(_name: str) -> bool:
        assert rows.finish(held, {"n": 1})
        return True

    assert rows.take_back_gone(finished, grace_s=2) == 0
    assert fresh(row).state == State.DONE


def test_stopping() -> None:
    waiting, running, done = asked("waiting"), asked("running"), asked("done")
    assert rows.ask_stop(waiting.pk)
    assert fresh(waiting).state == State.STOPPED
    held = claimed(running)
    assert rows.ask_stop(running.pk)
    assert rows.beat(held) is Wish.STOP
    assert rows.end_stopped(held)
    assert fresh(running).state == State.STOPPED
    assert not running.stop_asked
    rows.finish(claimed(done), {})
    assert not rows.ask_stop(done.pk)
    assert fresh(done).state == State.DONE


def test_asking_again_takes_back_the_wish_to_stop() -> None:
    row = asked()
    held = claimed(row)
    rows.ask_stop(row.pk)
    assert asked().pk == row.pk
    assert rows.beat(held) is Wish.GO_ON
    # Also where the attempt has ended its child already.
    assert rows.end_stopped(held)
    assert (fresh(row).state, row.attempts) == (State.OPEN, 0)


def test_a_loop_submits_what_is_open_and_two_do_no_harm() -> None:
    first, second, held = asked("first"), asked("second"), asked("held")
    claimed(held)
    one, other = Notes(), Notes()
    for engine in (one, other):
        Reconciler(engine, lost_s=25).tick()
    assert one.submitted == other.submitted == [[first.key, second.key]]
    age(held, 60)
    for engine in (one, other):
        Reconciler(engine, lost_s=25).tick()
    assert sorted(one.submitted[1]) == sorted([first.key, second.key, held.key])
    assert fresh(held).attempts == 1


def test_rows_of_another_version_are_neither_run_nor_forgotten() -> None:
    row = asked()
    Computation.objects.filter(pk=row.pk).update(version="0.0.1")
    assert rows.claim(row.key, runner="bench") is None
    engine = Notes()
    Reconciler(engine, lost_s=25).tick()
    assert engine.submitted == [[]]
    assert fresh(row).state == State.FAILED
    assert "ask for it again" in row.error


def test_a_request_wakes_the_loop_when_it_is_committed(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    woken = []
    monkeypatch.setattr("layflat.web.work.tasks.wake", lambda: woken.append(True))
    with django_capture_on_commit_callbacks() as callbacks:
        asked()
    assert woken == []
    for callback in callbacks:
        callback()
    assert woken == [True]


def test_what_somebody_waits_for_comes_first() -> None:
    long, quick, other = asked("long"), ask("sample.first", {"log": "quick"}, who=None), asked("x")
    assert [one.key for one in rows.all_due()] == [quick.key, long.key, other.key]
    assert [one.comes_first for one in rows.all_due()] == [True, False, False]
