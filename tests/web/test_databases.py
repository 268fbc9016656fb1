"""The tests run on both databases, and a killed run leaves no server behind."""

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import psutil
import pytest
from django.db import connection

from layflat.web.people.models import Shop
from web.work.yard import TESTS, is_gone, until

_VENDORS = {"sqlite": "sqlite", "postgres": "postgresql"}


@pytest.mark.django_db
def test_models_use_the_database_that_is_named(database: str) -> None:
    assert connection.vendor == _VENDORS[database]
    assert not Shop.objects.exists()
    Shop.objects.create(name="Lampwick Yard")


@pytest.mark.django_db(transaction=True)
def test_other_threads_use_it_too(database: str) -> None:
    Shop.objects.create(name="Lampwick Yard")
    found: list[tuple[str, int]] = []

    def look() -> None:
        found.append((connection.vendor, Shop.objects.count()))
        connection.close()

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert found == [(_VENDORS[database], 1)]


def test_a_killed_run_leaves_no_server_behind() -> None:
    code = (
        "from web.postgres import postgres\n"
        "import time\n"
        "with postgres() as url:\n"
        "    print(url, flush=True)\n"
        "    time.sleep(600)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(TESTS)}
    with subprocess.Popen(
        [sys.executable, "-c", code], env=environment, stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        url = run.stdout.readline()
        folder = Path(url.removeprefix("postgres://postgres@").strip().replace("%2F", "/"))
        server = int((folder / "data" / "postmaster.pid").read_text().splitlines()[0])
        assert psutil.Process(server).name() == "postgres"
        os.kill(run.pid, signal.SIGKILL)
    until(lambda: is_gone(server) and not folder.exists())
