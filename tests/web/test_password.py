"""People change their own password."""

from collections.abc import Callable

import pytest
from django.test import Client

from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.conftest import PASSWORD

NEW = "a scraper of soft brass"
PAGE = "/password/"


def sent(old: str = PASSWORD, new: str = NEW, again: str | None = None) -> dict[str, str]:
    return {"old": old, "password": new, "again": new if again is None else again}


@pytest.mark.parametrize("role", Role)
def test_a_new_password_holds_here_and_ends_what_the_old_one_opened(
    signed_in: Callable[[Role], Client], people: dict[Role, Person], role: Role
) -> None:
    here, there, other = signed_in(role), signed_in(role), signed_in(Role.OWNER)
    assert here.post(PAGE, sent()).headers["Location"] == PAGE
    assert "Your new password holds" in here.get(PAGE).content.decode()
    assert there.get("/").headers["Location"].startswith("/sign-in/")
    assert other.get("/").status_code == (302 if role is Role.OWNER else 200)
    entry = {"username": role.value, "password": NEW}
    assert there.post("/sign-in/", entry).headers["Location"] == "/"
    assert Client().post("/sign-in/", {**entry, "password": PASSWORD}).status_code == 200
    event = Event.objects.get()
    assert (event.kind, event.who, event.sentence) == (
        "person.own-password",
        people[role],
        f"{role.value} chose a new password.",
    )


@pytest.mark.parametrize(
    ("form", "complaint"),
    [
        (sent(old="squeegee and gloves"), "The password until now is another one"),
        (sent(new="password1"), "too common"),
        (sent(new="installer1"), "too similar to the"),
        (sent(again="a scraper of soft bras"), "another one than above"),
        (sent(new=PASSWORD), "That is your password already"),
        (sent(old=""), "This field is required"),
    ],
)
def test_what_will_not_do_is_said_and_changes_nothing(
    signed_in: Callable[[Role], Client], form: dict[str, str], complaint: str
) -> None:
    browser = signed_in(Role.INSTALLER)
    page = browser.post(PAGE, form)
    assert complaint in page.content.decode()
    # No password is sent back to the screen.
    assert not any(value in page.content.decode() for value in form.values() if value)
    assert signed_in(Role.INSTALLER).get("/").status_code == 200
    assert browser.get("/").status_code == 200
    assert Client().post("/sign-in/", {"username": "installer", "password": PASSWORD}).url == "/"
    assert not Event.objects.exists()


def test_a_double_tap_changes_it_once(signed_in: Callable[[Role], Client]) -> None:
    browser = signed_in(Role.COUNTER)
    for _ in range(2):
        assert browser.post(PAGE, sent()).headers["Location"] == PAGE
    assert Event.objects.count() == 1
    assert browser.get("/").status_code == 200


def test_it_is_reached_from_the_name_in_the_head(signed_in: Callable[[Role], Client]) -> None:
    page = signed_in(Role.INSTALLER).get("/").content.decode()
    assert f'<a href="{PAGE}" aria-label="installer: your password">installer</a>' in page


def test_a_stranger_changes_nothing(people: dict[Role, Person]) -> None:
    assert Client().post(PAGE, sent()).headers["Location"].startswith("/sign-in/")
    assert people[Role.OWNER].check_password(PASSWORD)
