"""The running app and browsers that are signed in, for tests that look at real pages.

`live` is `layflat serve` in a process of its own, with SQLite in a folder of its own. One browser
serves the whole run, each page has a context of its own. A test fails when one of its pages logs an
error, throws one, or asks anything of another machine.
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.db import connections
from django.test import override_settings
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    expect,
    sync_playwright,
)
from pytest_django.plugin import DjangoDbBlocker

from browser import screens
from layflat.web.data_folder import DATABASE_FILE
from layflat.web.people.models import Person, Role, Shop

PASSWORD = "wet gloves and a squeegee"
COUNTER_SIZE, TABLET_SIZE, PHONE_SIZE = (1280, 800), (820, 1180), (390, 844)
_START_S = 300.0
_PATIENCE_MS = 60_000
"""So long that no slow or busy machine fails; whoever waits goes on as soon as it is true."""
_WEBGL = (
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
)


@pytest.fixture(scope="session", autouse=True)
def _screens(pytestconfig: pytest.Config) -> None:
    """Pictures for people go where `--screens` says."""
    folder = pytestconfig.getoption("screens")
    screens.write_into(Path(folder).absolute() if folder else None)


@dataclass(frozen=True)
class Live:
    """The app as it runs.

    Attributes:
        url: where it answers, without a slash at the end.
        folder: its data folder.
        blocker: pytest-django's, which keeps tests from databases that they did not ask for.
    """

    url: str
    folder: Path
    blocker: DjangoDbBlocker

    @contextmanager
    def inside(self) -> Iterator[None]:
        """Within it, models and files in this process are those of the running app."""
        settings = {
            "SECRET_KEY": (self.folder / "secret-key").read_text(encoding="ascii"),
            "DATA_FOLDER": self.folder,
            "FILES_FOLDER": self.folder / "files",
        }
        name = str(self.folder / "layflat.sqlite3")
        before, here = connections["default"], connections.create_connection("default")
        here.settings_dict = {**here.settings_dict, **_sqlite(), "NAME": name}
        # Playwright keeps an event loop in this thread; Django would take it for asynchronous code.
        unsafe = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"
        connections["default"] = here
        try:
            with self.blocker.unblock(), override_settings(**settings):
                yield
        finally:
            here.close()
            connections["default"] = before
            os.environ.pop("DJANGO_ALLOW_ASYNC_UNSAFE")
            if unsafe is not None:
                os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = unsafe

    def session_of(self, role: Role) -> str:
        """The key of a new session of the person with a role."""
        with self.inside():
            person = Person.objects.get(name=role.value)
            session = SessionStore()
            session[SESSION_KEY] = str(person.pk)
            session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
            session[HASH_SESSION_KEY] = person.get_session_auth_hash()
            session.save()
            assert session.session_key is not None
            return session.session_key


def _sqlite() -> dict[str, Any]:
    """What settings.py says of SQLite, also when these tests' own database is PostgreSQL."""
    from layflat.web import settings

    return settings._SQLITE


@pytest.fixture(scope="session")
def live(
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
    migrated_sqlite: Path,
) -> Iterator[Live]:
    """The running app with a shop and one person of each role, named as the role is."""
    folder = tmp_path_factory.mktemp("live")
    shutil.copy(migrated_sqlite, folder / DATABASE_FILE)
    port = _free_port()
    ours = ("LAYFLAT_", "DATABASE_", "DJANGO_")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
    environment["LAYFLAT_LAYOUT_S"] = "1"
    command = [sys.executable, "-m", "layflat", "serve", "-d", str(folder), "--port", str(port)]
    log = folder / "server.log"
    with log.open("wb") as output:
        server = subprocess.Popen(command, stdout=output, stderr=output, env=environment)
        try:
            found = Live(f"http://127.0.0.1:{port}", folder, django_db_blocker)
            _wait_until_up(found.url, server, log)
            with found.inside():
                Shop.objects.create(name="Lampwick Yard", time_zone="UTC")
                for role in Role:
                    shown = {"owner": "Odile", "counter": "Corin", "installer": "Ines"}[role.value]
                    Person.objects.create_person(
                        role.value, password=PASSWORD, role=role, shown=shown
                    )
            yield found
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_until_up(url: str, server: "subprocess.Popen[bytes]", log: Path) -> None:
    end = time.monotonic() + _START_S
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(f"{url}/start/", timeout=5):
                return
        except (urllib.error.URLError, OSError):
            if server.poll() is not None:
                break
            time.sleep(0.1)
    pytest.fail(f"The server does not answer:\n{log.read_text(errors='replace')[-4000:]}")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for the whole run."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.fail(
            "The browser tests need Chromium on the path: on Debian, `apt-get install chromium` "
            "as root; elsewhere the package of that name from your system."
        )
    expect.set_options(timeout=_PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(_WEBGL))
        yield browser
        browser.close()


@dataclass
class Watch:
    """What the pages of one test did that they should not.

    Attributes:
        url: the only place that they may ask.
        expected: parts of messages that the test provokes.
        complaints: one line each.
    """

    url: str
    expected: tuple[str, ...] = ()
    complaints: list[str] = field(default_factory=list)

    def over(self, context: BrowserContext) -> None:
        """Listen to every page of a context."""
        context.on("console", self._console)
        context.on("weberror", lambda error: self._note(f"thrown: {error.error}"))
        context.on("request", self._request)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._note(f"console: {message.text} ({message.location.get('url', '')})")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((f"{self.url}/", "data:", "blob:")):
            self._note(f"asked another machine: {request.url}")

    def _note(self, line: str) -> None:
        if not any(part in line for part in self.expected):
            self.complaints.append(line)


PageOf = Callable[..., Page]


@pytest.fixture
def page_of(live: Live, chromium: Browser) -> Iterator[PageOf]:
    """Makes a page: `page_of(role, size=…, scheme=…)`, signed in; role None is a stranger.

    `expected` names parts of console messages that the test provokes, such as "404". Each page has
    a browser context of its own; addresses may be written without the server: `page.goto("/")`.
    """
    contexts: list[BrowserContext] = []
    watches: list[Watch] = []

    def page(
        role: Role | None,
        *,
        size: tuple[int, int] = COUNTER_SIZE,
        scheme: str = "light",
        expected: tuple[str, ...] = (),
        **options: Any,
    ) -> Page:
        context = chromium.new_context(
            base_url=live.url,
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if scheme == "dark" else "light",
            reduced_motion="reduce",
            has_touch=size != COUNTER_SIZE,
            locale="en-GB",
            **options,
        )
        contexts.append(context)
        context.set_default_timeout(_PATIENCE_MS)
        if role is not None:
            cookie = {"name": "sessionid", "value": live.session_of(role), "url": live.url}
            context.add_cookies([cookie])  # type: ignore[list-item]
        watch = Watch(live.url, expected)
        watch.over(context)
        watches.append(watch)
        return context.new_page()

    yield page
    for context in contexts:
        context.close()
    complaints = [line for watch in watches for line in watch.complaints]
    assert not complaints, "\n".join(complaints)


@pytest.fixture(scope="session")
def axe_source() -> str:
    """The accessibility checker, from the development set of the npm lock."""
    place = Path(str(resources.files("layflat.web"))) / "npm/node_modules/axe-core/axe.min.js"
    if not place.is_file():
        pytest.fail(f"axe-core is missing ({place.name}); `make test` brings it from the npm lock.")
    return place.read_text(encoding="utf-8")


@pytest.fixture
def axe(axe_source: str) -> Callable[[Page], None]:
    """Checks a page: `axe(page)` asserts that axe-core finds no violation (WCAG 2.2 A and AA)."""

    def check(page: Page) -> None:
        screens.picture(page)
        # Evaluated over the debugger's line, so that the page's own policy stays in force.
        if not page.evaluate("() => 'axe' in window"):
            page.evaluate(axe_source)
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]
        # Told only what is wrong: all that is right is a megabyte a page.
        violations = page.evaluate(
            "tags => axe.run({runOnly: tags, resultTypes: ['violations']}).then(r => r.violations)",
            tags,
        )
        found = [
            f"{item['id']}: {item['help']}: {json.dumps([n['html'][:200] for n in item['nodes']])}"
            for item in violations
        ]
        assert not found, f"{page.url}\n" + "\n".join(found)

    return check
