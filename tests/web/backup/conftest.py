"""A shop with a bit of everything, its backup, and empty yards on either database."""

import itertools
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

from layflat.web.data_folder import DATABASE_FILE, prepare_data_folder
from layflat.web.links.models import Purpose
from layflat.web.links.private import make
from layflat.web.people.models import Person, Role, Shop
from web.backup.yards import Yard
from web.bayed import an_accepted_job, in_the_bay, laid, some_cuts
from web.postgres import new_database

NewYard = Callable[..., Yard]
PASSWORD = "wet gloves and a squeegee"
_numbers = itertools.count()


@pytest.fixture(scope="module")
def new_yard(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> NewYard:
    """Makes a yard, on "sqlite" or "postgres": empty, or with the app's tables."""

    def make_one(kind: str, *, has_tables: bool = False) -> Yard:
        folder, url = tmp_path_factory.mktemp("yard") / "data", ""
        if kind == "postgres":
            base: str = request.getfixturevalue("postgres_url")
            like = request.getfixturevalue("migrated_postgres") if has_tables else "template1"
            url = new_database(base, f"backup{next(_numbers)}", like=like)
        if has_tables:
            prepare_data_folder(folder)
            if not url:
                shutil.copy(request.getfixturevalue("migrated_sqlite"), folder / DATABASE_FILE)
        return Yard(folder, url, django_db_blocker)

    return make_one


def filled(new_yard: NewYard, kind: str) -> Yard:
    """A yard with a shop: an accepted job in the bay, a private link, a person of each role."""
    yard = new_yard(kind, has_tables=True)
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
    return filled(new_yard, "sqlite")


@pytest.fixture(scope="module")
def backup(yard: Yard) -> Path:
    """Its backup."""
    path = yard.folder.parent / "yard.layflat"
    yard.done("backup", path)
    return path
