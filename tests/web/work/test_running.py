"""A running server computes: results, refusals, crashes, hangs, stops; on both databases."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from layflat.web.work import rows
from layflat.web.work.tasks import ask
from web.work.yard import Yard, is_gone, kill, until, worker_of


@pytest.fixture
def here(shared: Yard, tmp_path: Path) -> Iterator[Yard]:
    """The running yard with a log of the test's own."""
    shared.log = tmp_path / "log"
    with shared.inside():
        yield shared


def inputs(yard: Yard, **more: Any) -> dict[str, Any]:
    return {"log": str(yard.log), "gate": str(yard.log.parent / "gate"), **more}


def test_a_result_is_written_once(here: Yard) -> None:
    asked = ask("sample.echo", inputs(here, word="Bänke, “µ”"), who=None)
    row = here.until_state(asked.pk, "done")
    assert row.result == row.inputs == inputs(here, word="Bänke, “µ”")
    assert (row.attempts, row.progress, row.claim, row.error) == (1, 1.0, "", "")
    assert row.began_at <= row.ended_at
    assert len(here.noted("end")) == 1


def test_equal_requests_run_once_and_a_finished_one_is_there_at_once(here: Yard) -> None:
    first = ask("sample.gate", inputs(here), who=None)
    here.until_noted("begin", 1)
    assert ask("sample.gate", inputs(here), who=None).pk == first.pk
    until(lambda: here.row(first.pk).says == "waiting at the gate")
    assert here.row(first.pk).progress == 0.5
    Path(inputs(here)["gate"]).touch()
    here.until_state(first.pk, "done")
    again = ask("sample.gate", inputs(here), who=None)
    assert (again.pk, again.state, again.result) == (first.pk, "done", {"passed": True})
    assert len(here.noted("begin")) == len(here.noted("end")) == 1


def test_what_only_waits_takes_no_place_from_what_computes(here: Yard) -> None:
    """Two compute on two workers and one is open; three that wait run all the same."""
    gates = [ask("sample.gate", inputs(here, number=i), who=None) for i in range(3)]
    here.until_noted("begin", 2)
    watches = [ask("sample.watch", inputs(here, number=i), who=None) for i in range(3)]
    here.until_noted("watching", 3)
    states = [here.row(row.pk).state for row in (*watches, *gates)]
    assert sorted(states) == ["open", *["running"] * 5]
    Path(inputs(here)["gate"]).touch()
    for row in (*watches, *gates):
        here.until_state(row.pk, "done")


def test_what_waits_in_a_row_does_not_hold_up_what_computes(here: Yard) -> None:
    watches = [ask("sample.watch", inputs(here, number=i), who=None) for i in range(5)]
    here.until_noted("watching", 5)
    here.until_state(ask("sample.echo", inputs(here), who=None).pk, "done")
    Path(inputs(here)["gate"]).touch()
    for row in watches:
        here.until_state(row.pk, "done")


def test_a_refusal_fails_at_once_with_its_sentence(here: Yard) -> None:
    row = here.until_state(ask("sample.refuse", inputs(here), who=None).pk, "failed")
    assert row.error == "The roll is narrower than the piece by 12 mm."
    assert row.attempts == 1


@pytest.mark.parametrize(
    ("task", "why"),
    [
        ("sample.abort", "its process was ended by SIGABRT"),
        ("sample.slip", "of a fault in the program (ZeroDivisionError"),
        ("sample.hang", "it gave no sign for 0.6 seconds"),
    ],
)
def test_three_crashes_fail_with_the_reason(here: Yard, task: str, why: str) -> None:
    row = here.until_state(ask(task, inputs(here), who=None).pk, "failed")
    assert row.error.startswith(f"It broke off 3 times, the last time because {why}")
    assert (row.attempts, len(here.noted("begin"))) == (3, 3)
    # What failed may be asked for again, with all its attempts.
    again = ask(task, inputs(here), who=None)
    assert again.says == "Asked for again."
    assert here.until_state(again.pk, "failed").attempts == 3
    assert len(here.noted("begin")) == 6


def test_a_child_that_is_killed_costs_one_attempt(here: Yard) -> None:
    asked = ask("sample.gate", inputs(here), who=None)
    kill(here.until_noted("begin", 1)[0])
    here.until_noted("begin", 2)
    assert "SIGKILL" in here.row(asked.pk).says or here.row(asked.pk).attempts == 2
    Path(inputs(here)["gate"]).touch()
    assert here.until_state(asked.pk, "done").attempts == 2
    assert len(here.noted("end")) == 1


def test_stop_ends_the_process_and_all_that_it_started(here: Yard) -> None:
    asked = ask("sample.family", inputs(here), who=None)
    child, grandchild = here.until_noted("begin", 1)[0], here.until_noted("grandchild", 1)[0]
    assert not is_gone(child)
    assert rows.ask_stop(asked.pk)
    row = here.until_state(asked.pk, "stopped")
    assert is_gone(child)
    until(lambda: is_gone(grandchild))
    assert (row.stop_asked, row.claim, row.result) == (False, "", None)
    assert not rows.ask_stop(asked.pk)
    again = ask("sample.family", inputs(here), who=None)
    here.until_noted("begin", 2)
    assert rows.ask_stop(again.pk)
    here.until_state(asked.pk, "stopped")


def test_a_worker_that_is_killed_loses_nothing(here: Yard) -> None:
    asked = ask("sample.gate", inputs(here), who=None)
    child = here.until_noted("begin", 1)[0]
    kill(worker_of(child))
    until(lambda: is_gone(child))
    here.until_noted("begin", 2)
    Path(inputs(here)["gate"]).touch()
    assert here.until_state(asked.pk, "done").attempts == 2
    assert len(here.noted("end")) == 1


def test_the_worker_in_a_killed_ones_place_computes(here: Yard) -> None:
    """Both places compute at once afterwards, so the new one does, too."""
    asked = ask("sample.gate", inputs(here), who=None)
    kill(worker_of(here.until_noted("begin", 1)[0]))
    here.until_noted("begin", 2)
    other = ask("sample.gate", inputs(here, number=1), who=None)
    here.until_noted("begin", 3)
    states = [here.row(row.pk).state for row in (asked, other)]
    assert states == ["running", "running"]
    Path(inputs(here)["gate"]).touch()
    for row in (asked, other):
        here.until_state(row.pk, "done")
