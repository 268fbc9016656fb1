"""The server is killed a hundred times while film is booked: nothing lost, nothing doubled.

Clients send again what was not answered, as tablets do. What they were told is there, once, and
what is left of the roll is the sum of its movements.
"""

import http.client
import json
import os
import random
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from django.db.models import Sum
from pytest_django.plugin import DjangoDbBlocker

from layflat.web.record.models import Event
from layflat.web.stock.models import Movement, Roll
from layflat.web.taps.models import Device, Tap
from web.postgres import new_database
from web.whole.killed_server import LENGTH_MM
from web.work.yard import TESTS, Yard

pytestmark = pytest.mark.long

TIMES = 100
SEED = 20310524
MOST_WAIT_S = 0.05
"""A server is killed within this time after it first answered."""
_TOKEN = "a" * 32
_PATIENCE_S = 120.0


class Keeper:
    """The keeper of the servers, and who may send to them."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self._process = process
        self.port = int(self._answer())
        ready = json.loads(self._asked("prepare"))
        self.who = str(ready["who"])
        self.cookies = f"sessionid={ready['session']}; csrftoken={_TOKEN}"

    def serve(self) -> int:
        """Begin a server; its process number."""
        return int(self._asked("serve"))

    def _asked(self, word: str) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{word}\n")
        self._process.stdin.flush()
        return self._answer()

    def _answer(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the keeper of the servers has ended"
        return line


@contextmanager
def kept(folder: Path, database: str) -> Iterator[Keeper]:
    """A keeper while the block runs."""
    ours = ("LAYFLAT_", "DATABASE_", "DJANGO_")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
    environment |= {"PYTHONPATH": str(TESTS)} | ({"DATABASE_URL": database} if database else {})
    command = [sys.executable, "-m", "web.whole.killed_server", str(folder)]
    with (
        (folder.parent / "keeper.log").open("wb") as log,
        subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            env=environment,
            text=True,
        ) as process,
    ):
        try:
            yield Keeper(process)
        finally:
            process.kill()


@dataclass
class Client:
    """Somebody who books film, one tap after the other, each until it is answered.

    Attributes:
        device: the tablet's key; "" for a browser without scripts.
        told: lengths in mm by the taps' keys, as they were acknowledged.
        tries: how often something was sent.
        faults: what else went wrong than that a server was gone.
    """

    keeper: Keeper
    device: str
    seed: int
    stop: threading.Event
    heard: threading.Event
    told: dict[str, int] = field(default_factory=dict)
    tries: int = 0
    faults: list[str] = field(default_factory=list)

    def run(self) -> None:
        chance = random.Random(self.seed)
        while not self.stop.is_set() and not self.faults:
            number, length_mm = len(self.told) + 1, chance.randint(1, 40)
            key = f"{self.seed:08x}{number:024x}"
            form = {"tap": key, "act": "sample.take", "length_mm": str(length_mm)}
            form |= {"who": self.keeper.who, "next": "/taps/"}
            if self.device:
                form |= {"device": self.device, "number": str(number), "age_s": "0.5"}
            while not self._answered(form) and not self.faults:
                pass
            self.told[key] = length_mm

    def _answered(self, form: Mapping[str, str]) -> bool:
        """Send it once; whether it was acknowledged."""
        self.tries += 1
        server = http.client.HTTPConnection("127.0.0.1", self.keeper.port, timeout=_PATIENCE_S)
        headers = {
            "Cookie": self.keeper.cookies,
            "X-CSRFToken": _TOKEN,
            "Content-Type": "application/x-www-form-urlencoded",
            **({"Accept": "application/json"} if self.device else {}),
        }
        try:
            server.request("POST", "/taps/", urlencode(form), headers)
            answer = server.getresponse()
            said = answer.read().decode()
        except (OSError, http.client.HTTPException):
            return False
        finally:
            server.close()
        self.heard.set()
        is_right = '"done"' in said if self.device else answer.status == 302
        if not is_right:
            self.faults.append(f"{answer.status}: {said[:500]}")
        return is_right


def kill_again_and_again(keeper: Keeper, heard: threading.Event) -> None:
    chance = random.Random(SEED)
    for _ in range(TIMES):
        server = keeper.serve()
        heard.clear()
        assert heard.wait(_PATIENCE_S), "no server answers"
        heard.clear()
        # Not before it answered something, or it would only ever die while it starts.
        threading.Event().wait(chance.uniform(0, MOST_WAIT_S))
        os.kill(server, signal.SIGKILL)
    keeper.serve()


@pytest.mark.parametrize("kind", ["sqlite", "postgres"])
def test_a_hundred_kills_lose_nothing_and_double_nothing(
    kind: str,
    tmp_path: Path,
    request: pytest.FixtureRequest,
    django_db_blocker: DjangoDbBlocker,
) -> None:
    base = request.getfixturevalue("postgres_url") if kind == "postgres" else ""
    database = new_database(base, "killed") if base else ""
    yard = Yard(tmp_path, database, django_db_blocker)
    stop, heard = threading.Event(), threading.Event()
    with kept(tmp_path / "data", database) as keeper:
        clients = [
            Client(keeper, device, seed, stop, heard)
            for seed, device in enumerate(("c" * 32, "d" * 32, ""), start=1)
        ]
        threads = [threading.Thread(target=client.run) for client in clients]
        for thread in threads:
            thread.start()
        try:
            kill_again_and_again(keeper, heard)
        finally:
            stop.set()
            for thread in threads:
                thread.join(2 * _PATIENCE_S)
        assert [client.faults for client in clients] == [[], [], []]
        told = {key: mm for client in clients for key, mm in client.told.items()}
        again = sum(client.tries - len(client.told) for client in clients)
        # Had the kills never met anybody who was waiting, the test would show nothing.
        assert again >= TIMES // 4
        with yard.inside():
            compare(told, clients)


def compare(told: dict[str, int], clients: list[Client]) -> None:
    """What clients were told against what the database says."""
    taps: Any = Tap.objects.filter(state="done").values_list("key", flat=True)
    assert sorted(taps) == sorted(told)
    assert not Tap.objects.exclude(state="done").exists()
    taken = Movement.objects.filter(source__startswith="tap ")
    booked = {
        source.removeprefix("tap "): -mm for source, mm in taken.values_list("source", "delta_mm")
    }
    assert booked == told
    assert taken.count() == Event.objects.filter(kind="sample.took").count() == len(told)
    left = Roll.objects.get().left_mm
    assert left == LENGTH_MM - sum(told.values())
    assert left == Movement.objects.aggregate(sum=Sum("delta_mm"))["sum"]
    counted = dict(Device.objects.values_list("key", "last"))
    assert counted == {one.device: len(one.told) for one in clients if one.device}
