"""Forms that a wet glove sends twice: the second time does nothing and leads to the same page.

The enquiry, the walk-round, edits, a customer's yes, the password and changes of a cover have tests
of their own beside what they do.
"""

import uuid
from collections.abc import Callable, Mapping
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client

from layflat.surface import panels_json
from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.models import Cover, SavedCover
from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.bodies.conftest import dome, info, ply
from web.conftest import PASSWORD
from web.whole.places import Place

Whole = Callable[[str], Place]
COUNTED = (
    Acceptance,
    Body,
    Cover,
    Event,
    Job,
    Offer,
    Person,
    PrivateLink,
    Revision,
    SavedCover,
)
SENT: Mapping[str, dict[str, str]] = {
    "bodies:new": {"maker": "Tarnholm", "name": "Bramble", "year_from": "2030"},
    "bodies:retire": {"retired": "yes"},
    "cover:begin": {"start": "blank", "title": "From the bare vehicle"},
    "cover:copy": {},
    "cover:drop": {"dropped": "yes"},
    "cover:rename": {"was": "Alternative 1", "title": "Otherwise"},
    "cover:retire": {"retired": "yes"},
    "cover:save": {"title": "As the first"},
    "jobs:back": {"seen": "offered", "reason": "The customer asks for less."},
    "jobs:close-job": {"seen": "offered", "reason": "other", "note": "Moved away."},
    "links:make": {"purpose": "offer", "days": "3", "page": "offer"},
    "links:revoke": {"page": "offer"},
    "offer:hear": {"alternative": "2", "name": "Perrin Oake"},
    "people:people": {
        "form": "person",
        "name": "wendla",
        "shown": "Wendla",
        "role": "installer",
        "password": PASSWORD,
    },
}
LEADS_ELSEWHERE = {
    # The name is taken by then, which is said.
    "people:people": 200,
}


def counts() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in COUNTED}


def test_a_form_that_is_sent_twice_counts_once(
    whole: Whole, signed_in: Callable[[Role], Client]
) -> None:
    browser = signed_in(Role.OWNER)
    for name in SENT:
        # Each form meets the shop as it was before the others.
        with transaction.atomic():
            _sent_twice(name, browser, whole(name).address)
            transaction.set_rollback(True)


def _sent_twice(name: str, browser: Client, address: str) -> None:
    form = {**SENT[name], "once": uuid.uuid4().hex}
    if name == "offer:hear":
        form["sha256"] = Offer.objects.get(version=3).sha256
    before = counts()
    first = browser.post(address, form)
    assert first.status_code == 302, name
    after = counts()
    assert after["Event"] > before["Event"], name
    second = browser.post(address, form)
    assert second.status_code == LEADS_ELSEWHERE.get(name, 302), name
    if second.status_code == 302:
        assert second.headers["Location"] == first.headers["Location"], name
    assert counts() == after, name


def test_a_scan_that_is_sent_twice_is_one_revision(
    signed_in: Callable[[Role], Client], shop: Any
) -> None:
    counter, body = signed_in(Role.COUNTER), Body.objects.create(maker="Tarnholm", name="Bramble")
    led_to: list[str] = []
    for _ in range(2):
        files = {
            "scan": SimpleUploadedFile("dome.ply", ply(dome())),
            "panels": SimpleUploadedFile("dome.json", panels_json(info()).encode()),
        }
        answer = counter.post(f"/bodies/{body.pk}/scan/", {"unit": "mm", **files})
        led_to.append(answer.headers["Location"])
    assert led_to == [f"/bodies/{body.pk}/revisions/1/"] * 2
    said = counter.get(led_to[1]).content.decode()
    assert "Revision 1 is of the same scan and panels already" in said
    assert Revision.objects.count() == Event.objects.filter(kind="body.revised").count() == 1
