"""Yards on SQLite and on PostgreSQL."""

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

import web.work.sample.tasks  # noqa: F401  # so that they can be asked for here
from web.postgres import new_database as new_postgres_database
from web.work.yard import Yard

NewDatabase = Callable[[], str]
_numbers = itertools.count()


@pytest.fixture(scope="module", params=["sqlite", "postgres"])
def new_database(request: pytest.FixtureRequest) -> NewDatabase:
    """Makes an empty database; its URL, "" for SQLite."""
    if request.param == "sqlite":
        return lambda: ""
    base: str = request.getfixturevalue("postgres_url")
    return lambda: new_postgres_database(base, f"yard{next(_numbers)}")


@pytest.fixture(scope="module")
def shared(
    new_database: NewDatabase,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[Yard]:
    """A yard whose server runs with its own workers, for all tests of a module."""
    yard = Yard(tmp_path_factory.mktemp("yard"), new_database(), django_db_blocker)
    try:
        yard.serve()
        yield yard
    finally:
        yard.end()


@pytest.fixture
def yard(
    new_database: NewDatabase, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[Yard]:
    """A yard where nothing runs yet."""
    yard = Yard(tmp_path, new_database(), django_db_blocker)
    try:
        yield yard
    finally:
        yard.end()
