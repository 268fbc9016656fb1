"""Signing in, the first start, and who may open what."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from web.addresses import addresses
from web.conftest import PASSWORD

OPEN = {"people:first-start", "people:sign-in"}
"""Addresses that strangers may open."""
OWNER_ONLY = {
    "sending:machines",
    "sending:new-machine",
    "gates:new-template",
    "gates:templates",
    "people:people",
}
COUNTER_ONLY = {
    "diary:hours",
    "diary:new",
    "diary:settings",
    "bodies:new",
    "exchanging:bring",
    "stock:receive",
    "week:begin",
    "jobs:enquiry",
    "jobs:customers",
    "jobs:bodies",
    "jobs:vin",
}


def test_the_first_start_asks_for_the_owner_once(client: Client, db: None) -> None:
    assert client.get("/").headers["Location"].startswith("/sign-in/")
    assert client.get("/sign-in/").headers["Location"] == "/start/"
    owner = {
        "shop_name": "Lampwick Yard",
        "shown": "Odile",
        "name": " ODILE ",
        "password": PASSWORD,
    }
    assert client.post("/start/", owner).headers["Location"] == "/"
    person = Person.objects.get()
    assert (person.name, person.shown, person.role) == ("odile", "Odile", Role.OWNER)
    assert Shop.objects.get().name == "Lampwick Yard"
    assert [(event.kind, event.by) for event in Event.objects.all()] == [("shop.opened", "Odile")]
    # A second visitor cannot make himself the owner.
    assert Client().post("/start/", {**owner, "name": "other"}).headers["Location"] == "/sign-in/"
    assert Person.objects.count() == 1


@pytest.mark.parametrize("password", ["password1", "short", "odile.lampwick"])
def test_weak_passwords_are_refused(client: Client, db: None, password: str) -> None:
    owner = {"shown": "Odile Lampwick", "name": "odile", "password": password}
    answer = client.post("/start/", {"shop_name": "Yard", **owner})
    assert answer.status_code == 200
    assert not Person.objects.exists()
    assert not Shop.objects.exists()


@pytest.mark.parametrize(
    "wanted", ["/bodies/", "https://elsewhere.example/", "//elsewhere.example"]
)
def test_signing_in_goes_on_within_the_app(
    client: Client, people: dict[Role, Person], wanted: str
) -> None:
    answer = client.post("/sign-in/", {"username": "COUNTER", "password": PASSWORD, "next": wanted})
    assert answer.headers["Location"] == (wanted if wanted == "/bodies/" else "/")


def test_a_wrong_password_and_a_person_who_left_stay_out(
    client: Client, people: dict[Role, Person]
) -> None:
    wrong = client.post("/sign-in/", {"username": "owner", "password": "squeegee"})
    assert wrong.status_code == 200
    people[Role.COUNTER].is_active = False
    people[Role.COUNTER].save()
    left = client.post("/sign-in/", {"username": "counter", "password": PASSWORD})
    assert left.status_code == 200
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("name", addresses())
def test_strangers_are_asked_to_sign_in(
    client: Client, people: dict[Role, Person], name: str
) -> None:
    answer = client.get(reverse(name))
    asked = answer.status_code == 302 and answer.headers["Location"].startswith("/sign-in/")
    assert asked != (name in OPEN and answer.status_code == 200) or name == "people:first-start"


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("name", addresses())
def test_roles_open_what_is_theirs(
    signed_in: Callable[[Role], Client], name: str, role: Role
) -> None:
    status = signed_in(role).get(reverse(name)).status_code
    is_closed = name in OWNER_ONLY and role is not Role.OWNER
    if is_closed or (name in COUNTER_ONLY and role is Role.INSTALLER):
        assert status == 403
    else:
        assert status in (200, 302, 405)


def test_the_owner_adds_people_and_settings(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    browser = signed_in(Role.OWNER)
    new = {"form": "person", "name": "ines", "shown": "Ines", "role": "installer"}
    assert browser.post("/shop/", {**new, "password": PASSWORD}).status_code == 302
    assert Person.objects.get(name="ines").role == Role.INSTALLER
    assert browser.post("/shop/", {**new, "password": PASSWORD}).status_code == 200
    assert Event.objects.get(kind="person.added").who == people[Role.OWNER]


def test_pages_carry_a_strict_policy(client: Client, people: dict[Role, Person]) -> None:
    policy = client.get("/sign-in/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
