"""A workshop's machines as processes of their own, to be ended hard, and what they leave behind."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import dj_database_url
import psutil
import pytest
from django.db import connections
from django.db.utils import ConnectionHandler
from pytest_django.plugin import DjangoDbBlocker

from layflat.web.settings import _SQLITE
from layflat.web.work.models import Computation

DEADLINE_S = 300.0
"""So long that no slow or busy machine fails; whoever waits goes on as soon as it is true."""
TESTS = Path(__file__).resolve().parents[2]


def until(what: Callable[[], Any], *, within_s: float = DEADLINE_S) -> Any:
    """What *what* answers as soon as that is true; polls."""
    deadline = time.monotonic() + within_s
    while not (found := what()):
        if time.monotonic() > deadline:
            pytest.fail(f"not within {within_s:g} s: {what}")
        time.sleep(0.02)
    return found


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


class Yard:
    """Machines that share one database.

    Args:
        folder: for everything.
        database: URL of a PostgreSQL database, or "" for SQLite in the folder.
    """

    def __init__(self, folder: Path, database: str, blocker: DjangoDbBlocker) -> None:
        self.folder = folder
        self.log = folder / "log"
        self._database = database
        self._blocker = blocker
        self._started: list[psutil.Popen] = []

    # Machines

    def serve(self, **environment: str) -> psutil.Popen:
        """The server, answering."""
        port = free_port()
        data = str(self.folder / "data")
        process = self._start(
            "server", ["-m", "layflat", "serve", "-d", data, "--port", str(port)], environment
        )

        def answers() -> bool:
            assert process.poll() is None, self.said("server")
            with socket.socket() as client:
                return client.connect_ex(("127.0.0.1", port)) == 0

        until(answers)
        return process

    def scheduler(self, port: int) -> psutil.Popen:
        """A Dask scheduler at *port*."""
        arguments = ["--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]
        return self._start("scheduler", ["-m", "dask", "scheduler", *arguments], {})

    def worker(self, name: str, port: int, *, host: str = "127.0.0.1") -> psutil.Popen:
        """A Dask worker with a data folder and an address of its own."""
        arguments = [f"tcp://127.0.0.1:{port}", "--name", name, "--host", host]
        options = ["--nthreads", "1", "--no-dashboard", "--no-nanny", "--memory-limit", "0"]
        options += ["--local-directory", str(self.folder / f"scratch-{name}")]
        data = self.folder / ("data" if not self._database else f"data-{name}")
        data.mkdir(exist_ok=True)
        environment = {"LAYFLAT_DATA": str(data)}
        command = ["-m", "dask", "worker", *arguments, *options]
        return self._start(name, command, environment)

    def _start(
        self, name: str, arguments: list[str], environment: Mapping[str, str]
    ) -> psutil.Popen:
        ours = ("LAYFLAT_", "DATABASE_", "DJANGO_")
        kept = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
        if self._database:
            kept["DATABASE_URL"] = self._database
        kept |= {"DJANGO_SETTINGS_MODULE": "web.work.sample.settings", "PYTHONPATH": str(TESTS)}
        with (self.folder / f"{name}.out").open("ab") as out:
            process = psutil.Popen(
                [sys.executable, *arguments],
                env=kept | dict(environment),
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self._started.append(process)
        return process

    def said(self, name: str) -> str:
        """What the machine wrote to its terminal."""
        return (self.folder / f"{name}.out").read_text(encoding="utf-8", errors="replace")

    def end(self) -> None:
        """End whatever still runs."""
        for process in self._started:
            if process.is_running():
                for one in [*process.children(recursive=True), process]:
                    with_gone(one.kill)
            process.wait()

    # Rows

    @contextmanager
    def inside(self) -> Iterator[None]:
        """Within it, models in this process are those of the yard's database."""
        sqlite = {**_SQLITE, "NAME": str(self.folder / "data" / "layflat.sqlite3")}
        chosen: Any = dj_database_url.parse(self._database) if self._database else sqlite
        here = ConnectionHandler({"default": chosen})["default"]
        before, connections["default"] = connections["default"], here
        try:
            with self._blocker.unblock():
                yield
        finally:
            here.close()
            connections["default"] = before

    def row(self, pk: int) -> Computation:
        return Computation.objects.get(pk=pk)

    def until_state(self, pk: int, state: str) -> Computation:
        """The row once it is in *state*."""

        def reached() -> Computation | None:
            row = self.row(pk)
            assert row.state == state or not row.is_over, f"{row}: {row.error}"
            return row if row.state == state else None

        found: Computation = until(reached)
        return found

    # Side effects

    def noted(self, word: str) -> list[int]:
        """The process numbers of the log's lines with *word*."""
        if not self.log.exists():
            return []
        lines = [line.split() for line in self.log.read_text(encoding="utf-8").splitlines()]
        return [int(number) for found, number in lines if found == word]

    def until_noted(self, word: str, count: int) -> list[int]:
        found: list[int] = until(lambda: len(n := self.noted(word)) >= count and n)
        return found


def with_gone(act: Callable[[], Any]) -> None:
    """Do it; a process that is gone already is as good."""
    try:
        act()
    except (psutil.NoSuchProcess, ProcessLookupError):
        return


def is_gone(pid: int) -> bool:
    """Whether the process with *pid* is no more, or a corpse that nobody has collected."""
    try:
        return bool(psutil.Process(pid).status() == psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return True


def kill(pid: int) -> None:
    os.kill(pid, signal.SIGKILL)


def worker_of(child: int) -> int:
    """The worker that a computing process belongs to: its parent is the worker's fork server."""
    parents = psutil.Process(child).parents()
    return int(parents[1].pid)
