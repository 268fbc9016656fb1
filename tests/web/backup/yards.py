"""Shops on either database, backed up and restored by the command line as a person would."""

import http.cookiejar
import itertools
import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
import urllib.parse
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

import dj_database_url
import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.db import connections
from django.db.utils import ConnectionHandler
from django.test import override_settings
from pytest_django.plugin import DjangoDbBlocker

from layflat.base import silent
from layflat.web.backup import form
from layflat.web.people.models import Person
from layflat.web.settings import _SQLITE

_OURS = ("LAYFLAT_", "DATABASE_", "DJANGO_")
_START_S = 300.0


@dataclass
class Yard:
    """A data folder with its database.

    Attributes:
        folder: the data folder.
        database: URL of a PostgreSQL database, or "" for SQLite in the folder.
        blocker: pytest-django's.
    """

    folder: Path
    database: str
    blocker: DjangoDbBlocker = field(repr=False)

    @property
    def environment(self) -> dict[str, str]:
        kept = {k: v for k, v in os.environ.items() if not k.startswith(_OURS)}
        # Nothing is computed here: a second worker would only take its time to start.
        kept |= {"LAYFLAT_WORKERS": "1"}
        return kept | ({"DATABASE_URL": self.database} if self.database else {})

    def run(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """A command of Layflat on this yard's folder and database."""
        return subprocess.run(
            [sys.executable, "-m", "layflat", *map(str, arguments), "--data", str(self.folder)],
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=_START_S,
        )

    def python(self, *lines: str) -> None:
        """Lines of Python in a process of their own; `folder` is the yard's."""
        head = (
            "from pathlib import Path",
            "from layflat.web.data_folder import prepare_data_folder, use_data_folder",
            f"folder = Path({str(self.folder)!r})",
        )
        code = "\n".join((*head, *lines))
        subprocess.run([sys.executable, "-c", code], env=self.environment, check=True)

    def done(self, *arguments: str | Path) -> str:
        """What a command said that went well."""
        found = self.run(*arguments)
        assert found.returncode == 0, found.stderr
        return found.stdout

    @contextmanager
    def inside(self) -> Iterator[None]:
        """Within it, models and files in this process are those of the yard."""
        sqlite = {**_SQLITE, "NAME": str(self.folder / "layflat.sqlite3")}
        chosen: Any = dj_database_url.parse(self.database) if self.database else sqlite
        here = ConnectionHandler({"default": chosen})["default"]
        before, connections["default"] = connections["default"], here
        settings = {
            "SECRET_KEY": (self.folder / "secret-key").read_text(encoding="ascii"),
            "FILES_FOLDER": self.folder / "files",
            "PASSWORD_HASHERS": ["django.contrib.auth.hashers.Argon2PasswordHasher"],
        }
        try:
            with self.blocker.unblock(), override_settings(**settings):
                yield
        finally:
            here.close()
            connections["default"] = before

    @contextmanager
    def served(self) -> Iterator[str]:
        """The app, answering; its address without a slash at the end."""
        with socket.create_server(("127.0.0.1", 0)) as probe:
            port = probe.getsockname()[1]
        command = [sys.executable, "-m", "layflat", "serve", "-d", str(self.folder)]
        log = self.folder.with_suffix(".log")
        with log.open("ab") as out:
            server = subprocess.Popen(
                [*command, "--port", str(port)], env=self.environment, stdout=out, stderr=out
            )
        try:
            end = time.monotonic() + _START_S
            while True:
                with socket.socket() as client:
                    if client.connect_ex(("127.0.0.1", port)) == 0:
                        break
                if server.poll() is not None or time.monotonic() > end:
                    pytest.fail(log.read_text(encoding="utf-8", errors="replace"))
                time.sleep(0.05)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(_START_S)

    def browser(self, name: str = "") -> urllib.request.OpenerDirector:
        """A browser, signed in as the person of a name."""
        jar = http.cookiejar.CookieJar()
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
        if name:
            with self.inside():
                person = Person.objects.get(name=name)
                session = SessionStore()
                session[SESSION_KEY] = str(person.pk)
                session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
                session[HASH_SESSION_KEY] = person.get_session_auth_hash()
                session.save()
            jar.set_cookie(_cookie("sessionid", str(session.session_key)))
        return browser

    def hashes(self) -> dict[str, str]:
        """Of each model's rows, as a backup has them."""
        from layflat.web.backup.rows import line_of, name_of, rows_of, snapshot

        with self.inside(), snapshot() as found:
            return {
                name_of(model): sha256(b"".join(map(line_of, rows_of(model)))).hexdigest()
                for model in found.models()
            }


class Counter:
    """Somebody who books one enquiry after another, and notes what was acknowledged.

    Attributes:
        booked: names of customers whose job the app said is open, in order.
    """

    def __init__(self, browser: urllib.request.OpenerDirector, url: str, name: str) -> None:
        self._browser, self._url, self._name = browser, url, name
        self.booked: list[str] = []
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._work)

    def __enter__(self) -> "Counter":
        self._thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._ends.set()
        self._thread.join()

    def _work(self) -> None:
        for number in itertools.count(1):
            if self._ends.is_set():
                return
            self._book(f"{self._name} {number}")

    def _book(self, name: str) -> None:
        page = self._browser.open(f"{self._url}/jobs/enquiry/").read().decode()
        hidden = dict(re.findall(r'name="(csrfmiddlewaretoken|once)" value="([^"]+)"', page))
        typed = {"known": "new", "name": name, "plate": f"LW {len(self.booked)}", "wishes": "nose"}
        data = urllib.parse.urlencode({**hidden, **typed}).encode()
        answer = self._browser.open(f"{self._url}/jobs/enquiry/", data)
        if re.search(r"/jobs/\d+-\d+/$", answer.url):
            self.booked.append(name)

    def until(self, count: int) -> list[str]:
        """What is booked once it is so many."""
        end = time.monotonic() + _START_S
        while len(self.booked) < count:
            assert time.monotonic() < end, f"{len(self.booked)} booked"
            time.sleep(0.02)
        return list(self.booked)


def _cookie(name: str, value: str) -> http.cookiejar.Cookie:
    where: Any = {"domain": "127.0.0.1", "domain_specified": True, "domain_initial_dot": False}
    where |= {"path": "/", "path_specified": True, "port": None, "port_specified": False}
    ends: Any = {"secure": False, "expires": None, "discard": True, "comment": None}
    return http.cookiejar.Cookie(
        version=0, name=name, value=value, comment_url=None, rest={}, **where, **ends
    )


def changed(path: Path, to: Path, act: Callable[[dict[str, bytes]], None]) -> Path:
    """A backup with other contents, sealed as if it had been made so."""
    with zipfile.ZipFile(path) as archive:
        entries = {info.filename: archive.read(info) for info in archive.infolist()}
    act(entries)
    with zipfile.ZipFile(to, "w") as archive:
        for name, data in entries.items():
            archive.writestr(name, data, zipfile.ZIP_DEFLATED)
    form.seal(to, progress=silent)
    return to


def relisted(entries: dict[str, bytes], **changes: Any) -> None:
    """Bring the manifest up to what the entries are, with some of its values changed."""
    listed = json.loads(entries[form.MANIFEST])
    for table in listed["tables"]:
        table["rows"] = entries[table["entry"]["name"]].count(b"\n")
    for entry in [*(table["entry"] for table in listed["tables"]), *listed["files"], listed["key"]]:
        data = entries[entry["name"]]
        entry |= {"size": len(data), "sha256": sha256(data).hexdigest()}
    entries[form.MANIFEST] = json.dumps(listed | changes).encode()
