"""An offer in real browsers: made at the counter, accepted on a stranger's phone, changed again."""

import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from browser.conftest import PHONE_SIZE, Live
from browser.test_pages import look_over
from layflat.base import silent
from layflat.surface import panels_json
from layflat.web.bodies.tasks import prepare_body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Fault, Job, Stage, Vehicle
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import make, token_of
from layflat.web.offer.models import Acceptance
from layflat.web.people.models import Role, Shop
from web.bodies.conftest import dome, info, ply
from web.covered import a_body, a_cover, a_job, an_outcome, details, kept

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
RATES = {
    # Another width would put covers that were computed for this one out of date.
    "roll_width_mm": 1524.0,
    "contact": "555 0100",
    "tax_rate": Decimal("0.2"),
    "film_per_metre": Decimal("62.00"),
    "rate_per_hour": Decimal("78.00"),
    "consumables": Decimal("35.00"),
    "film_cost_per_metre": Decimal("31.50"),
    "hour_cost": Decimal("46.00"),
    "consumables_cost": Decimal("21.00"),
}
SHADED = ("GPU stall due to ReadPixels",)


@pytest.fixture(scope="session")
def shown(live: Live) -> dict[str, str]:
    """Hashes of a dome as the browser shows it: surfaces, lines, picture."""
    with live.inside():
        inputs = {
            "scan": kept(ply(dome()), "dome.ply").sha256,
            "unit": "mm",
            "panels": kept(panels_json(info()).encode(), "dome.json").sha256,
        }
        made = prepare_body(inputs, silent)
        return {name: made[name] for name in ("light", "lines", "picture")}


@pytest.fixture(autouse=True)
def rates(live: Live) -> Iterator[None]:
    """What things cost, while a test of these runs."""
    with live.inside():
        before = Shop.objects.values(*RATES).get()
        Shop.objects.update(**RATES)
    yield
    with live.inside():
        Shop.objects.update(**before)


def covered_job(live: Live, shown: dict[str, str], number: str) -> str:
    """The number of a job with two computed covers."""
    with live.inside():
        files = {name: StoredFile.objects.get(sha256=value) for name, value in shown.items()}
        body = a_body(f"Dome {number}", **files)
        job = a_job(number, body=body, customer="Perrin Oake", plate="LW 204 K")
        seen: dict[str, Any] = {
            "shown": files["light"],
            "lines": files["lines"],
            "drawn": path_of(shown["picture"]).read_bytes(),
        }
        over = [{"name": "eye", "reason": "the maker allows film there"}]
        an_outcome(a_cover(job, "Nose only"), **seen)
        an_outcome(
            a_cover(job, "Nose and doors", panels=("hood", "door-left", "door-right")),
            film_mm=11020.0,
            over_stretch=0.03,
            over_finger=0.02,
            details=details(film_over=over),
            **seen,
        )
        return job.number


def in_3d(page: Page) -> None:
    """The first vehicle comes into sight, and is then shown in 3D."""
    page.locator(".viewer").first.scroll_into_view_if_needed()
    page.locator(".viewer.shows-body").first.wait_for()


def test_a_customer_accepts_on_a_phone_and_reads_what_changed(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, shown: dict[str, str]
) -> None:
    number = covered_job(live, shown, "2031-0701")
    counter = page_of(Role.COUNTER, expected=SHADED)
    counter.goto(f"/jobs/{number}/")
    counter.get_by_role("link", name="Make the offer").click()
    counter.get_by_label("What for line 1").fill("Taking old film off")
    counter.get_by_label("Amount line 1").fill("120")
    counter.get_by_label("Message to the customer").fill("Both can be laid in the same week.")
    counter.get_by_role("button", name="Show as the customer sees it").click()
    counter.get_by_role("heading", name="Version 1 as the customer would see it").wait_for()
    in_3d(counter)
    axe(counter)
    counter.get_by_role("button", name="Make version 1").last.click()
    counter.get_by_text("Version 1 is made.").wait_for()
    counter.get_by_role("button", name="Make a private link").click()
    address = counter.get_by_label("Address to copy").input_value()
    assert re.fullmatch(rf"{re.escape(live.url)}/for-you/offer/[\w-]{{43}}/", address)
    counter.get_by_role("button", name="Copy").click()
    counter.get_by_role("button", name=re.compile("Copied|Marked")).wait_for()
    axe(counter)

    customer = page_of(None, size=PHONE_SIZE, expected=SHADED)
    customer.goto(address)
    customer.get_by_role("heading", name=re.compile("^Offer")).wait_for()
    in_3d(customer)
    look_over(customer, axe, tmp_path, "offer-for-you")
    customer.set_viewport_size({"width": PHONE_SIZE[0], "height": PHONE_SIZE[1]})
    customer.get_by_role("button", name="Accept the offer").click()
    customer.get_by_text("Tick that you have read it").wait_for()
    axe(customer)
    customer.get_by_label("I choose this Nose and doors").check()
    customer.get_by_label("Your name").fill("Perrin Oake")
    customer.get_by_label("I have read the points above").check()
    customer.get_by_role("button", name="Accept the offer").click()
    customer.get_by_role("heading", name="What you accepted").wait_for()
    look_over(customer, axe, tmp_path, "offer-accepted")
    assert customer.context.cookies() == []

    counter.goto(f"/jobs/{number}/")
    counter.get_by_text("Nose and doors").first.wait_for()
    axe(counter)
    counter.get_by_role("link", name="Open the offer").click()
    counter.get_by_text("Perrin Oake accepted “Nose and doors”").wait_for()
    counter.get_by_text("Open the accepted job again").click()
    counter.get_by_label("Why").fill("The customer wants the doors only up to the line.")
    counter.get_by_role("button", name="Open it again").click()
    with live.inside():
        job = Job.objects.get(number=number)
        assert job.stage == Stage.COVER
        an_outcome(
            job.covers.get(number=2),
            film_mm=9100.0,
            shown=StoredFile.objects.get(sha256=shown["light"]),
            lines=StoredFile.objects.get(sha256=shown["lines"]),
            drawn=path_of(shown["picture"]).read_bytes(),
            is_part=True,
        )
    counter.goto(f"/jobs/{number}/offer/")
    counter.get_by_role("button", name="Make version 2").click()
    counter.get_by_text("Version 2 is made.").wait_for()
    counter.get_by_text("What changed since version 1").click()
    look_over(counter, axe, tmp_path, "offer-second")
    customer.goto(address)
    customer.get_by_role("heading", name="What is new").wait_for()
    told = customer.get_by_text("Film, cut to your vehicle: 9.10 m, 564.20 instead of 11.02 m")
    assert told.is_visible()
    axe(customer)
    counter.get_by_role("link", name=re.compile("Look at it.*version 2")).click()
    in_3d(counter)
    axe(counter)
    with live.inside():
        assert Acceptance.objects.filter(offer__job__number=number).count() == 1


def test_the_owner_sees_what_it_leaves(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, shown: dict[str, str]
) -> None:
    number = covered_job(live, shown, "2031-0702")
    owner = page_of(Role.OWNER, expected=SHADED)
    owner.goto(f"/jobs/{number}/offer/")
    axe(owner)
    owner.get_by_role("button", name="Show as the customer sees it").click()
    owner.get_by_role("heading", name="What it leaves").wait_for()
    look_over(owner, axe, tmp_path, "offer-leaves")


ACCEPT = """async (alternatives) => {
  const sends = alternatives.map((alternative) => {
    const data = new FormData(document.querySelector("form"));
    data.set("alternative", alternative);
    data.set("name", `Number ${alternative}`);
    data.set("agreed", "yes");
    return fetch("", {method: "POST", body: data});
  });
  return (await Promise.all(sends)).map((answer) => answer.status);
}"""


def test_without_scripts_and_two_at_once_one_yes_counts(
    live: Live, page_of: PageOf, shown: dict[str, str]
) -> None:
    number = covered_job(live, shown, "2031-0703")
    counter = page_of(Role.COUNTER, java_script_enabled=False)
    counter.goto(f"/jobs/{number}/offer/")
    counter.get_by_role("button", name="Make version 1").click()
    counter.get_by_text("Version 1 is made.").wait_for()
    with live.inside():
        link = make(Job.objects.get(number=number), Purpose.OFFER, days=3, who=None)
        token = token_of(link)
    at_once = page_of(None, expected=SHADED)
    at_once.goto(f"/for-you/offer/{token}/")
    assert at_once.evaluate(ACCEPT, ["1", "2", "1", "2"]) == [200] * 4
    with live.inside():
        assert Acceptance.objects.filter(offer__job__number=number).count() == 1
        link.refresh_from_db()
        assert link.opened >= 1
    plain = page_of(None, size=PHONE_SIZE, java_script_enabled=False)
    plain.goto(f"/for-you/offer/{token}/")
    plain.get_by_role("heading", name="What you accepted").wait_for()
    assert plain.locator(".viewer > img").is_visible()


def test_links_and_the_warnings_behind_them(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path
) -> None:
    with live.inside():
        job = a_job("2031-0704", body=a_body("Linked"), stage=Stage.INTAKE)
        Vehicle.objects.filter(pk=job.vehicle_id).update(body=None, described="Tarnholm Haulbeck")
        Fault.objects.create(job=job, number=1, kind="repaint", panel="hood", is_warning=True)
    counter = page_of(Role.COUNTER)
    counter.goto(f"/jobs/{job.number}/walk-round/")
    counter.get_by_role("link", name="Send them as a private link").click()
    axe(counter)
    counter.get_by_role("button", name="Make a private link").first.click()
    address = counter.get_by_label("Address to copy").input_value()
    look_over(counter, axe, tmp_path, "links")
    customer = page_of(None, size=PHONE_SIZE, expected=("status of 404",))
    customer.goto(address)
    look_over(customer, axe, tmp_path, "links-warnings")
    customer.get_by_label("I have read this").check()
    customer.get_by_label("Your name").fill("Perrin Oake")
    customer.get_by_role("button", name="I acknowledge").click()
    customer.get_by_text("Nothing waits for you here").wait_for()
    counter.reload()
    counter.get_by_text("opened").first.wait_for()
    counter.get_by_role("button", name="Take back").click()
    counter.get_by_text("The link is taken back").wait_for()
    customer.goto(address)
    customer.get_by_role("heading", name="This link opens nothing").wait_for()
    look_over(customer, axe, tmp_path, "links-nothing")
    with live.inside():
        assert PrivateLink.objects.get(job=job).revoked_at is not None
