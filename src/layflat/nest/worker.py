"""The layout engine's own process: one task in on stdin, layouts out on stdout.

It is run as a script, and imports nothing but the standard library and the engine, so that it
is there within a few hundredths of a second and can be killed at any time. The engine may
panic (a `BaseException` from its Rust core), abort or overrun its budget; the parent expects
all of these.

In: one line of JSON, `{"height", "seed", "exploration_s", "compression_s", "workers",
"patience_s", "hopes": [[seconds, length], ...], "items": [{"demand", "turns", "points"}]}`; then
stdin stays open, and its end means that nobody waits any more. Out, a line of JSON each:
`{"length", "spots": [[item, turn, x, y], ...]}` for every layout that is valid to the engine and
better than those before, then `{"end": "done"}` or `{"end": "failed", "why": ...}`.
"""

import json
import os
import signal
import sys
import threading
import time

import spyrrow


def leave_with_parent() -> None:
    """End this process when stdin ends."""
    sys.stdin.read()
    os._exit(0)


def write(message: dict) -> None:  # type: ignore[type-arg]
    """Send one message to the parent."""
    sys.stdout.write(json.dumps(message) + "\n")
    sys.stdout.flush()


def main() -> None:
    """Read the task, run the engine, stream what it finds."""
    # A person's Ctrl-C reaches the whole group of processes; the parent decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    task = json.loads(sys.stdin.readline())
    threading.Thread(target=leave_with_parent, daemon=True).start()
    instance = spyrrow.StripPackingInstance(
        "",
        task["height"],
        [
            spyrrow.Item(str(i), [(x, y) for x, y in item["points"]], item["demand"], item["turns"])
            for i, item in enumerate(task["items"])
        ],
    )
    config = spyrrow.StripPackingConfig(
        seed=task["seed"],
        total_computation_time=None,
        exploration_time=task["exploration_s"],
        compression_time=task["compression_s"],
        num_workers=task["workers"],
    )
    found = spyrrow.ProgressQueue()
    ended: dict[str, str] = {}

    def solve() -> None:
        try:
            instance.solve(config, found)
            ended["end"] = "done"
        except BaseException as error:  # noqa: BLE001 - the engine's panics are no Exception
            ended.update(end="failed", why=str(error)[:200])

    solver = threading.Thread(target=solve, daemon=True)
    solver.start()
    best = worth = float("inf")
    news = time.process_time()
    running = True
    while running:
        solver.join(0.02)
        running = solver.is_alive()
        for kind, layout in found.drain():
            if kind not in VALID_KINDS or not layout.width < best:
                continue
            best = layout.width
            if best < WORTH * worth:
                # By this process's own time: a busy machine must not end a run before its time.
                worth, news = best, time.process_time()
            spots = [[int(p.id), p.rotation, *p.translation] for p in layout.placed_items]
            write({"length": best, "spots": spots})
        patience = task["patience_s"]
        is_found = best < float("inf")
        spent = time.process_time()
        has_waited = is_found and patience is not None and spent - news > patience
        is_hopeless = any(spent > by and best > most for by, most in task["hopes"])
        if running and (has_waited or (is_found and is_hopeless)):
            write({"end": "done"})
            os._exit(0)
    write(ended)


WORTH = 0.998
VALID_KINDS = (
    spyrrow.ReportType.ExplFeas,
    spyrrow.ReportType.CmprFeas,
    spyrrow.ReportType.Final,
)

if __name__ == "__main__":
    main()
