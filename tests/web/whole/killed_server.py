"""A keeper of one server at a time, so that starting the next after a kill costs little.

It has everything imported, holds the socket, and forks a server whenever it is told to. What was
sent while no server runs waits in the socket. Run with the data folder as its only argument, it
reads one word a line: "prepare" makes the database and says in JSON what a client needs; "serve"
begins a server and says its process number.
"""

import datetime
import json
import os
import signal
import socket
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

import django
import uvicorn

from layflat.web.data_folder import prepare_data_folder

LENGTH_MM = 150_000


class _NoMigrations:
    """Tables are made from the models at once; other tests run the migrations."""

    def __contains__(self, _app: str) -> bool:
        return True

    def __getitem__(self, _app: str) -> None:
        return None


def book(call: Any) -> str:
    """Take film off a roll."""
    from layflat.web.record.models import write_event
    from layflat.web.stock.booking import take
    from layflat.web.stock.models import Movement, Roll

    roll, length_mm = Roll.objects.get(), int(call.fields["length_mm"])
    take(
        roll,
        length_mm,
        kind=Movement.Kind.CUT,
        job=call.job,
        who=call.who,
        source=f"tap {call.key}",
    )
    write_event("sample.took", f"Took {length_mm} mm.", who=call.who, after={"tap": call.key})
    return f"Took {length_mm} mm."


def prepare() -> None:
    """Make the database, with a shop, a person who is signed in, and a roll."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore
    from django.core.management import call_command

    from layflat.web.people.models import Person, Role, Shop
    from layflat.web.stock.booking import receive

    call_command("migrate", run_syncdb=True, interactive=False, verbosity=0)
    Shop.objects.create(name="Lampwick Yard")
    ines = Person.objects.create_person("ines", password="x" * 12, role=Role.INSTALLER)
    receive(
        film="Clear 150",
        lot="LW-7731",
        width_mm=1524,
        length_mm=LENGTH_MM,
        cost=None,
        place="rack",
        received_on=datetime.date(2024, 4, 2),
        who=ines,
    )
    session = SessionStore()
    session[SESSION_KEY] = str(ines.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = ines.get_session_auth_hash()
    session.save()
    say(json.dumps({"session": session.session_key, "who": ines.pk}))


def say(line: str) -> None:
    """Answer whoever wrote the last word."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def forked(run: Callable[[], None]) -> int:
    """Run it in a process of its own that ends with this one."""
    keeper = os.getpid()
    number = os.fork()
    if number == 0:
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        threading.Thread(target=_end_with, args=[keeper], daemon=True).start()
        code = 1
        try:
            run()
            code = 0
        finally:
            if code:
                # Whoever waits for an answer would else wait for ever.
                traceback.print_exc()
                say("failed")
            os._exit(code)
    return number


def _end_with(keeper: int) -> None:
    while os.getppid() == keeper:
        time.sleep(0.2)
    os._exit(1)


def main(folder: Path) -> None:
    """Do what is asked until nobody asks any more."""
    prepare_data_folder(folder)
    os.environ["LAYFLAT_DATA"] = str(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "layflat.web.settings"
    django.setup()
    from django.conf import settings
    from django.urls import get_resolver

    from layflat.web.asgi import application
    from layflat.web.people.models import Role
    from layflat.web.taps.acts import act

    settings.MIGRATION_MODULES = _NoMigrations()
    act("sample.take", roles=(Role.INSTALLER,), needs_job=False)(book)
    get_resolver().url_patterns  # noqa: B018 - imports every view once, before the forks
    gate = socket.create_server(("127.0.0.1", 0), backlog=64)
    config = uvicorn.Config(application, log_level="critical", lifespan="off", proxy_headers=False)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    say(str(gate.getsockname()[1]))
    for line in sys.stdin:
        if line.strip() == "prepare":
            forked(prepare)
        else:
            say(str(forked(lambda: uvicorn.Server(config).run(sockets=[gate]))))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
