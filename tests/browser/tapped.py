"""Taps on a page of the bay: made, waited for, and looked up where they came in."""

from collections.abc import Sequence
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import Live
from layflat.web.jobs.models import Job
from layflat.web.taps.models import Tap

NETWORK = ("ERR_INTERNET_DISCONNECTED", "Failed to load resource")
CLOCK = """() => {
  const real = Date.now.bind(Date);
  Date.now = () => real() + Number(localStorage.getItem("clock-off-ms") ?? 0);
}"""
"""Lets a test set the tablet's clock, as the page reads it."""


def opened(page: Page, job: Job) -> None:
    page.goto(f"/jobs/{job.number}/bay/")
    until(page, "() => navigator.serviceWorker.controller !== null")
    kept = """async (path) => (await caches.match(path, { ignoreVary: true })) !== undefined"""
    until(page, kept, f"/jobs/{job.number}/bay/")


def until(page: Page, what: str, argument: object = None) -> None:
    """Wait for what a function in the page says; the page's policy forbids that it waits itself."""
    for _ in range(600):
        if page.evaluate(what, argument):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never: {what}")


def strip(page: Page) -> Any:
    return page.locator("#taps-strip [data-taps-words]")


def tap(page: Page, form: str) -> None:
    page.locator(f"#{form} button").click()


def says(page: Page, element: str, words: str) -> None:
    expect(page.locator(f"#{element} > .tap-said")).to_have_text(words)


def all_sent(page: Page) -> None:
    expect(strip(page)).to_have_text("All sent", timeout=60_000)


def taps_of(live: Live, job: Job) -> list[tuple[int | None, str, str, str]]:
    with live.inside():
        rows = Tap.objects.filter(job=job).order_by("id")
        return [(row.number, row.act, row.fields.get("step", ""), row.state) for row in rows]


def came_in(live: Live, page: Page, job: Job, count: int) -> None:
    """Wait until so many taps of the job came in: the strip said “All sent” before, too."""
    for _ in range(600):
        if len(taps_of(live, job)) >= count:
            return all_sent(page)
        page.wait_for_timeout(50)
    pytest.fail(f"fewer than {count} taps came in")


def in_order(*acts: tuple[str, str], first: int = 1) -> Sequence[tuple[int, str, str, str]]:
    return [(first + place, act, step, "done") for place, (act, step) in enumerate(acts)]


def take(page: Page, mitt: str) -> None:
    page.locator("#tool-wash").select_option(mitt)
    tap(page, "take-wash")


def look_again(page: Page) -> None:
    """As when the tablet is taken up again: it tries at once."""
    page.evaluate("window.dispatchEvent(new Event('focus'))")
