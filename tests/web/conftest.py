"""A shop with one person of each role, and browsers that are signed in as them."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from layflat.web.people.models import Person, Role, Shop

PASSWORD = "wet gloves and a squeegee"


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
