"""The stock, the box that finds and the page of a lot in a real browser."""

import datetime
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import transaction
from playwright.sync_api import Page, expect

from browser.conftest import PHONE_SIZE, Live
from browser.test_pages import look_over
from layflat.web.people.models import Person, Role
from layflat.web.stock.booking import cut_offcut, receive, reserve, take
from layflat.web.stock.faults import note
from layflat.web.stock.models import Movement, Roll
from web.bayed import laid, some_cuts
from web.covered import a_body, a_cover, a_job, an_outcome

LOT = "LW-5521"


@pytest.fixture(scope="session")
def roll(live: Live) -> int:
    """A roll in the running app, with reservations, an offcut, and a car that carries its film."""
    with live.inside(), transaction.atomic():
        ines = Person.objects.get(name=Role.INSTALLER)
        body = a_body("Siskwing of the stock")
        jobs = [
            a_job(number, body=body, plate=f"LW {number[-4:]}", customer="Pim Harrow")
            for number in ("2031-7001", "2031-7002")
        ]
        found = receive(
            film="Clear 150",
            lot=LOT,
            width_mm=1524,
            length_mm=15_240,
            cost=None,
            place="rack 1",
            received_on=datetime.date(2026, 4, 2),
            who=ines,
        )
        for job in jobs:
            reserve(found, job, 2_000, who=ines)
        kind = Movement.Kind.CUT
        take(found, 3_000, kind=kind, job=jobs[0], who=ines, source="section of a test")
        for kind_of, start_mm, end_mm in (("crease", 200, 260), ("dirt", 6_000, 6_800)):
            note(found, kind=kind_of, words="", from_mm=start_mm, to_mm=end_mm, who=ines)
        cut_offcut(found, width_mm=700, length_mm=1_200, place="offcut box", who=ines)
        outcome = an_outcome(a_cover(jobs[0], panels=("hood", "door-left")))
        cuts = some_cuts(jobs[0], outcome, roll=found)
        laid(cuts[0], ines)
        return found.pk


def test_the_stock_s_pages_are_right_in_every_size(
    roll: int, page_of: Callable[..., Page], axe: Callable[[Page], None], tmp_path: Path
) -> None:
    page = page_of(Role.OWNER)
    for name, address in (
        ("stock", "/stock/"),
        ("roll", f"/stock/{roll}/"),
        ("lot", f"/lots/{LOT}/"),
        ("found", "/find/?q=LW"),
    ):
        page.goto(address)
        # All forms open, and so looked at.
        page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")
        look_over(page, axe, tmp_path, name)


def test_a_roll_is_received_with_keys_and_a_slip_loses_nothing(
    roll: int, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.COUNTER, size=PHONE_SIZE)
    page.goto("/stock/receive/")
    page.get_by_label("Film").fill("Matt 160")
    page.get_by_role("textbox", name="Lot").fill("MQ-7")
    page.get_by_label("Width").fill("60 in")
    page.get_by_label("Length").fill("15200")
    page.get_by_label("Length").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("look at the number and its unit")
    expect(page.get_by_label("Film")).to_have_value("Matt 160")
    page.get_by_label("Length").fill("15200 mm")
    page.get_by_label("Length").press("Enter")
    expect(page.get_by_role("status")).to_contain_text("15.200 m of Matt 160, 1524 mm wide")
    expect(page.get_by_role("img")).to_have_attribute(
        "aria-label", re.compile(": 15.200 m left of 15.200 m$")
    )


def test_a_fault_is_noted_with_keys_taken_back_and_put_back(
    roll: int, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.INSTALLER, size=PHONE_SIZE)
    page.goto(f"/stock/{roll}/")
    faults = page.get_by_role("region", name="Faults")
    faults.get_by_text("Note a fault").press("Enter")
    fields = faults.locator("details", has=page.locator("#fault-from-new"))
    fields.get_by_role("radio", name="Splice").press("Space")
    fields.get_by_label("From the cut end to where it begins, m").fill("9,1")
    fields.get_by_label("To where it ends, m").fill("9")
    fields.get_by_label("To where it ends, m").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("before it begins at 9.100 m")
    expect(fields.get_by_role("radio", name="Splice")).to_be_checked()
    fields.get_by_label("To where it ends, m").fill("")
    fields.get_by_role("button", name="Note it").press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Splice, 9.090 m to 9.110 m: new layouts")
    strip = page.get_by_role("img", name=re.compile("fault 2, splice, from 9.090 m to 9.110 m"))
    expect(strip).to_be_visible()
    faults.get_by_role("button", name=re.compile(r"^It is not there\W+fault 2$")).press("Enter")
    expect(page.get_by_role("status")).to_contain_text("“splice” is taken back")
    expect(strip).to_have_count(0)
    faults.get_by_text("Earlier faults").press("Enter")
    faults.get_by_role("button", name=re.compile(r"^It is there all the same\W+splice$")).press(
        "Enter"
    )
    expect(strip).to_be_visible()


def test_the_second_of_two_screens_is_told_and_keeps_what_was_typed(
    live: Live, roll: int, page_of: Callable[..., Page]
) -> None:
    first, second = page_of(Role.INSTALLER), page_of(Role.COUNTER)
    for page in (first, second):
        page.goto(f"/stock/{roll}/")
        page.get_by_text("Put it elsewhere").click()
    first.locator("#place-place").fill("by the plotter")
    first.get_by_role("button", name="It lies there").click()
    expect(first.get_by_role("status")).to_contain_text("lies here now: by the plotter")
    second.locator("#place-place").fill("rack 9")
    second.get_by_role("button", name="It lies there").click()
    expect(second.get_by_role("alert")).to_contain_text("Ines (last: put elsewhere) changed")
    expect(second.locator("#place-place")).to_have_value("rack 9")
    second.get_by_role("button", name="It lies there").click()
    expect(second.get_by_role("status")).to_contain_text("lies here now: rack 9")
    with live.inside():
        assert Roll.objects.get(pk=roll).place == "rack 9"


def test_a_stroke_leads_to_the_box_and_a_plate_to_the_car(
    roll: int, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.INSTALLER)
    page.goto("/bodies/")
    page.locator("body").press("/")
    box = page.get_by_label("Find anything")
    expect(box).to_be_focused()
    # In a field the sign is typed.
    box.press_sequentially("lw/70")
    expect(box).to_have_value("lw/70")
    box.fill("lw7002")
    box.press("Enter")
    page.wait_for_url("**/jobs/2031-7002/")


def test_from_a_roll_to_the_cars_that_carry_its_lot(
    roll: int, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.COUNTER)
    page.goto(f"/stock/{roll}/")
    page.get_by_role("link", name=LOT).click()
    expect(page.get_by_role("heading", name=f"Lot {LOT}")).to_be_visible()
    car = page.get_by_role("listitem").filter(has_text="2031-7001").first
    for words in ("LW 7001", "Pim Harrow", "+43 1 555-01", "by Ines", "no passport yet"):
        expect(car).to_contain_text(words)
    page.emulate_media(media="print")
    expect(page.get_by_role("img").first).to_be_hidden()
    expect(car).to_be_visible()
