"""Both databases; a shop with one person of each role, and browsers that are signed in as them.

Every test of this folder that touches the database runs twice: on SQLite and on PostgreSQL. Those
marked `on_sqlite` do not: they look at words, figures and refusals that come of Python, not of the
database, and every page of theirs is opened on both by tests/web/whole/test_everywhere.py.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import dj_database_url
import pytest
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler
from django.test import Client
from pytest_django.fixtures import Settings
from pytest_django.plugin import DjangoDbBlocker

from databases import in_place
from layflat.web.people.models import Person, Role, Shop
from web.postgres import new_database

PASSWORD = "wet gloves and a squeegee"
_DATABASES = ("sqlite", "postgres")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what touches the database on both, but for what is marked otherwise."""
    marker = metafunc.definition.get_closest_marker
    wanted = ("sqlite",) if marker("on_sqlite") is not None else _DATABASES
    if marker("django_db") is not None or {"db", "transactional_db"} & set(metafunc.fixturenames):
        metafunc.parametrize("database", wanted, indirect=True, scope="class")


# Of a class, which for a function means its own: so that it stands before pytest-django's fixtures
# of functions, whatever their order, open their transaction.
@pytest.fixture(scope="class", autouse=True)
def database(request: pytest.FixtureRequest, django_db_blocker: DjangoDbBlocker) -> Iterator[str]:
    """The database that the test runs on; "" for one that touches none."""
    name: str = getattr(request, "param", "")
    if name == "postgres":
        request.getfixturevalue("django_db_setup")  # SQLite's, before the other takes its place
        with in_place(request.getfixturevalue("postgres_here")):
            yield name
    else:
        yield name


@pytest.fixture(scope="session")
def postgres_here(postgres_url: str, migrated_postgres: str) -> Iterator[BaseDatabaseWrapper]:
    """A connection to a PostgreSQL database with the app's tables."""
    url = new_database(postgres_url, "tests", like=migrated_postgres)
    chosen: Any = dj_database_url.parse(url)
    here = ConnectionHandler({"default": chosen})["default"]
    yield here
    here.close()


@pytest.fixture(autouse=True)
def quick_and_apart(settings: Settings, tmp_path: Path) -> None:
    """Files of each test in a folder of its own; a password hash that costs nothing."""
    settings.FILES_FOLDER = tmp_path / "files"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop.objects.create(name="Lampwick Yard")


@pytest.fixture
def people(shop: Shop) -> dict[Role, Person]:
    return {
        role: Person.objects.create_person(role.value, password=PASSWORD, role=role)
        for role in Role
    }


@pytest.fixture
def signed_in(people: dict[Role, Person]) -> Callable[[Role], Client]:
    """A browser of the person with a role."""

    def browser(role: Role) -> Client:
        client = Client()
        client.force_login(people[role])
        return client

    return browser
