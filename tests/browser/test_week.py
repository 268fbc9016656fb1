"""The week's film in a real browser: asked for, watched, answered, kept as the jobs' layouts."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import Live
from browser.test_pages import look_over
from layflat.web.cutting.models import Layout
from layflat.web.people.models import Role
from layflat.web.stock.models import Roll
from web.bayed import a_roll
from web.cutting.patterned import a_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
SLOW_MS = 240_000
"""A search waits for a worker that may be busy."""
JOBS = {"2044-0001": ("hood", "mirror-left"), "2044-0002": ("door-left",)}


@pytest.fixture
def film(live: Live) -> str:
    """Two jobs that need film, and a roll of a film that no other test lays out."""
    with live.inside():
        for number, names in JOBS.items():
            a_job(number, *names)
        roll = a_roll(lot="LW-week", length_mm=9000)
        Roll.objects.filter(pk=roll.pk).update(film="Clear week")
        return "Clear week"


def test_a_week_is_planned_and_kept(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, film: str
) -> None:
    page = page_of(Role.COUNTER)
    page.goto("/stock/")
    page.get_by_role("link", name="The week's film").click()
    for box in page.get_by_role("checkbox").all():
        box.uncheck()
    for number in JOBS:
        page.get_by_role("checkbox", name=re.compile(number)).check()
    page.get_by_role("radio", name=re.compile(film)).check()
    page.get_by_role("radio", name=re.compile("Each for one job")).check()
    page.get_by_role("button", name="Plan the film").click()
    # It goes on by itself, and the page shows what came of it.
    expect(page.get_by_text("Found, not kept yet")).to_be_visible(timeout=SLOW_MS)
    # With what offers charge for film before it, where another test has set prices.
    expect(page.locator(".week-answer")).to_have_text(
        re.compile(rf"\d\.\d{{3}} m of {film} from R\d+\.")
    )
    expect(page.locator(".roll-piece")).to_have_count(3)
    look_over(page, axe, tmp_path, "plan")
    page.get_by_role("button", name="Keep this plan").click()
    kept = page.get_by_role("region", name="Layouts from this plan")
    for number in JOBS:
        expect(kept.get_by_role("link", name=f"{number}, layout 1")).to_be_visible()
    kept.get_by_role("link", name="2044-0002, layout 1").click()
    expect(page.get_by_role("region", name="Section 1")).to_be_visible(timeout=SLOW_MS)
    with live.inside():
        layouts = Layout.objects.filter(job__number__in=JOBS)
        assert {layout.roll.film for layout in layouts.select_related("roll")} == {film}
