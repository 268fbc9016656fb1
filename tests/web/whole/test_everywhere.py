"""What holds at every address: who may open it, how much it asks of the database, what it leaks."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from layflat.web.links.models import PrivateLink
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from web.whole.places import TABLE, Place, Who, patterns, read_whole

Browser = Callable[[Role], Client]
Whole = Callable[[str], Place]
MOST_QUERIES = 15
ASKED_FURTHER = {
    "board:board": ("?late=yes",),
    "cover:choose": ("?panel=left",),
    "cover:part": ("?panel=right",),
    "jobs:bodies": ("?body-q=tarn",),
    "jobs:customers": ("?customer-q=oake",),
    "jobs:find": ("?q=oake",),
    "jobs:vin": ("?vin=1M8GDM9AXKP042788",),
    "bodies:library": ("?q=dome",),
    "finding:find": ("?q=oa", "?q=lw"),
    "stock:stock": ("?q=clear&which=all",),
}
"""What else is asked of an address, besides the address alone."""
PRIVATE = [name for name, names in patterns().items() if "token" in names]


def browsers(signed_in: Browser) -> dict[Role | None, Client]:
    return {None: Client(), **{role: signed_in(role) for role in Role}}


def asks_to_sign_in(answer: Any) -> bool:
    return answer.status_code == 302 and answer.headers["Location"].startswith("/sign-in/?next=")


def test_every_address_is_in_the_table() -> None:
    assert set(patterns()) == set(TABLE)


def test_who_may_look(whole: Whole, signed_in: Browser) -> None:
    wrong = []
    for who, browser in browsers(signed_in).items():
        for name, row in TABLE.items():
            answer = browser.get(whole(name).address)
            read_whole(answer)
            if who in row.who.value:
                is_right = answer.status_code == row.looked_at and not asks_to_sign_in(answer)
            else:
                is_right = asks_to_sign_in(answer) if who is None else answer.status_code == 403
            if not is_right:
                wrong.append(f"{name}, {who or 'a stranger'}: {answer.status_code}")
            kind = answer.headers.get("Content-Type", "")
            policy = answer.headers.get("Content-Security-Policy", "")
            if kind.startswith("image/svg") and not policy.endswith("sandbox"):
                wrong.append(f"{name} may run what stands in a drawing")
            is_page = kind.startswith("text/html")
            if who is Role.INSTALLER and is_page and row.who is Who.SHOP:
                prices = [word for word in ("EUR", "Margin", "margin") if word in _text(answer)]
                wrong += [f"{name} shows an installer “{word}”" for word in prices]
    assert not wrong, "\n".join(wrong)


def _text(answer: Any) -> str:
    text: str = answer.content.decode()
    return text


def test_who_may_send_forms(whole: Whole, signed_in: Browser) -> None:
    """Whom an address is not for changes nothing; all others are answered, never with a fault."""
    wrong = []
    before = Event.objects.count()
    everybody = browsers(signed_in)
    for who, browser in everybody.items():
        for name, row in TABLE.items():
            if who in row.who.value:
                continue
            answer = browser.post(whole(name).address)
            is_right = asks_to_sign_in(answer) if who is None else answer.status_code == 403
            if not is_right:
                wrong.append(f"{name}, {who or 'a stranger'}: {answer.status_code}")
    assert Event.objects.count() == before
    for who, browser in everybody.items():
        for name, row in TABLE.items():
            if who not in row.who.value or name == "people:sign-out":
                continue
            answer = browser.post(whole(name).address)
            expected = (200, 204, 302, 400, 404) if row.takes else (405,)
            if answer.status_code not in expected or asks_to_sign_in(answer):
                wrong.append(f"{name}, {who or 'a stranger'}, allowed: {answer.status_code}")
    assert not wrong, "\n".join(wrong)


def test_other_ways_than_looking_and_sending_are_refused(whole: Whole, signed_in: Browser) -> None:
    owner = signed_in(Role.OWNER)
    ways = {"PUT": owner.put, "DELETE": owner.delete, "PATCH": owner.patch}
    for name in TABLE:
        statuses = {way: send(whole(name).address).status_code for way, send in ways.items()}
        assert set(statuses.values()) == {405}, (name, statuses)


def test_every_page_asks_little_of_the_database(
    whole: Whole, signed_in: Browser, request: pytest.FixtureRequest
) -> None:
    browser, asked = signed_in(Role.OWNER), {}
    for name, row in TABLE.items():
        if row.looked_at == 405:
            continue
        for further in ("", *ASKED_FURTHER.get(name, ())):
            with CaptureQueriesContext(connection) as queries:
                answer = browser.get(whole(name).address + further)
                read_whole(answer)
            assert answer.status_code == row.looked_at, name
            asked[name + further] = len(queries)
    dear = {name: count for name, count in asked.items() if count > MOST_QUERIES}
    assert not dear
    # Had the counting failed, no page would have asked for anything.
    assert asked["jobs:job"] > 3


def test_names_to_import_by_stand_before_the_scripts_that_import(
    whole: Whole, signed_in: Browser
) -> None:
    """Browsers that know but one map of names refuse it behind a module (from memory)."""
    owner, wrong, maps = signed_in(Role.OWNER), [], 0
    for name, row in TABLE.items():
        if row.looked_at != 200:
            continue
        answer = owner.get(whole(name).address)
        if not answer.headers.get("Content-Type", "").startswith("text/html"):
            read_whole(answer)
            continue
        text = answer.content.decode("utf-8")
        kinds = re.findall(r'<(?:script|link)\b[^>]*"(importmap|module|modulepreload)"', text)
        maps += kinds.count("importmap")
        if "importmap" in kinds[1:]:
            wrong.append(f"{name}: {kinds}")
    assert maps > 5
    assert not wrong


def test_links_that_do_not_hold_open_none_of_their_addresses(whole: Whole) -> None:
    assert len(PRIVATE) == 9
    now = timezone.now()
    for name in PRIVATE:
        place = whole(name)
        token = place.values["token"]
        assert Client().get(place.address).status_code == 200
        for how, sent in {
            "altered": token[:-1] + ("A" if token[-1] != "A" else "E"),
            "cut short": token[:-1],
            "run out": token,
            "taken back": token,
        }.items():
            if how == "run out":
                PrivateLink.objects.update(expires_at=now)
            if how == "taken back":
                PrivateLink.objects.update(revoked_at=now)
            address = Place(name, {**place.values, "token": sent}).address
            for answer in (Client().get(address), Client().post(address)):
                _opens_nothing(answer, name=name, how=how, token=token)
            later = now + timezone.timedelta(days=9)
            PrivateLink.objects.update(expires_at=later, revoked_at=None)


def _opens_nothing(answer: Any, *, name: str, how: str, token: str) -> None:
    if answer.status_code == 405:
        assert not TABLE[name].takes
        return
    assert answer.status_code == 404, (name, how)
    text = answer.content.decode()
    assert "This link opens nothing" in text
    for secret in ("Perrin", "2031-0042", "LW 204", "EUR", token):
        assert secret not in text, (name, how, secret)
