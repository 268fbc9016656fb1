"""Planning and working through the steps in a real browser: times run on without the network."""

import datetime
import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.web.gates.models import Dwell, Step, Tool, Zone
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from layflat.web.taps.models import Tap
from web.bayed import an_accepted_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
NETWORK = ("ERR_INTERNET_DISCONNECTED", "Failed to load resource")
_numbers = itertools.count(1)


@pytest.fixture
def job(live: Live) -> Job:
    """A job whose offer is accepted, with tools of both zones in the shop."""
    with live.inside():
        found, _ = an_accepted_job(f"2031-05{next(_numbers):02}")
        Tool.objects.get_or_create(name="blue mitt 1", defaults={"zone": Zone.PAINT})
        Tool.objects.get_or_create(name="wheel brush", defaults={"zone": Zone.WHEELS})
        return found


def planned(page_of: PageOf, job: Job) -> None:
    page = page_of(Role.COUNTER)
    page.goto(f"/jobs/{job.number}/bay/plan/")
    page.get_by_role("button", name="Plan the bay").click()
    page.get_by_text("The bay is planned.").wait_for()


def test_the_bay_is_planned_for_what_the_car_has(
    live: Live, job: Job, page_of: PageOf, axe: Axe, tmp_path: Path
) -> None:
    page = page_of(Role.COUNTER)
    page.goto(f"/jobs/{job.number}/")
    page.get_by_role("link", name="Plan the bay").click()
    coating = page.get_by_role("heading", name="Coating over the film")
    expect(coating).to_be_hidden()
    page.get_by_label("Coating ordered").check()
    expect(coating).to_be_visible()
    tar = page.locator(".way-step", has=page.get_by_role("heading", name="Tar and glue spots"))
    tar.get_by_text("Leave it out").click()
    tar.get_by_label("Left out for this car").check()
    tar.get_by_label("Why").fill("none seen")
    look_over(page, axe, tmp_path, "plan")
    page.get_by_role("button", name="Plan the bay").click()
    page.get_by_text("The bay is planned.").wait_for()
    with live.inside():
        steps = {step.key: step for step in Step.objects.filter(job=job)}
        assert "coating" in steps
        assert steps["tar-and-glue"].left_out_because == "none seen"
    page.goto(f"/jobs/{job.number}/bay/plan/")
    expect(page.get_by_text("waits for rinse and foam")).to_be_visible()
    look_over(page, axe, tmp_path, "planned")


def test_times_run_with_and_without_network_and_what_dried_is_done_again(
    live: Live, job: Job, page_of: PageOf, tmp_path: Path
) -> None:
    planned(page_of, job)
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.clock.install()
    page.goto(f"/jobs/{job.number}/bay/#steps")
    sound = page.locator("#timers-sound")
    page.locator("#where-rinse").select_option("left side")
    page.get_by_role("button", name="Put on, start the time Rinse and foam").click()
    timers = page.locator("[data-timer]")
    left = timers.filter(has_text="left side")
    expect(left.locator(".state")).to_have_text("working, rinse in")
    # That tap allowed sound.
    expect(sound).to_have_text("Sound is on")
    # The page was brought up to date: the time is the server's now.
    expect(page.locator("li[id^=timer-]")).to_have_count(1, timeout=60_000)
    with live.inside():
        assert Tap.objects.get(job=job, act="gates.dwell").state == Tap.State.DONE
    page.get_by_label("Tool", exact=True).first.select_option(label="blue mitt 1 (paint)")
    page.get_by_role("button", name="Take it for Rinse and foam").click()
    expect(page.get_by_role("button", name="It fell on the floor blue mitt 1")).to_be_visible()
    page.context.set_offline(True)
    page.locator("#where-rinse").select_option("roof")
    page.get_by_role("button", name="Put on, start the time Rinse and foam").click()
    expect(timers).to_have_count(2)
    page.clock.fast_forward("03:30")
    expect(left.locator(".state")).to_have_text("rinse now")
    assert page.title().startswith("(!) rinse now")
    expect(page.locator("#timers-say")).to_contain_text("rinse now")
    page.clock.fast_forward("06:00")
    expect(left.locator(".state")).to_have_text("may have dried: rinse, then do it again")
    assert "may have dried" in page.title()
    page.screenshot(path=tmp_path / "dried.png")
    left.get_by_role("button", name="Rinsed left side").click()
    expect(left.locator(".timer-left .state")).to_have_text("rinsed")
    with live.inside():  # only the page's clock went on; the server's has to follow
        began = timezone.now() - datetime.timedelta(minutes=10)
        Dwell.objects.filter(step__job=job, where="left side").update(began_at=began)
    page.context.set_offline(False)
    page.clock.fast_forward("00:40")
    expect(page.get_by_text("left side: had dried; do it again")).to_be_visible(timeout=60_000)
    with live.inside():
        dwells = Dwell.objects.filter(step__job=job).order_by("pk")
        assert [(one.where, one.was_late) for one in dwells] == [
            ("left side", True),
            ("roof", False),
        ]


def test_a_step_is_refused_before_its_turn_and_done_in_its_turn(
    live: Live, job: Job, page_of: PageOf
) -> None:
    planned(page_of, job)
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto(f"/jobs/{job.number}/bay/#steps")
    expect(page.get_by_role("button", name="Done Laying the film")).to_have_count(0)
    expect(page.locator("#step-lay")).to_contain_text("waits for iron removal; drying")
    page.get_by_role("button", name="Done Cutting and weeding").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#over-cut-and-weed")).to_contain_text("Ines", timeout=60_000)
    expect(page.locator("#step-lay")).not_to_contain_text("cutting and weeding")
    page.get_by_role("button", name="Take back Cutting and weeding").click()
    expect(page.locator("#step-cut-and-weed")).to_be_visible(timeout=60_000)


def test_the_shop_s_steps_and_tools(
    live: Live, page_of: PageOf, job: Job, axe: Axe, tmp_path: Path
) -> None:
    page = page_of(Role.OWNER, size=COUNTER_SIZE)
    page.goto(reverse("gates:template", args=["dry"]))
    page.get_by_label("Laying the film").check()
    page.get_by_role("button", name="Save the step").click()
    expect(page.get_by_text("wait for each other; neither could ever begin")).to_be_visible()
    look_over(page, axe, tmp_path, "template-refused")
    page.goto(reverse("gates:templates"))
    page.get_by_role("button", name="Up Laying the film").click()
    expect(page.get_by_text("which is listed after it")).to_be_visible()
