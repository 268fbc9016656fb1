"""Dask as the engine: local clusters of processes, or a scheduler elsewhere.

Dask's key is the row's key, so its scheduler runs nothing twice at once. It keeps all in memory
and may forget everything: the rows know, and are submitted anew.

Here, what computes and what only waits have a cluster each. One cluster with resources for both
would not do: a worker looks only at the first of the tasks that want a resource, so that one
which has to wait for its place would hold up those behind it that have one.
"""

import functools
import logging
import platform
import tempfile
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

import dask
import distributed
from distributed import get_worker
from distributed.core import Status

from layflat.web.work.due import Due

_CONNECT_S = 20.0  # a busy machine takes its time even to reach itself
_MOST_WAITING = 16
"""More than a shop has machines that cut at once."""
# An attempt has a process of its own: that needs workers which may have children, and no watch
# over memory that would see the worker's only. What Dask measures of itself, a hundred times a
# second, nobody reads, and it would take a twentieth of a processor for each idle process.
_CONFIG = {
    "distributed.worker.daemon": False,
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
    "distributed.admin.system-monitor.interval": "10s",
    "distributed.admin.system-monitor.gil.enabled": False,
    "distributed.comm.timeouts.connect": _CONNECT_S,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
}
_NO_PAGES = "127.0.0.1:0"  # Dask opens a port for its pages in any case, by default to everybody


# Dask's own classes are half typed; what is used of them stands in this module only.
_dask: Any = distributed

logger = logging.getLogger(__name__)


_setting_up = threading.Lock()


def _set_up_worker() -> None:
    """Make a worker ready for its first row: nothing slow may stand between claim and beats."""
    with _setting_up:
        _set_up_once()


@functools.cache
def _set_up_once() -> None:
    import django

    from layflat.web.work import child

    django.setup()
    child.warm_up()


def run(key: str) -> str:
    """Run the row with *key* if it is open; workers call this. The answer is for their log only."""
    _set_up_worker()
    # Models can be imported only now: a worker knows nothing of Django until its first row.
    from django.db import connection

    from layflat.web.work import rows
    from layflat.web.work.attempt import attend
    from layflat.web.work.processes import this_process

    worker = get_worker()
    runner = f"{worker.name} on {platform.node()}"
    held = rows.claim(key, runner=runner, process=this_process())
    if held is None:
        return "not open"
    try:
        attend(held, ending=lambda: worker.status is not Status.running)
    finally:
        connection.close()
    return "run"


class DaskEngine:
    """Executes rows by Dask; connects when it is first needed, and again whenever it must.

    Args:
        scheduler: address of one, or "" for a local cluster.
        workers: processes of the local cluster.
        threads: attempts that each of these looks after at once.
        on_over: called, in a thread of Dask's, when a worker is through with a row.
    """

    def __init__(
        self, *, scheduler: str, workers: int, threads: int = 1, on_over: Callable[[], None]
    ) -> None:
        self._scheduler = scheduler
        self._on_over = on_over
        self._workers, self._threads = workers, threads
        self._cluster: Any = None
        self._client: Any = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._futures: dict[str, Any] = {}

    def submit(self, due: Sequence[Due]) -> None:
        """See to it that rows are run.

        Raises:
            OSError: no scheduler answers.
        """
        client = self._connected()
        for one in due:
            if one.key not in self._futures:
                future = client.submit(
                    run, one.key, key=one.key, pure=False, priority=int(one.comes_first)
                )
                self._futures[one.key] = future
                future.add_done_callback(self._over)

    def _over(self, future: Any) -> None:
        """Let go a future that is over, in whatever way.

        While somebody holds it, Dask answers the same key with what it remembers, and a row that
        is open once more would not run. The futures of a lost scheduler are cancelled, hence over.
        """
        failed = future.status == "error"
        if failed:
            logger.error("%s: its worker failed: %r", future.key, future.exception(_CONNECT_S))
        key = future.key
        if self._futures.get(key) is future:
            del self._futures[key]
        future.release()
        if not failed:  # a worker that cannot even begin is asked again in a while, not at once
            self._on_over()

    def close(self) -> None:
        """End the connection, and the local cluster with it."""
        self._disconnect()
        if self._cluster is not None:
            self._cluster.close()
            self._cluster = None
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def _connected(self) -> Any:
        if self._cluster is not None:
            self._complete()
        if self._client is not None and self._client.status != "running":
            self._disconnect()
        if self._client is None:
            # For good, not for a block: Dask reads it again whenever it replaces a dead worker.
            dask.config.set(_CONFIG)
            if not self._scheduler and self._cluster is None:
                self._cluster = self._local_cluster()
            self._client = _dask.Client(
                self._cluster or self._scheduler, timeout=_CONNECT_S, set_as_default=False
            )
        return self._client

    def _complete(self) -> None:
        """Have workers started in place of those that Dask gave up.

        It gives up one whose process ended and whose next process is not there within 15 s, or
        could not begin, and starts no other by itself: on a busy machine none would be left.
        """
        workers = self._cluster.workers
        for name, one in tuple(workers.items()):
            if one.status in (Status.closed, Status.failed):
                workers.pop(name, None)
        if len(workers) < self._workers:
            self._cluster.scale(self._workers)

    def _disconnect(self) -> None:
        self._futures.clear()
        if self._client is not None:
            with suppress(OSError):
                self._client.close(timeout=_CONNECT_S)
            self._client = None

    def _local_cluster(self) -> Any:
        self._folder = tempfile.TemporaryDirectory(prefix="layflat-", ignore_cleanup_errors=True)
        return _dask.LocalCluster(
            n_workers=self._workers,
            threads_per_worker=self._threads,
            processes=True,
            host="127.0.0.1",
            dashboard_address=_NO_PAGES,
            worker_dashboard_address=_NO_PAGES,
            scheduler_kwargs={"dashboard": False},
            memory_limit=0,
            local_directory=self._folder.name,
            silence_logs=logging.ERROR,
        )


class LocalEngine:
    """Executes rows in processes on this machine: what computes, and beside it what only waits.

    Args:
        workers: what computes at once, at most.
        on_over: called, in a thread of Dask's, when a worker is through with a row.
    """

    def __init__(self, *, workers: int, on_over: Callable[[], None]) -> None:
        self._computing = DaskEngine(scheduler="", workers=workers, on_over=on_over)
        # Its process starts with the first row that waits.
        self._waiting = DaskEngine(scheduler="", workers=1, threads=_MOST_WAITING, on_over=on_over)

    def submit(self, due: Sequence[Due]) -> None:
        """See to it that rows are run; those that only wait take no place from the others."""
        self._computing.submit([one for one in due if not one.only_waits])
        if waiting := [one for one in due if one.only_waits]:
            self._waiting.submit(waiting)

    def close(self) -> None:
        """End both."""
        self._computing.close()
        self._waiting.close()
