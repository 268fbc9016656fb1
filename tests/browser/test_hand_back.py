"""Handing back in a real browser: signing with mouse, finger and pen, and every page of it."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import Live
from browser.test_pages import look_over
from layflat.web.handback.models import HandBack
from layflat.web.jobs.models import Job
from layflat.web.links.private import token_of
from layflat.web.people.models import Person, Role
from web.handback.rows import a_checked_job, a_flag, give_inside, noted

NUMBER, OTHER = "2031-0142", "2031-0143"


@pytest.fixture(scope="module")
def jobs(live: Live) -> None:
    """One job that lacks nothing and has a flag that was left to clear, one that lacks things."""
    with live.inside():
        people = {role: Person.objects.get(name=role.value) for role in Role}
        noted(a_checked_job(people, NUMBER), people[Role.OWNER])
        other = a_checked_job(people, OTHER)
        a_flag(other, people[Role.OWNER])
        other.final_pictures.update(is_withdrawn=True)


def strokes(page: Page) -> list[list[list[int]]]:
    found: list[list[list[int]]] = json.loads(page.locator("#strokes").input_value() or "[]")
    return found


def draw(page: Page, *, down: float) -> None:
    """A stroke of the mouse from left to right, *down* of the field's height."""
    box = page.locator("#pad").bounding_box()
    assert box is not None
    y = box["y"] + down * box["height"]
    page.mouse.move(box["x"] + 0.2 * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], y - 20, steps=8)
    page.mouse.up()


TOUCH = """([kind, id]) => {
  const pad = document.querySelector("#pad");
  const box = pad.getBoundingClientRect();
  pad.setPointerCapture = () => {};
  const send = (name, x, y) => pad.dispatchEvent(new PointerEvent(name, {
    bubbles: true, cancelable: true, pointerId: id, pointerType: kind, button: 0,
    clientX: box.left + x * box.width, clientY: box.top + y * box.height}));
  send("pointerdown", 0.1, 0.5);
  for (let step = 1; step <= 10; step++) send("pointermove", 0.1 + 0.05 * step, 0.5);
  send("pointerup", 0.6, 0.5);
}"""


def test_a_signature_is_drawn_mended_kept_and_sent(
    jobs: None, live: Live, page_of: Callable[..., Page]
) -> None:
    page = page_of(Role.COUNTER)
    page.goto(f"/jobs/{NUMBER}/hand-back/")
    page.locator("#pad").scroll_into_view_if_needed()
    draw(page, down=0.5)
    for number, kind in enumerate(("touch", "pen"), start=7):
        page.evaluate(TOUCH, [kind, number])
    assert len(strokes(page)) == 3
    assert page.get_by_text("3 strokes are drawn.").is_visible()
    page.get_by_role("button", name="Undo the last stroke").click()
    assert len(strokes(page)) == 2
    page.get_by_role("button", name="Clear").click()
    assert strokes(page) == []
    draw(page, down=0.4)
    draw(page, down=0.7)
    drawn = strokes(page)
    # Care is not ticked: it is said, and what was drawn is still there.
    page.get_by_role("button", name="Hand the car back").click()
    page.get_by_role("alert").get_by_text("tick it").wait_for()
    assert strokes(page) == drawn
    inked = "() => document.querySelector('#pad').getContext('2d').getImageData(0,0,1000,360)"
    assert page.evaluate(f"({inked})().data.some(value => value > 0)")
    # By the keyboard alone.
    page.get_by_label("Care is explained").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Hand the car back").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Handed back").wait_for()
    assert page.get_by_alt_text("Signature of Perrin Oake").is_visible()
    assert page.get_by_role("img", name="QR code").is_visible()
    with live.inside():
        assert HandBack.objects.filter(job__number=NUMBER).count() == 1
    # Going back and sending again hands nothing back again.
    page.go_back()
    page.get_by_label("Care is explained").check()
    draw(page, down=0.5)
    page.get_by_role("button", name="Hand the car back").click()
    page.wait_for_load_state()
    with live.inside():
        assert HandBack.objects.filter(job__number=NUMBER).count() == 1


def test_every_page_is_right_in_every_size_light_and_dark(
    jobs: None,
    live: Live,
    page_of: Callable[..., Page],
    axe: Callable[[Page], None],
    tmp_path: Path,
) -> None:
    page = page_of(Role.OWNER)
    page.goto(f"/jobs/{OTHER}/hand-back/")
    look_over(page, axe, tmp_path, "hand-back-missing")
    with live.inside():
        people = {role: Person.objects.get(name=role.value) for role in Role}
        ready = "2031-0144"
        noted(a_checked_job(people, ready), people[Role.OWNER])
    page.goto(f"/jobs/{ready}/hand-back/")
    look_over(page, axe, tmp_path, "hand-back-ready")
    page.goto(f"/jobs/{ready}/passport/")
    look_over(page, axe, tmp_path, "passport-none")
    with live.inside():
        job = Job.objects.get(number=ready)
        give_inside(job, people[Role.COUNTER])
        token = token_of(job.links.get())
    for name in ("hand-back", "passport", "follow-up"):
        page.goto(f"/jobs/{ready}/{name}/")
        look_over(page, axe, tmp_path, f"{name}-given")
    stranger = page_of(None)
    stranger.goto(f"/for-you/passport/{token}/")
    look_over(stranger, axe, tmp_path, "for-you")


def test_a_passport_needs_no_script(jobs: None, live: Live, page_of: Callable[..., Page]) -> None:
    with live.inside():
        people = {role: Person.objects.get(name=role.value) for role in Role}
        job = a_checked_job(people, "2031-0145")
        give_inside(job, people[Role.COUNTER])
        token = token_of(job.links.get())
    page = page_of(None)
    page.goto(f"/for-you/passport/{token}/")
    assert page.locator("script").count() == 0
    assert page.get_by_role("link", name="Open it as a PDF").is_visible()
    assert page.get_by_text("This record is as it was made.").is_visible()
    # Folded on the screen, whole on paper.
    film = page.get_by_text(re.compile(r"^\s*Laid:")).first
    expect(film).to_be_hidden()
    page.emulate_media(media="print")
    expect(film).to_be_visible()
    expect(page.get_by_role("heading", name="The film on the car")).to_be_visible()
