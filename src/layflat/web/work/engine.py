"""Dask as the engine: a local cluster of processes, or a scheduler elsewhere.

Dask's key is the row's key, so its scheduler runs nothing twice at once. It keeps all in memory
and may forget everything: the rows know, and are submitted anew.
"""

import functools
import logging
import platform
import tempfile
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import dask
import distributed
from distributed import get_worker
from distributed.core import Status

_CONNECT_S = 5.0
# A worker has one computation at a time, in a process of its own: that needs workers which may
# have children, and no watch over memory that would see the worker's only.
_CONFIG = {
    "distributed.worker.daemon": False,
    "distributed.comm.timeouts.connect": _CONNECT_S,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
}
_NO_PAGES = "127.0.0.1:0"  # Dask opens a port for its pages in any case, by default to everybody


# Dask's own classes are half typed; what is used of them stands in this module only.
_dask: Any = distributed

logger = logging.getLogger(__name__)


@functools.cache
def _set_up_worker() -> None:
    """Make a worker ready for its first row: nothing slow may stand between claim and beats."""
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
        on_over: called, in a thread of Dask's, when a worker is through with a row.
    """

    def __init__(self, *, scheduler: str, workers: int, on_over: Callable[[], None]) -> None:
        self._scheduler = scheduler
        self._on_over = on_over
        self._workers = workers
        self._cluster: Any = None
        self._client: Any = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._futures: dict[str, Any] = {}

    def submit(self, keys: list[tuple[str, bool]]) -> None:
        """See to it that rows are run, by their keys; those with True before the others.

        Raises:
            OSError: no scheduler answers.
        """
        client = self._connected()
        for key, comes_first in keys:
            if key not in self._futures:
                future = client.submit(run, key, key=key, pure=False, priority=int(comes_first))
                self._futures[key] = future
                future.add_done_callback(self._over)

    def _over(self, future: Any) -> None:
        """Let go a future that is over, in whatever way.

        While somebody holds it, Dask answers the same key with what it remembers, and a row that
        is open once more would not run. The futures of a lost scheduler are cancelled, hence over.
        """
        if future.status == "error":
            logger.error("%s: its worker failed: %r", future.key, future.exception(_CONNECT_S))
        key = future.key
        if self._futures.get(key) is future:
            del self._futures[key]
        future.release()
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
        if self._client is not None and self._client.status != "running":
            self._disconnect()
        if self._client is None:
            with dask.config.set(_CONFIG):
                if not self._scheduler and self._cluster is None:
                    self._cluster = self._local_cluster()
                self._client = _dask.Client(
                    self._cluster or self._scheduler, timeout=_CONNECT_S, set_as_default=False
                )
        return self._client

    def _disconnect(self) -> None:
        self._futures.clear()
        if self._client is not None:
            with suppress(OSError):
                self._client.close(timeout=_CONNECT_S)
            self._client = None

    def _local_cluster(self) -> Any:
        # Dask sets its configuration for new processes from here.
        dask.config.set(_CONFIG)
        self._folder = tempfile.TemporaryDirectory(prefix="layflat-", ignore_cleanup_errors=True)
        return _dask.LocalCluster(
            n_workers=self._workers,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=_NO_PAGES,
            worker_dashboard_address=_NO_PAGES,
            scheduler_kwargs={"dashboard": False},
            memory_limit=0,
            local_directory=self._folder.name,
            silence_logs=logging.ERROR,
        )
