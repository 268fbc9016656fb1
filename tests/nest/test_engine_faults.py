"""The engine's process is killed, hangs, panics, talks nonsense: a layout comes all the same."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from layflat.base import StoppedError
from layflat.nest import Layout, Request, Stock, check_layout, engine, place
from layflat.nest.engine import EngineRun, Task
from layflat.nest.parts import Frame, make_parts
from nest.pieces import HOOK, piece, rectangle

STOCK = Stock(width_mm=240, edge_margin_mm=20)
TRIANGLE = piece([(0, 0), (120, 0), (0, 190)], name="triangle")
REQUESTS = [Request(pattern=TRIANGLE, copies=6)]
# In stacks every triangle has 120 mm of the roll for itself. The good layout lays pairs into
# each other, 130 by 200 mm; the engine places centres, half a gap off the strip's edge. Pushed
# together a pair takes 120 mm: its second triangle reaches 10 mm higher, up to what lies before.
GOOD_SPOTS = [
    spot
    for pair in range(3)
    for spot in ([0, 0.0, 62.0 + 134.0 * pair, 97.0], [0, 180.0, 72.0 + 134.0 * pair, 107.0])
]
GOOD = json.dumps({"length": 402.0, "spots": GOOD_SPOTS})
BETTER = json.dumps({"length": 400.0, "spots": [[0, 0.0, 60.0, 60.0]] * 6})
GOOD_MM = 3 * 120 + 2 * 4 + 2 * 5
STACKS_MM = 6 * 120 + 5 * 4 + 2 * 5

WORKERS = {
    "kill": f"print('{GOOD}', flush=True); os.kill(os.getpid(), signal.SIGKILL)",
    "abort": f"print('{GOOD}', flush=True); os.abort()",
    "panic": f"print('{GOOD}', flush=True); "
    """print('{"end": "failed", "why": "index out of bounds"}', flush=True)""",
    "hang": f"print('{GOOD}', flush=True); time.sleep(600)",
    "hang at once": "time.sleep(600)",
    "deaf": "sys.stdin.close(); time.sleep(600)",
    "silent": "sys.stdout.close(); os.close(1); time.sleep(600)",
    "traceback": "raise RuntimeError('no')",
    "nonsense": f"print('{GOOD}', flush=True); print('{{', flush=True); time.sleep(600)",
    "other words": f"print('{GOOD}', flush=True); print('[]', flush=True); time.sleep(600)",
    "false layout": f"print('{GOOD}', flush=True); print('{BETTER}', flush=True); "
    """print('{"end": "done"}', flush=True)""",
    "missing pieces": f"print('{GOOD}', flush=True); "
    """print('{"length": 9, "spots": [[0, 0, 62, 97]]}', flush=True); """
    """print('{"end": "done"}', flush=True)""",
    "unknown pieces": """print('{"length": 9, "spots": [[7, 0, 60, 60]]}', flush=True)""",
    "not numbers": """print('{"length": NaN, "spots": [[0, NaN, 60, 60]]}', flush=True)""",
}
WAITS = {"hang", "hang at once", "deaf", "false layout", "missing pieces"}
KEEPS_GOOD = {name for name, code in WORKERS.items() if GOOD in code}


@pytest.fixture
def worker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Puts a script in the worker's place; its processes' ids are written down."""
    pids = tmp_path / "pids"
    pids.touch()

    def use(code: str) -> Path:
        script = tmp_path / "worker.py"
        script.write_text(
            "import os, signal, sys, time\n"
            f"open({str(pids)!r}, 'a').write(str(os.getpid()) + chr(10))\n" + code
        )
        monkeypatch.setattr(engine, "worker_command", lambda: [sys.executable, "-I", str(script)])
        return pids

    return use


def is_gone(pid: int) -> bool:
    """Neither running nor a zombie: the number is free."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def lay_out(**options: object) -> Layout:
    chosen = {"gap_mm": 4, "seconds": 60, "seed": 1, **options}
    return place(REQUESTS, STOCK, **chosen)


@pytest.mark.parametrize("name", WORKERS)
def test_a_sound_layout_comes_whatever_the_worker_does(name: str, worker) -> None:
    pids = worker(WORKERS[name])
    layout = lay_out(seconds=2 if name in WAITS else 60)
    check_layout(layout)
    assert len(layout.placements) == 6
    if name in KEEPS_GOOD:
        assert layout.length_mm == pytest.approx(GOOD_MM, abs=0.02)
    else:
        # Pieces pushed up in turn lie in each other's hollows too, but on rows across the roll.
        assert GOOD_MM < layout.length_mm < 0.6 * STACKS_MM
        assert any("of pieces pushed up in turn" in note for note in layout.notes)
    assert all(is_gone(int(pid)) for pid in pids.read_text().split())
    assert layout.notes


def test_a_stop_ends_the_process_at_once(worker) -> None:
    pids = worker(WORKERS["hang"])

    def stop_when_it_runs(step: str, fraction: float) -> None:
        if pids.read_text():
            raise StoppedError("Stopped.")

    start = time.monotonic()
    with pytest.raises(StoppedError):
        lay_out(seconds=120, progress=stop_when_it_runs)
    assert time.monotonic() - start < 60
    assert all(is_gone(int(pid)) for pid in pids.read_text().split())


def test_a_keyboard_interrupt_ends_the_process_too(worker) -> None:
    pids = worker(WORKERS["hang"])

    def interrupt(step: str, fraction: float) -> None:
        if pids.read_text():
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        lay_out(seconds=120, progress=interrupt)
    assert all(is_gone(int(pid)) for pid in pids.read_text().split())


def test_a_stop_can_keep_the_best_layout_until_then(worker) -> None:
    pids = worker(WORKERS["hang"])

    def stop_when_it_runs(step: str, fraction: float) -> None:
        if pids.read_text():
            raise StoppedError("Stopped.")

    layout = lay_out(seconds=120, keep_when_stopped=True, progress=stop_when_it_runs)
    assert any("was stopped" in note for note in layout.notes)
    assert all(is_gone(int(pid)) for pid in pids.read_text().split())


def test_the_real_worker_ends_with_its_parent() -> None:
    """Nobody ends it: its stdin ends, as when the parent was killed."""
    frame = Frame(usable_mm=200, longest_mm=float("inf"), gap_mm=4)
    task = Task(
        parts=make_parts([Request(pattern=rectangle(50, 40), copies=9)], frame),
        counts=(9,),
        frame=frame,
        seed=1,
        exploration_s=500,
        compression_s=100,
    )
    process = subprocess.Popen(
        engine.worker_command(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(task.line() + "\n")
        process.stdin.flush()
        assert "spots" in process.stdout.readline()
        process.stdin.close()
        assert process.wait(timeout=60) == 0


def test_the_real_worker_ends_by_itself_once_it_finds_nothing_more() -> None:
    frame = Frame(usable_mm=200, longest_mm=float("inf"), gap_mm=4)
    task = Task(
        parts=make_parts([Request(pattern=piece(HOOK), copies=8)], frame),
        counts=(8,),
        frame=frame,
        seed=1,
        exploration_s=500,
        compression_s=100,
        workers=1,
        patience_s=0.05,
    )
    found = []
    start = time.monotonic()
    with EngineRun(task) as run:
        # Its budget is ten minutes; a minute is ample for a twentieth of a second.
        while run.ending is None and time.monotonic() - start < 60:
            found += run.poll()
            time.sleep(0.01)
    assert run.ending == "done"
    assert found


def test_the_real_worker_leaves_ctrl_c_to_its_parent() -> None:
    frame = Frame(usable_mm=200, longest_mm=float("inf"), gap_mm=4)
    task = Task(
        parts=make_parts([Request(pattern=rectangle(50, 40), copies=9)], frame),
        counts=(9,),
        frame=frame,
        seed=1,
        exploration_s=500,
        compression_s=100,
    )
    with EngineRun(task) as run:
        while not run.poll():
            assert run.ending is None
            time.sleep(0.01)
        run._process.send_signal(signal.SIGINT)
        time.sleep(0.2)
        run.poll()
        assert run.ending is None
    assert run.ending == "stopped"


def test_the_real_worker_survives_a_panic_of_the_engine() -> None:
    """A piece that does not fit makes the engine panic, with an error that is no Exception."""
    tall = Frame(usable_mm=500, longest_mm=float("inf"), gap_mm=4)
    low = Frame(usable_mm=100, longest_mm=float("inf"), gap_mm=4)
    task = Task(
        parts=make_parts([Request(pattern=rectangle(50, 400), turns_deg=(0.0,))], tall),
        counts=(1,),
        frame=low,
        seed=1,
        exploration_s=1,
        compression_s=1,
    )
    with EngineRun(task) as run:
        while run.ending is None:
            assert run.poll() == []
            time.sleep(0.01)
    assert run.ending.startswith("failed: ")
