"""What the owner changes about people and the shop's settings."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from web.conftest import PASSWORD

NEW = "a scraper of soft brass"


def page_of(person: Person) -> str:
    return f"/shop/people/{person.pk}/"


def test_a_role_is_changed_and_recorded(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    counter = people[Role.COUNTER]
    answer = signed_in(Role.OWNER).post(page_of(counter), {"form": "role", "role": "installer"})
    assert answer.headers["Location"] == "/shop/"
    counter.refresh_from_db()
    assert counter.role == Role.INSTALLER
    event = Event.objects.get(kind="person.role")
    assert event.sentence == "counter was counter and is installer now."
    assert (event.before["role"], event.after["role"]) == ("counter", "installer")
    # The same again changes nothing and so adds nothing to the record.
    signed_in(Role.OWNER).post(page_of(counter), {"form": "role", "role": "installer"})
    assert Event.objects.filter(kind="person.role").count() == 1


def test_who_may_no_longer_sign_in_is_out_at_once_and_can_come_back(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    theirs, owner = signed_in(Role.INSTALLER), signed_in(Role.OWNER)
    address = page_of(people[Role.INSTALLER])
    owner.post(address, {"form": "activity", "allowed": "no"})
    assert theirs.get("/").headers["Location"].startswith("/sign-in/")
    owner.post(address, {"form": "activity", "allowed": "yes"})
    again = {"username": "installer", "password": PASSWORD}
    assert theirs.post("/sign-in/", again).headers["Location"] == "/"
    assert [event.kind for event in Event.objects.all()] == ["person.shut-out", "person.allowed"]


def test_a_new_password_ends_what_the_old_one_opened(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    theirs = signed_in(Role.COUNTER)
    assert theirs.get("/").status_code == 200
    address = page_of(people[Role.COUNTER])
    weak = signed_in(Role.OWNER).post(address, {"form": "password", "password": "password1"})
    assert weak.status_code == 200
    assert theirs.get("/").status_code == 200
    signed_in(Role.OWNER).post(address, {"form": "password", "password": NEW})
    assert theirs.get("/").status_code == 302
    entry = {"username": "counter", "password": NEW}
    assert theirs.post("/sign-in/", entry).headers["Location"] == "/"
    assert NEW not in " ".join(Event.objects.values_list("sentence", flat=True))


@pytest.mark.parametrize(
    "deed", [{"form": "role", "role": "counter"}, {"form": "activity", "allowed": "no"}]
)
def test_the_last_owner_stays(
    signed_in: Callable[[Role], Client], people: dict[Role, Person], deed: dict[str, str]
) -> None:
    owner = people[Role.OWNER]
    # An owner who may not sign in does not count.
    gone = Person.objects.create_person("gone", password=PASSWORD, role=Role.OWNER)
    gone.is_active = False
    gone.save()
    browser = signed_in(Role.OWNER)
    answer = browser.post(page_of(owner), deed, follow=True)
    assert "needs an owner who can sign in" in answer.content.decode()
    owner.refresh_from_db()
    assert (owner.role, owner.is_active) == (Role.OWNER, True)
    assert not Event.objects.exists()
    Person.objects.create_person("second", password=PASSWORD, role=Role.OWNER)
    assert browser.post(page_of(owner), deed).headers["Location"] == "/shop/"


@pytest.mark.parametrize("role", [Role.COUNTER, Role.INSTALLER])
def test_only_the_owner_changes_people(
    signed_in: Callable[[Role], Client], people: dict[Role, Person], role: Role
) -> None:
    deed = {"form": "role", "role": "owner"}
    assert signed_in(role).post(page_of(people[role]), deed).status_code == 403
    assert signed_in(role).get(page_of(people[Role.OWNER])).status_code == 403
    assert Client().post(page_of(people[role]), deed).headers["Location"].startswith("/sign-in/")
    people[role].refresh_from_db()
    assert people[role].role == role


def settings_of(browser: Client) -> dict[str, str]:
    """What the settings' form holds, as the browser would send it."""
    form = browser.get("/shop/").context["shop_form"]
    return {"form": "shop", **{field.html_name: field.value() for field in form}}


def test_settings_are_written_as_people_write_them(
    signed_in: Callable[[Role], Client], shop: Shop
) -> None:
    browser = signed_in(Role.OWNER)
    sent = {**settings_of(browser), "tax_percent": "19.5", "inches": "True", "currency": "EUR"}
    assert browser.post("/shop/", sent).status_code == 302
    shop.refresh_from_db()
    assert (shop.tax_rate, shop.inches, shop.roll_width_mm) == (Decimal("0.195"), True, 1524.0)
    event = Event.objects.get(kind="shop.changed")
    assert event.sentence == "The shop's settings were changed: Lengths, Tax, in per cent."
    # 1524 mm are 60 inches of 25.4 mm.
    assert settings_of(browser)["roll_width"] == 60.0
    sent = {**settings_of(browser), "roll_width": "48"}
    assert browser.post("/shop/", sent).status_code == 302
    shop.refresh_from_db()
    assert shop.roll_width_mm == pytest.approx(1219.2)


@pytest.mark.parametrize(
    ("name", "value", "complaint"),
    [
        ("currency", "euro", "Write three capital letters"),
        ("time_zone", "Middle/Earth", "is no time zone"),
        ("roll_width", "15", "between 100 and 3000 mm"),
        ("tax_percent", "-1", "greater than or equal to 0"),
    ],
)
def test_settings_that_cannot_be_are_said(
    signed_in: Callable[[Role], Client], shop: Shop, name: str, value: str, complaint: str
) -> None:
    browser = signed_in(Role.OWNER)
    answer = browser.post("/shop/", {**settings_of(browser), name: value})
    assert complaint in answer.content.decode()
    assert not Event.objects.exists()


def test_the_second_of_two_who_change_settings_is_told_and_loses_nothing(
    signed_in: Callable[[Role], Client], shop: Shop
) -> None:
    browser = signed_in(Role.OWNER)
    first, second = settings_of(browser), settings_of(browser)
    browser.post("/shop/", {**first, "name": "Lampwick and Daughter"})
    answer = browser.post("/shop/", {**second, "consumables": "40"})
    assert "Somebody changed these settings" in answer.content.decode()
    shop.refresh_from_db()
    assert (shop.name, shop.consumables) == ("Lampwick and Daughter", 0)
    # What the second wrote is still in the form, and saving again is a decision.
    form = answer.context["shop_form"]
    again = {"form": "shop", **{field.html_name: field.value() for field in form}}
    assert again["consumables"] == "40"
    assert browser.post("/shop/", again).status_code == 302
    shop.refresh_from_db()
    assert (shop.name, shop.consumables) == ("Lampwick Yard", 40)
