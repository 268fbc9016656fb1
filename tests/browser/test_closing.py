"""A job is closed, found by its customer in capitals, and opened again, in a real browser."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, PASSWORD, PHONE_SIZE, Live
from browser.test_pages import look_over
from layflat.web.jobs.enquiry import Enquiry, open_job
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop


@pytest.mark.parametrize("size", [COUNTER_SIZE, PHONE_SIZE])
def test_a_job_is_closed_found_and_opened_again(
    live: Live,
    page_of: Callable[..., Page],
    axe: Callable[[Page], None],
    tmp_path: Path,
    size: tuple[int, int],
) -> None:
    name = f"Zoë Müßig {size[0]}"
    with live.inside():
        asked = Enquiry(name=name, plate=f"ZM {size[0]}", described="Tarnholm Siskwing")
        number = open_job(asked, shop=the_shop(), who=None).number
    page = page_of(Role.COUNTER, size=size)
    page.goto(f"/jobs/{number}/")
    page.get_by_text("Close the job").first.click()
    look_over(page, axe, tmp_path, "closing")
    page.set_viewport_size({"width": size[0], "height": size[1]})
    # Without a reason the browser itself keeps the form; with one the return key sends it.
    page.get_by_role("button", name="Close the job").click()
    expect(page.get_by_role("heading", name="Next")).to_be_visible()
    page.get_by_label("The customer declined").check()
    page.get_by_label("More words").fill("too dear")
    page.get_by_label("More words").press("Enter")
    expect(page.get_by_role("heading", name="Closed")).to_be_visible()
    look_over(page, axe, tmp_path, "closed")
    page.set_viewport_size({"width": size[0], "height": size[1]})

    page.get_by_role("navigation", name="Main").get_by_role("link", name="Board").click()
    expect(page.get_by_role("link", name=number)).to_have_count(0)
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Jobs").click()
    page.get_by_label("Find a job").fill(f"MÜSSIG {size[0]}")
    page.get_by_label("Find a job").press("Enter")
    expect(page.get_by_text("1 job with")).to_be_visible()
    expect(page.get_by_text("The customer declined; too dear")).to_be_visible()
    axe(page)
    page.get_by_role("link", name=number).click()
    page.get_by_role("button", name="Open it again at “Enquiry”").click()
    expect(page.get_by_text("The job is open again")).to_be_visible()
    page.goto("/")
    expect(page.get_by_role("link", name=number)).to_be_visible()


def test_a_search_without_a_find_says_what_to_do(
    page_of: Callable[..., Page], axe: Callable[[Page], None], tmp_path: Path
) -> None:
    page = page_of(Role.INSTALLER)
    page.goto("/jobs/?q=no+such+customer&which=closed")
    expect(page.get_by_role("heading", name="No such job")).to_be_visible()
    look_over(page, axe, tmp_path, "jobs-none")


def test_a_person_changes_the_password_and_stays_signed_in_here_only(
    live: Live, page_of: Callable[..., Page]
) -> None:
    with live.inside():
        Person.objects.create_person("merrow", password=PASSWORD, role=Role.INSTALLER)
    here, there = page_of(None), page_of(None)
    for page in (here, there):
        page.goto("/sign-in/")
        page.get_by_label("Name").fill("merrow")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("heading", name="Board")).to_be_visible()
    here.get_by_role("link", name="merrow: your password").click()
    here.get_by_label("The password until now").fill(PASSWORD)
    here.get_by_label("New password", exact=True).fill("a scraper of soft brass")
    here.get_by_label("The new password once more").fill("a scraper of soft brass")
    here.get_by_label("The new password once more").press("Enter")
    expect(here.get_by_text("Your new password holds")).to_be_visible()
    there.goto("/bodies/")
    expect(there.get_by_role("heading", name="Sign in")).to_be_visible()
