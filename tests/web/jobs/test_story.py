"""From the enquiry to a job that is ready for its cover, as three people live it."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.people.models import Role
from web.jobs.conftest import jpeg

Browser = Callable[[Role], Client]
Sent = Callable[..., dict[str, Any]]


def text(answer: Any) -> str:
    """What a page says, without tags."""
    return " ".join(re.sub(r"<[^>]*>", " ", answer.content.decode()).split())


def test_from_the_enquiry_to_the_cover(signed_in: Browser, sent: Sent) -> None:
    counter, installer = signed_in(Role.COUNTER), signed_in(Role.INSTALLER)
    asked = {
        "name": "Perrin Oake",
        "phone": "+43 1 555-01",
        "plate": "LW 204 K",
        "vin": "1m8gdm9a xkp042788",
        "described": "Tarnholm Haulbeck",
        "paint": "white, left door repainted",
        "wishes": "The nose, against stones.",
        "wanted": "2031-05-24",
    }
    opened = counter.post("/jobs/enquiry/", sent(**asked))
    job = Job.objects.get()
    assert opened.headers["Location"] == f"/jobs/{job.number}/"
    assert (job.vehicle.vin, job.stage) == ("1M8GDM9AXKP042788", Stage.ENQUIRY)
    page = text(counter.get(f"/jobs/{job.number}/"))
    assert "Begin the walk-round" in page
    assert "2031-05-24" in page
    assert "Enquiry here" in page

    at = f"/jobs/{job.number}/"
    begun = installer.post(at + "begin/", sent())
    assert begun.headers["Location"] == at + "walk-round/"
    picture = SimpleUploadedFile("IMG_1.jpg", jpeg(), content_type="image/jpeg")
    tapped = {"view": "left", "across": "0.31", "along": "0.62", "panel": "Front door, left"}
    noted = installer.post(
        at + "faults/", sent(kind="repaint", note="orange peel", photo=picture, **tapped)
    )
    assert noted.headers["Location"] == at + "walk-round/?view=left"
    fault = Fault.objects.get()
    assert (fault.number, fault.view, fault.across) == (1, "left", 0.31)
    assert fault.is_open_warning
    assert fault.photo is not None
    shown = installer.get(f"{at}pictures/{fault.photo.sha256}/")
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert shown.content[:2] == b"\xff\xd8"

    # The gate says what it waits for, and holds.
    waiting = "The customer has not acknowledged fault 1, repaint, Front door, left."
    assert waiting in text(installer.get(at + "walk-round/"))
    installer.post(at + "walk-round/close/", sent())
    job.refresh_from_db()
    assert job.stage == Stage.INTAKE
    assert waiting in text(installer.get(at))

    read = text(installer.get(at + "warnings/"))
    assert "lift such paint with it" in read
    installer.post(at + "warnings/", sent(fault="1", name="Perrin  Oake"))
    fault.refresh_from_db()
    assert fault.acknowledged_by == "Perrin Oake"
    assert fault.acknowledged_at is not None
    closed = installer.post(at + "walk-round/close/", sent())
    assert closed.headers["Location"] == at
    job.refresh_from_db()
    assert job.stage == Stage.COVER

    page = text(counter.get(at + "history/"))
    told = [
        "Perrin Oake asked about film for LW 204 K.",
        "The walk-round was begun.",
        "Fault 1 noted, repaint, Front door, left: orange peel",
        "Perrin Oake acknowledged the warning of fault 1, repaint, on the tablet.",
        "The walk-round was closed with 1 fault.",
    ]
    places = [page.index(sentence) for sentence in told]
    assert places == sorted(places)
    event = job.events.get(kind="warning.acknowledged")
    assert "lift such paint" in event.after["words"]
    assert event.by == "Perrin Oake (customer)"


def test_a_known_customer_and_vehicle_are_used_again(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    counter = signed_in(Role.COUNTER)
    vehicle, customer = job.vehicle, job.vehicle.customer
    for typed in ("oake", "43155501", "43 1 555", "lw204", "LW-204 k"):
        found = counter.get("/jobs/find/customers/", {"customer-q": typed}).content.decode()
        assert f'value="c{customer.pk}v{vehicle.pk}"' in found, typed
    for typed in ("", "o", "nobody", "555-99"):
        found = counter.get("/jobs/find/customers/", {"customer-q": typed}).content.decode()
        assert "value=" not in found, typed

    counter.post("/jobs/enquiry/", sent(known=f"c{customer.pk}v{vehicle.pk}", wishes="Mirrors."))
    counter.post("/jobs/enquiry/", sent(known=f"c{customer.pk}", plate="LW 9"))
    again, other = Job.objects.exclude(pk=job.pk).order_by("pk")
    assert again.vehicle == vehicle
    assert other.vehicle.customer == customer
    assert [row.number for row in (job, again, other)] == [
        f"{job.opened_at.year}-000{place}" for place in (1, 2, 3)
    ]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"plate": "X 1"}, "Write the customer's name"),
        ({"name": "Perrin Oake"}, "Say which vehicle it is"),
        ({"name": "P", "vin": "1M8GDM9AXKPO42788"}, "look whether it is 0"),
        ({"name": "P", "vin": "123"}, "this one has 3"),
        ({"known": "c999", "plate": "X 1"}, "This customer is no longer there"),
        ({"name": "P", "plate": "X 1", "email": "nobody"}, "valid email"),
        ({"name": "P", "plate": "X 1", "body": "77"}, "Select a valid choice"),
    ],
)
def test_an_enquiry_that_lacks_something_keeps_what_was_typed(
    signed_in: Browser, sent: Sent, fields: dict[str, str], says: str
) -> None:
    answer = signed_in(Role.COUNTER).post("/jobs/enquiry/", sent(wishes="All of it.", **fields))
    page = answer.content.decode().replace("&#x27;", "'")
    assert says in page
    assert "All of it." in page
    assert not Job.objects.exists()


def test_a_wrong_check_digit_warns_and_is_kept(signed_in: Browser, sent: Sent) -> None:
    counter = signed_in(Role.COUNTER)
    says = text(counter.get("/jobs/vin/", {"vin": "1M8GDM9A1KP042788"}))
    assert "would be X" in says
    assert "check digit right" in text(counter.get("/jobs/vin/", {"vin": "1M8GDM9AXKP042788"}))
    counter.post("/jobs/enquiry/", sent(name="P", vin="1M8GDM9A1KP042788"))
    job = Job.objects.get()
    assert job.vehicle.vin == "1M8GDM9A1KP042788"
    assert "would be X" in text(counter.get(f"/jobs/{job.number}/"))


def test_without_scripts_the_find_button_keeps_what_was_typed(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    typed = {"customer-q": "oake", "wishes": "Doors.", "plate": "NEW 1", "find": "customer"}
    page = signed_in(Role.COUNTER).post("/jobs/enquiry/", sent(**typed)).content.decode()
    assert f'value="c{job.vehicle.customer_id}"' in page
    assert "Doors." in page
    assert 'value="NEW 1"' in page
    assert "errorlist" not in page
    assert Job.objects.count() == 1
