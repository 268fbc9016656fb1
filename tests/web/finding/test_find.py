"""One box for customers, plates, VINs, jobs, lots and rolls."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from layflat.web.finding import hits
from layflat.web.jobs.models import Customer, Job, Vehicle
from layflat.web.people.models import Role, Shop
from layflat.web.stock.models import Roll
from web.bayed import a_roll
from web.covered import a_body, a_job

Browser = Callable[[Role], Client]
VIN = "1M8GDM9AXKP042788"
"""A made-up VIN whose check digit holds; from memory: the usual example of 49 CFR 565."""


@pytest.fixture
def job(shop: Shop) -> Job:
    found = a_job("2031-0042", body=a_body(), customer="Zoë Müßig", plate="LW 204 K")
    found.vehicle.vin = VIN
    found.vehicle.save()
    return found


@pytest.fixture
def roll(shop: Shop) -> Roll:
    return a_roll(lot="TQ-55/ä", place="rack 2")


def found(browser: Client, text: str) -> dict[str, list[str]]:
    answer = browser.get("/find/", {"q": text})
    assert answer.status_code == 200, answer.headers.get("Location")
    return {group.title: [hit.name for hit in group.hits] for group in answer.context["groups"]}


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("zoe MUSSIG", {"Jobs", "Customers"}),
        ("müss", {"Jobs", "Customers"}),
        # A car stands once, with its jobs; its customer is not listed for it again.
        ("lw204", {"Vehicles"}),
        ("LW-204-k", {"Vehicles"}),
        ("kp042788", {"Vehicles"}),
        ("555-01", {"Customers"}),
        ("tq55", {"Lots", "Rolls"}),
        ("Q-55/Ä", {"Lots", "Rolls"}),
    ],
)
def test_one_box_finds_whatever_is_written_of_a_thing(
    signed_in: Browser, job: Job, roll: Roll, text: str, kinds: set[str]
) -> None:
    # Two of each kind, so that nothing is the only one.
    a_job("2031-0043", body=a_body("Haulbeck"), customer="Zoë Müßig", plate="LW 204 KX")
    Vehicle.objects.update(vin=VIN)
    for vehicle in Vehicle.objects.all():
        vehicle.save()
    a_roll(lot="TQ-55/ä")
    groups = found(signed_in(Role.INSTALLER), text)
    assert set(groups) == kinds
    assert groups.get("Jobs", ["2031-0043", "2031-0042"]) == ["2031-0043", "2031-0042"]
    assert groups.get("Lots", ["TQ-55/ä"]) == ["TQ-55/ä"]
    assert groups.get("Rolls", ["R2", "R1"]) == ["R2", "R1"]


@pytest.mark.parametrize(
    ("text", "leads_to"),
    [
        ("2031-0042", "/jobs/2031-0042/"),
        ("R1", "/stock/{roll}/"),
        ("r1", "/stock/{roll}/"),
        # Nothing else has it: the only hit.
        ("rack", "/stock/{roll}/"),
        # The maker calls it back: straight to the cars.
        ("tq 55/Ä", "/lots/TQ-55/%C3%A4/"),
    ],
)
def test_what_is_meant_without_doubt_is_opened_straight_away(
    signed_in: Browser, job: Job, roll: Roll, text: str, leads_to: str
) -> None:
    answer = signed_in(Role.COUNTER).get("/find/", {"q": text})
    assert answer.headers["Location"] == leads_to.format(roll=roll.pk)


def test_a_lot_that_is_a_plate_as_well_leads_to_neither_straight_away(
    signed_in: Browser, job: Job, roll: Roll
) -> None:
    a_roll(lot="LW204K")
    assert {"Vehicles", "Lots", "Rolls"} <= set(found(signed_in(Role.COUNTER), "LW-204-K"))


@pytest.mark.parametrize(
    "text", ["nothing of the kind", "R99", "R99999999999999999999", "%", "__", "' OR 1=1 --", "٣٣"]
)
def test_what_is_not_there_is_not_found(
    signed_in: Browser, job: Job, roll: Roll, text: str
) -> None:
    page = signed_in(Role.COUNTER).get("/find/", {"q": text}).content.decode()
    assert "Nothing is found" in page or "One character more" in page


def test_nothing_asked_is_explained(signed_in: Browser) -> None:
    browser = signed_in(Role.INSTALLER)
    assert "What do you look for?" in browser.get("/find/").content.decode()
    assert "What do you look for?" in browser.get("/find/?q=%20%01").content.decode()
    assert "One character more" in browser.get("/find/?q=a").content.decode()
    assert browser.get("/find/?q=a%00b").status_code == 400
    assert "&lt;b&gt;" in browser.get("/find/?q=<b>x").content.decode()


def test_many_hits_are_cut_short_and_lead_to_all_of_them(
    signed_in: Browser, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hits, "MOST", 2)
    body = a_body()
    for number in range(3):
        a_job(f"2031-000{number}", body=body, plate=f"LW {number}")
        a_roll(lot=f"LW-{number}")
    browser = signed_in(Role.COUNTER)
    groups = {g.title: g for g in browser.get("/find/", {"q": "LW"}).context["groups"]}
    assert len(groups.pop("Jobs").hits) == 1  # of the car that is not shown
    for title in ("Vehicles", "Lots", "Rolls"):
        assert len(groups[title].hits) == 2
        assert groups[title].all_address.endswith(("?q=LW", "?q=LW&which=all"))
        assert browser.get(groups[title].all_address).status_code == 200


def test_a_car_stands_once_with_its_jobs(signed_in: Browser, job: Job) -> None:
    browser = signed_in(Role.COUNTER)
    # With one job it is opened at once.
    answer = browser.get("/find/", {"q": "lw204"})
    assert answer.headers["Location"] == "/jobs/2031-0042/"
    for number in ("2031-0050", "2031-0051"):
        Job.objects.create(number=number, vehicle=job.vehicle)
    assert found(browser, "lw204") == {"Vehicles": ["LW 204 K"]}
    page = browser.get("/find/", {"q": "lw204"}).content.decode()
    for number in ("2031-0042", "2031-0050", "2031-0051"):
        assert page.count(f'href="/jobs/{number}/"') == 1
    # By the name both the customer and the jobs are found.
    assert set(found(browser, "müßig")) == {"Jobs", "Customers"}


def test_a_vehicle_leads_to_its_one_job_or_to_all_of_them(signed_in: Browser, job: Job) -> None:
    browser = signed_in(Role.COUNTER)
    a_job("2031-0090", body=a_body("Haulbeck"), customer="Wim Doss", plate="LW 2049")

    def vehicle() -> Any:
        groups = browser.get("/find/", {"q": "lw204"}).context["groups"]
        return next(group for group in groups if group.title == "Vehicles").hits[-1]

    assert (vehicle().address, vehicle().more) == ("/jobs/2031-0042/", "Zoë Müßig, 1 job")
    Job.objects.create(number="2031-0050", vehicle=job.vehicle)
    assert vehicle().address == "/jobs/?q=LW+204+K"
    assert browser.get(vehicle().address).content.decode().count("<li>\n    <h2>") == 2


def test_the_box_stands_on_every_page_and_not_before_strangers(
    signed_in: Browser, job: Job, client: Client
) -> None:
    for address in ("/", "/jobs/", f"/jobs/{job.number}/", "/stock/", "/nothing/"):
        page = signed_in(Role.INSTALLER).get(address).content.decode()
        assert 'id="find-all"' in page
        assert "/static/layflat/finding/box.js" in page
    assert 'id="find-all"' not in client.get("/sign-in/").content.decode()


def test_it_asks_little_of_the_database(signed_in: Browser, shop: Shop) -> None:
    browser, asked = signed_in(Role.COUNTER), []
    body = a_body()
    for turn in range(2):
        for number in range(3):
            a_job(f"203{turn}-000{number}", body=body, plate=f"LW {turn}{number}")
            a_roll(lot=f"LW-{turn}{number}")
        # Found by the customer's name alone.
        a_job(f"204{turn}-0000", body=body, plate=f"QX {turn}")
        Customer.objects.update(name="Lw Oake", name_folded="lw oake")
        with CaptureQueriesContext(connection) as queries:
            assert len(browser.get("/find/", {"q": "lw"}).context["groups"]) == 5
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 12
