"""Yards on SQLite and on PostgreSQL.

Their databases have the app's tables already: each server would else spend its time on making them.
"""

import itertools
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

import web.work.sample.tasks  # noqa: F401  # so that they can be asked for here
from layflat.web.data_folder import DATABASE_FILE
from web.postgres import new_database as new_postgres_database
from web.work.yard import Yard

NewDatabase = Callable[[Path], str]
_numbers = itertools.count()


@pytest.fixture(scope="module", params=["sqlite", "postgres"])
def new_database(request: pytest.FixtureRequest) -> NewDatabase:
    """Makes a database for a yard in a folder; its URL, "" for SQLite."""
    if request.param == "sqlite":
        migrated: Path = request.getfixturevalue("migrated_sqlite")

        def copied(folder: Path) -> str:
            (folder / "data").mkdir()
            shutil.copy(migrated, folder / "data" / DATABASE_FILE)
            return ""

        return copied
    base: str = request.getfixturevalue("postgres_url")
    like: str = request.getfixturevalue("migrated_postgres")
    return lambda _folder: new_postgres_database(base, f"yard{next(_numbers)}", like=like)


@pytest.fixture(scope="module")
def shared(
    new_database: NewDatabase,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[Yard]:
    """A yard whose server runs with its own workers, for all tests of a module.

    On PostgreSQL it runs as on a machine so busy that Dask gives up every worker that was killed
    before the next one is there.
    """
    folder = tmp_path_factory.mktemp("yard")
    database = new_database(folder)
    yard = Yard(folder, database, django_db_blocker)
    is_busy = {"DASK_DISTRIBUTED__DEPLOY__LOST_WORKER_TIMEOUT": "10ms"} if database else {}
    try:
        yard.serve(**is_busy)
        yield yard
    finally:
        yard.end()


@pytest.fixture
def yard(
    new_database: NewDatabase, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[Yard]:
    """A yard where nothing runs yet."""
    yard = Yard(tmp_path, new_database(tmp_path), django_db_blocker)
    try:
        yield yard
    finally:
        yard.end()
