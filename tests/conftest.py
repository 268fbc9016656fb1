"""What holds for all tests."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import dj_database_url
import hypothesis
import pytest
from _pytest.pathlib import ImportMode, import_path
from django.db import connections
from pytest_django.plugin import DjangoDbBlocker

from databases import migrate
from layflat.web.data_folder import DATABASE_FILE
from once import made_once
from web.postgres import keep, new_database, postgres

# The browser tests keep Playwright's event loop in the thread for the whole run; Django would take
# the tests that come after them, in an order that changes, for asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"

# How long an example takes says how busy the machine is.
hypothesis.settings.register_profile("layflat", hypothesis.settings(), deadline=None)
hypothesis.settings.load_profile("layflat")


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--screens FOLDER`, see `browser/screens.py`."""
    parser.addoption(
        "--screens", metavar="FOLDER", help="write pictures of the screens that tests look over"
    )


def pytest_xdist_auto_num_workers() -> int:
    """One more than processors: many tests wait for a browser, a server or a database.

    Each worker has a running app of its own, so that more of them cost more than they save.
    """
    return (os.cpu_count() or 1) + 1


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Let each worker import the test modules from another one on.

    pytest writes down what it made of a module's asserts, for others to read. Did all workers begin
    with the same module, each would make every one for itself.
    """
    worker = getattr(session.config, "workerinput", None)
    if worker is None or session.config.args != session.config.getini("testpaths"):
        return
    modules = sorted(Path(__file__).parent.rglob("test_*.py"))
    number = int(worker["workerid"].removeprefix("gw"))
    first = len(modules) * number // worker["workercount"]
    for module in modules[first:] + modules[:first]:
        # A module that cannot be imported is told of when it is collected.
        with suppress(Exception):
            import_path(
                module,
                mode=ImportMode.importlib,
                root=session.config.rootpath,
                consider_namespace_packages=False,
            )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that take long begin first: none is left over for one worker while the others wait."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database to be copied, with the app's tables as `serve` makes them in an empty folder."""

    def make(folder: Path) -> None:
        code = (
            "import pathlib, sys\n"
            "from layflat.web.serve import set_up\n"
            "set_up(pathlib.Path(sys.argv[1]))\n"
        )
        ours = ("LAYFLAT_", "DATABASE_", "DJANGO_")
        environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
        subprocess.run([sys.executable, "-c", code, str(folder)], env=environment, check=True)

    return made_once(tmp_path_factory, "migrated", make) / DATABASE_FILE


@pytest.fixture(scope="session")
def postgres_url(
    tmp_path_factory: pytest.TempPathFactory, django_db_blocker: DjangoDbBlocker
) -> Iterator[str]:
    """A PostgreSQL server for the worker's whole run; the URL of a database, the name left out.

    It is a copy of one that has a database with the app's tables, `migrated`.
    """

    def make(path: Path) -> None:
        with postgres() as url:
            chosen: Any = dj_database_url.parse(new_database(url, "migrated"))
            migrate(chosen, django_db_blocker)
            keep(url, path)

    with postgres(like=made_once(tmp_path_factory, "migrated-postgres", make)) as url:
        yield url


@pytest.fixture(scope="session")
def migrated_postgres(postgres_url: str) -> str:
    """The name of a PostgreSQL database with the app's tables, copies serve tests."""
    assert postgres_url
    return "migrated"


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment: None, migrated_sqlite: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[None]:
    """pytest-django's own database in memory, with the tables copied instead of migrated anew."""
    here = connections["default"]
    before = here.settings_dict["NAME"]
    here.close()
    here.settings_dict["NAME"] = here.creation._get_test_db_name()  # type: ignore[attr-defined]
    with django_db_blocker.unblock():
        here.ensure_connection()
        source = sqlite3.connect(migrated_sqlite)
        source.backup(here.connection)
        source.close()
        yield
        here.close()
    here.settings_dict["NAME"] = before
