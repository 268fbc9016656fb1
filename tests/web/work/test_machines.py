"""Machines die at the worst moment; nothing is lost, nothing is done twice; on both databases."""

import signal
from pathlib import Path

import psutil
import pytest

from layflat.web.work.models import Computation
from layflat.web.work.tasks import ask
from web.work.yard import DEADLINE_S, Yard, free_port, is_gone, until

pytestmark = pytest.mark.long


@pytest.fixture
def inputs(yard: Yard) -> dict[str, str]:
    return {"log": str(yard.log), "gate": str(yard.folder / "gate")}


def offspring(process: psutil.Popen) -> list[int]:
    return [one.pid for one in process.children(recursive=True)]


# The end does not depend on the database, nor the database on the end: each once.
@pytest.mark.parametrize(
    ("new_database", "how"),
    [("sqlite", signal.SIGTERM), ("postgres", signal.SIGKILL)],
    indirect=["new_database"],
)
def test_the_server_ends_and_its_work_goes_on_at_the_next_start(
    yard: Yard, inputs: dict[str, str], how: signal.Signals
) -> None:
    # So long that a row which is taken back was not merely silent for too long.
    server = yard.serve(SAMPLE_LOST_S="600")
    with yard.inside():
        asked = ask("sample.gate", inputs, who=None)
        waiting = [ask("sample.echo", inputs | {"n": n}, who=None) for n in range(5)]
        # Done before the end: a result that is not yet written when its worker ends is made again.
        for one in waiting:
            yard.until_state(one.pk, "done")
        yard.until_noted("begin", 6)
        family = [server.pid, *offspring(server)]
        assert len(family) > 4
        server.send_signal(how)
        server.wait(DEADLINE_S)
        until(lambda: all(map(is_gone, family)))
        row = yard.row(asked.pk)
        if how is signal.SIGKILL:
            assert (row.state, row.attempts) == ("running", 1)
        else:
            # Ended in peace: that costs no attempt, and nothing was said.
            assert (row.state, row.attempts) == ("open", 0)
            assert yard.said("server").count("\n") == 1
        Path(inputs["gate"]).touch()
        yard.serve(SAMPLE_LOST_S="600", LAYFLAT_WORKERS="1")
        assert yard.until_state(asked.pk, "done").result == {"passed": True}
    assert len(yard.noted("end")) == 6


@pytest.mark.parametrize("new_database", ["postgres"], indirect=True)
def test_two_workers_on_hosts_of_their_own_outlive_their_scheduler(
    yard: Yard, inputs: dict[str, str]
) -> None:
    port = free_port()
    scheduler = yard.scheduler(port)
    yard.serve(LAYFLAT_SCHEDULER=f"tcp://127.0.0.1:{port}")
    first = yard.worker("bench", port, host="127.0.0.2")
    second = yard.worker("bay", port, host="127.0.0.3")
    with yard.inside():
        gates = [ask("sample.gate", inputs | {"n": n}, who=None) for n in range(4)]
        yard.until_noted("begin", 2)
        # One on each, none twice.
        runners = Computation.objects.filter(state="running").values_list("runner", flat=True)
        assert {runner.split()[0] for runner in runners} == {"bench", "bay"}
        scheduler.kill()
        scheduler.wait()
        # Dask's workers end without their scheduler; what watches over services starts them anew.
        for worker in (first, second):
            worker.wait(DEADLINE_S)
        yard.scheduler(port)
        first, second = yard.worker("bench", port), yard.worker("bay", port)
        yard.until_noted("begin", 4)
        first.kill()
        first.wait()
        Path(inputs["gate"]).touch()
        for one in gates:
            yard.until_state(one.pk, "done")
    assert len(yard.noted("end")) == 4


def test_two_servers_share_the_rows(yard: Yard, inputs: dict[str, str]) -> None:
    yard.serve(LAYFLAT_WORKERS="1")
    yard.serve(LAYFLAT_WORKERS="1")
    Path(inputs["gate"]).touch()
    with yard.inside():
        asked = [ask("sample.gate", inputs | {"n": n}, who=None) for n in range(12)]
        for one in asked:
            assert yard.until_state(one.pk, "done").attempts == 1
    assert len(yard.noted("begin")) == len(yard.noted("end")) == 12
