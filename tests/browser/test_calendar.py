"""The calendar in a real browser: works placed by hand, with warnings that refuse nothing."""

import datetime
import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.web.diary.models import Booking
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from web.bayed import an_accepted_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
_numbers = itertools.count(1)
MONDAY = "2031-05-19"


@pytest.fixture
def job(live: Live) -> Job:
    with live.inside():
        found, _ = an_accepted_job(f"2031-06{next(_numbers):02}")
        Job.objects.filter(pk=found.pk).update(promised=datetime.date(2031, 5, 20))
        return found


def test_works_are_placed_and_what_is_wrong_is_said_and_stays(
    live: Live, job: Job, page_of: PageOf, axe: Axe, tmp_path: Path
) -> None:
    page = page_of(Role.COUNTER, size=COUNTER_SIZE)
    page.goto(f"/calendar/job/{job.number}/?day={MONDAY}")
    # Three days from Monday on, and Tuesday is promised.
    expect(page.get_by_text("3 working days.")).to_be_visible()
    expect(page.get_by_text("The last work ends after the day that is promised")).to_be_visible()
    look_over(page, axe, tmp_path, "place")
    page.set_viewport_size({"width": COUNTER_SIZE[0], "height": COUNTER_SIZE[1]})
    page.get_by_role("button", name="Place what is ticked").click()
    expect(page.get_by_text("7 placed in the calendar")).to_be_visible()
    expect(page.get_by_role("heading", name="To look at")).to_be_visible()
    look_over(page, axe, tmp_path, "calendar-warned")
    page.set_viewport_size({"width": COUNTER_SIZE[0], "height": COUNTER_SIZE[1]})
    # Something else in the same bay, by the keyboard: it goes in, and is said.
    page.goto(f"/calendar/new/?day={MONDAY}")
    page.get_by_label("What it is, or a note").fill("Lamp is mended")
    page.get_by_label("Where", exact=True).select_option("Bay 1")
    page.get_by_label("From", exact=True).fill("09:00")
    page.get_by_label("Until", exact=True).fill("08:00")
    page.get_by_role("button", name="Place it").press("Enter")
    expect(page.get_by_text("It ends before it starts")).to_be_visible()
    page.get_by_label("Until", exact=True).fill("10:00")
    page.get_by_role("button", name="Place it").press("Enter")
    expect(page.get_by_text("Bay 1 is taken by").first).to_be_visible()
    page.get_by_role("link", name="Lamp is mended").first.click()
    expect(page.get_by_text("It stays as you place it; this is only said.")).to_be_visible()
    look_over(page, axe, tmp_path, "booking")
    page.get_by_role("button", name="Take it out").click()
    expect(page.get_by_text("It was taken out of the calendar.")).to_be_visible()
    page.goto(f"/jobs/{job.number}/")
    sheet = page.locator("section", has=page.get_by_role("heading", name="Calendar", exact=True))
    expect(sheet).to_contain_text("The last work ends after the day that is promised.")
    with live.inside():
        assert Booking.objects.filter(job=job).count() == 7


def test_a_day_and_feeds(live: Live, job: Job, page_of: PageOf, axe: Axe, tmp_path: Path) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto(f"/calendar/?day={MONDAY}&view=day")
    expect(page.get_by_role("link", name="Place something")).to_have_count(0)
    look_over(page, axe, tmp_path, "day")
    page.goto("/calendar/feeds/")
    page.get_by_role("button", name="Make a feed of my works").click()
    address = page.get_by_label("Address to copy").last.input_value()
    assert address.endswith(".ics")
    answer = page.request.get(address)
    assert answer.text().startswith("BEGIN:VCALENDAR\r\n")
    look_over(page, axe, tmp_path, "feeds")
