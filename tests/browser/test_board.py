"""The board in a browser: it follows what others do, without taking anybody's place away."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from browser.conftest import Live
from layflat.web.jobs.models import Customer, Job, Vehicle
from layflat.web.people.models import Role

LATEST_MS = 15_000


def add_job(number: str) -> None:
    customer = Customer.objects.create(name=f"Customer of {number}")
    vehicle = Vehicle.objects.create(customer=customer, described="Siskwing")
    Job.objects.create(number=number, vehicle=vehicle)


def test_it_follows_what_others_do_and_keeps_the_focus(
    live: Live, page_of: Callable[..., Page]
) -> None:
    with live.inside():
        add_job("W-1")
    page = page_of(Role.COUNTER)
    statuses: list[int] = []
    page.on(
        "response",
        lambda answer: statuses.append(answer.status) if "/board/cards/" in answer.url else None,
    )
    page.goto("/")
    first = page.get_by_role("link", name="W-1")
    first.focus()
    # Marks the element, to tell whether it is replaced while nothing changes.
    page.evaluate("() => { document.getElementById('board').dataset.seen = 'yes' }")
    page.wait_for_event("response", lambda answer: "/board/cards/" in answer.url)
    assert page.evaluate("() => document.getElementById('board').dataset.seen") == "yes"
    assert set(statuses) == {304}
    with live.inside():
        add_job("W-2")
    expect(page.get_by_role("link", name="W-2")).to_be_visible(timeout=LATEST_MS)
    expect(first).to_be_focused()
    assert 200 in statuses


def test_it_says_when_the_server_is_silent_and_when_it_is_back(
    page_of: Callable[..., Page],
) -> None:
    page = page_of(Role.COUNTER, expected=("ERR_FAILED", "htmx:"))
    page.goto("/")
    lost = page.get_by_role("alert")
    expect(lost).to_be_hidden()
    page.route("**/board/cards/**", lambda route: route.abort())
    expect(lost).to_be_visible(timeout=LATEST_MS)
    page.unroute("**/board/cards/**")
    expect(lost).to_be_hidden(timeout=LATEST_MS)


def test_stages_are_reached_by_keyboard(live: Live, page_of: Callable[..., Page]) -> None:
    with live.inside():
        add_job("W-3")
    page = page_of(Role.COUNTER)
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.get_by_role("navigation", name="Stages").get_by_role("link").first.focus()
    expect(page.get_by_role("navigation", name="Stages")).to_be_in_viewport()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    ticket = page.evaluate("() => document.activeElement.id")
    assert ticket.startswith("job-")


def test_a_board_that_was_signed_out_elsewhere_goes_to_the_door(
    live: Live, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.COUNTER)
    page.goto("/?late=yes")
    page.context.clear_cookies()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible(timeout=LATEST_MS)
    assert page.url == f"{live.url}/sign-in/?next=/%3Flate%3Dyes"
