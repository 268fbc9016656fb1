"""Laying in a real browser: two people, a piece after the other, also while the network is gone."""

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind, Step
from layflat.web.jobs.models import Job
from layflat.web.laying.mixes import tack
from layflat.web.laying.models import Laying
from layflat.web.people.models import Role
from layflat.web.taps.models import Tap
from web.bayed import steps_done
from web.laying.shop import ready_to_lay, with_real_files

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
NETWORK = ("ERR_INTERNET_DISCONNECTED", "Failed to load resource")
_numbers = itertools.count(1)


@pytest.fixture
def ready(live: Live) -> tuple[Job, list[Cut]]:
    """A job whose film lies weeded."""
    with live.inside():
        job, cuts = ready_to_lay(f"2031-08{next(_numbers):02}")
        with_real_files(cuts[0].piece.outcome)
        return job, cuts


def test_pieces_are_laid_one_after_the_other_with_and_without_network(
    live: Live,
    ready: tuple[Job, list[Cut]],
    page_of: PageOf,
    axe: Axe,
    tmp_path: Path,
) -> None:
    job, (hood, roof) = ready
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    first, second = page.locator("#lay-1"), page.locator("#lay-2")
    with live.inside():
        Step.objects.filter(job=job, kind=Kind.CUT).update(state=Step.State.OPEN)
    page.goto(f"/jobs/{job.number}/bay/#lay")
    # What waits is within reach of the keyboard and says for what; nothing is sent.
    first.get_by_role("button", name="Begin 1").press("Enter")
    expect(first.get_by_role("alert")).to_contain_text("waits for cutting and weeding")
    with live.inside():
        assert not Tap.objects.filter(job=job).exists()
        Step.objects.filter(job=job, kind=Kind.CUT).update(title="Cut and weed all of it")
    # It stays until it is no longer so, also when the page is brought up to date meanwhile.
    brought = "window.dispatchEvent(new Event('focus'))"
    page.evaluate(brought)
    expect(page.get_by_text("Cut and weed all of it").first).to_be_attached(timeout=60_000)
    expect(first.get_by_role("alert")).to_contain_text("waits for")
    with live.inside():
        steps_done(job, Kind.CUT)
    page.evaluate(brought)
    expect(first.get_by_role("alert")).to_have_count(0, timeout=60_000)
    page.reload()
    expect(first.locator(".lay-map")).to_be_visible()
    expect(first.get_by_role("button", name="1 is laid")).to_be_disabled()
    first.get_by_text("Odile").click()
    # Whoever lays one piece is proposed for the next.
    expect(second.get_by_role("checkbox", name="Odile")).to_be_checked()
    first.get_by_role("button", name="Begin 1").click()
    state = page.locator("#lay-state-1")
    expect(state).to_contain_text("in hand: Ines and Odile, for 0 min", timeout=60_000)
    first.get_by_label("What was hard").fill("the corner")
    first.get_by_role("button", name="1 is laid").click()
    expect(first.locator(".lay-by")).to_contain_text("Hard: the corner", timeout=60_000)
    page.context.set_offline(True)
    second.get_by_role("button", name="Begin 2").click()
    expect(page.locator("#lay-state-2")).to_contain_text("kept on this tablet")
    second.get_by_role("button", name="2 is laid").click()
    expect(page.locator(".taps-strip")).to_contain_text("2 taps kept on this tablet")
    page.context.set_offline(False)
    expect(page.get_by_text("2 of 2 laid")).to_be_visible(timeout=60_000)
    with live.inside():
        layings = list(Laying.objects.filter(cut__in=[hood, roof]).order_by("pk"))
        hands = [sorted(one.shown for one in laying.people.all()) for laying in layings]
        assert hands == [["Ines", "Odile"]] * 2
        assert [laying.hard for laying in layings] == ["the corner", ""]
        assert not Tap.objects.filter(job=job, state=Tap.State.REFUSED).exists()
    look_over(page, axe, tmp_path, "lay")


def test_mixes_follow_what_is_typed(page_of: PageOf) -> None:
    page = page_of(Role.INSTALLER)
    page.goto("/mixes/")
    page.get_by_label("How much").fill("750")
    page.get_by_label("Alcohol at hand").fill("99,9")
    found = tack(750.0, percent=15.0, bottle_percent=99.9)
    expect(page.locator("[data-mix=alcohol]")).to_have_text(f"{found.alcohol_ml:.0f} ml")
    expect(page.locator("[data-mix=tack-water]")).to_have_text(f"{found.water_ml:.0f} ml")
    page.get_by_label("Alcohol at hand").fill("5")
    expect(page.locator("[data-mix=alcohol]")).to_have_text("–")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_role("alert")).to_contain_text("between 25 and 100")
    assert page.get_by_label("How much").input_value() == "750"
