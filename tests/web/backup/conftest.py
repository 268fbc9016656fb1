"""A shop with a bit of everything, its backup, and empty yards on either database."""

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

from layflat.web.links.models import Purpose
from layflat.web.links.private import make
from layflat.web.people.models import Person, Role, Shop
from web.backup.yards import Yard
from web.bayed import an_accepted_job, in_the_bay, laid, some_cuts
from web.postgres import new_database

NewYard = Callable[[str], Yard]
PASSWORD = "wet gloves and a squeegee"
_numbers = itertools.count()


@pytest.fixture(scope="module")
def new_yard(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> NewYard:
    """Makes an empty yard, on "sqlite" or "postgres"."""

    def make_one(kind: str) -> Yard:
        url = ""
        if kind == "postgres":
            base: str = request.getfixturevalue("postgres_url")
            url = new_database(base, f"backup{next(_numbers)}")
        return Yard(tmp_path_factory.mktemp("yard") / "data", url, django_db_blocker)

    return make_one


def filled(yard: Yard) -> Yard:
    """The yard with a shop: an accepted job in the bay, a private link, a person of each role."""
    yard.python("set_up(folder)")
    with yard.inside():
        Shop.objects.create(name="Lampwick Yard")
        people = {
            role: Person.objects.create_person(role.value, password=PASSWORD, role=role)
            for role in Role
        }
        job, outcome = an_accepted_job()
        in_the_bay(job, conditions=["coating"])
        for cut in some_cuts(job, outcome):
            laid(cut, people[Role.INSTALLER])
        make(job, Purpose.WARNINGS, days=30, who=people[Role.COUNTER])
    return yard


@pytest.fixture(scope="module")
def yard(new_yard: NewYard) -> Yard:
    """A shop on SQLite."""
    return filled(new_yard("sqlite"))


@pytest.fixture(scope="module")
def backup(yard: Yard) -> Path:
    """Its backup."""
    path = yard.folder.parent / "yard.layflat"
    yard.done("backup", path)
    return path
