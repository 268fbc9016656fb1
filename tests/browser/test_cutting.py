"""Film in a real browser: a search watched and kept, its cut played, sections and pieces ticked."""

import json
import re
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.web.cutting import film
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Role
from layflat.web.stock.models import Roll
from web.bayed import a_roll, as_found, in_the_bay, some_cuts
from web.cutting.patterned import a_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
SLOW_MS = 240_000
"""A search and programs wait for a worker that may be busy."""


@pytest.fixture
def number(live: Live) -> str:
    """A job with two pieces to be cut, and a roll for them."""
    with live.inside():
        made = f"2034-{Job.objects.count():04}"
        job, _ = a_job(made, "hood", "mirror-left", "door-left")
        a_roll(lot=f"LW-{made}", length_mm=9000)
        return job.number


def test_film_from_the_pool_to_weeded_pieces(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, number: str
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto(f"/jobs/{number}/film/")
    look_over(page, axe, tmp_path, "film")
    page.get_by_role("radio", name=re.compile(f"LW-{number}")).check()
    page.get_by_role("button", name="Lay out").click()
    expect(page.get_by_role("heading", name="Layout 1")).to_be_visible()
    # It goes on by itself: the pieces lie on the roll, and the search comes to its end.
    expect(page.locator(".roll-piece")).to_have_count(3, timeout=SLOW_MS)
    expect(page.locator("#standing")).to_have_text("Found, not kept yet", timeout=SLOW_MS)
    expect(page.locator("[data-figure=bound]")).to_have_text(re.compile(r"^\d\.\d{2,3} m$"))
    look_over(page, axe, tmp_path, "found")
    page.get_by_role("button", name="Keep this layout").click()
    section = page.get_by_role("region", name="Section 1")
    expect(section).to_be_visible(timeout=SLOW_MS)
    look_over(page, axe, tmp_path, "kept")
    page.set_viewport_size({"width": 820, "height": 1180})
    _play(page)
    with page.expect_download() as saved:
        section.get_by_role("link", name=re.compile("Program")).click()
    assert saved.value.suggested_filename == f"{number}-layout-1-section-1.hpgl"
    section.get_by_role("button", name=re.compile("^It is cut")).click()
    _is(live, number, {"cut": 3})
    # What remains beside the pieces goes onto the shelf with one tap.
    section.get_by_label("It lies at").first.fill("offcut box")
    section.get_by_role("button", name=re.compile("^Keep it")).first.click()
    expect(section.get_by_role("link", name=re.compile(r"^Kept as R\d+$"))).to_be_visible()
    look_over(page, axe, tmp_path, "offcuts")
    page.set_viewport_size({"width": 820, "height": 1180})
    weeded = section.get_by_role("button", name=re.compile(r"^Weeded\W+1 "))
    weeded.click()
    _is(live, number, {"cut": 2, "weeded": 1})
    section.get_by_role("button", name=re.compile("^All of it is weeded")).click()
    _is(live, number, {"weeded": 3})
    with live.inside():
        roll = Roll.objects.get(lot=f"LW-{number}", cut_from=None)
        assert roll.left_mm == 9000 - Section.objects.get(layout__job__number=number).film_mm


def _play(page: Page) -> None:
    """Stepped, played without motion, drawn along by the keyboard."""
    page.get_by_role("button", name=re.compile("Show the simulated cut")).first.click()
    says = page.locator(".player-says").first
    # Film before the first piece may have to be crossed first.
    expect(says).to_contain_text(re.compile("turning the blade|on its way"))
    page.get_by_role("button", name="One line on").click()
    page.get_by_role("button", name="One line on").click()
    expect(says).to_contain_text(re.compile(r"line \d of \d, piece|on its way"))
    drawn = page.locator(".way.cut").evaluate_all("all => all.filter(one => one.getAttribute('d'))")
    assert len(drawn) == 2
    page.get_by_role("button", name="One line back").click()
    page.get_by_role("button", name="Play").click()
    expect(page.get_by_role("button", name="Pause")).to_be_visible()
    # Where the device asks for less motion it goes line by line, to the end.
    expect(page.get_by_role("button", name="Play")).to_be_visible()
    total = says.inner_text().split(":", 2)
    assert total[0] == says.inner_text().split(" of ")[1].split(":")[0]
    slider = page.get_by_role("slider").first
    slider.focus()
    page.keyboard.press("Home")
    expect(says).to_have_text(re.compile(r"^0:00 of "))
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", says.inner_text())
    assert not says.inner_text().startswith("0:00 of 0:00")


def _is(live: Live, number: str, wanted: dict[str, int]) -> None:
    """Wait until the pieces of film are in these states: taps go in by themselves."""
    end = time.monotonic() + 30
    found: dict[str, int] = {}
    while time.monotonic() < end:
        with live.inside():
            states = [cut.state for cut in film.cuts_of(Job.objects.get(number=number))]
        found = {str(state): states.count(state) for state in set(states)}
        if found == wanted:
            return
        time.sleep(0.2)
    pytest.fail(f"{found}, not {wanted}")


def test_a_spoiled_section_is_laid_out_again(live: Live, page_of: PageOf, number: str) -> None:
    with live.inside():
        job = Job.objects.get(number=number)
        outcome = accepted_outcome(job)
        roll = Roll.objects.get(lot=f"LW-{number}", cut_from=None)
        cuts = some_cuts(job, outcome, roll=roll, state=Cut.State.PLACED)
        as_found(cuts)
    page = page_of(Role.INSTALLER)
    page.goto(f"/jobs/{number}/film/1/")
    page.get_by_text("It is spoiled …").click()
    page.get_by_role("radio", name="The feed wandered").check()
    page.get_by_role("checkbox", name="1 Door, left").uncheck()
    page.get_by_label("Film that is lost").fill("1500")
    page.locator("form[id^=spoiled] button").click()
    again = page.get_by_role("button", name="Lay out again")
    expect(again).to_be_visible()
    expect(page.get_by_text("the rest of this roll")).to_be_visible()
    with live.inside():
        assert Layout.objects.get(job__number=number).state == Layout.State.CUT
        roll.refresh_from_db()
        assert roll.left_mm == 7500
    again.click()
    expect(page.get_by_role("heading", name="Layout 2")).to_be_visible()
    with live.inside():
        assert sorted(Layout.objects.get(job__number=number, number=2).pieces) == [2, 3]


def test_pieces_settle_as_the_search_improves(live: Live, page_of: PageOf, number: str) -> None:
    """The page asks once a second and moves the pieces to where they lie by then."""
    with live.inside():
        job = Job.objects.get(number=number)
        cuts = some_cuts(job, accepted_outcome(job), state=Cut.State.PLACED)
        as_found(cuts)
        layout = Layout.objects.select_related("shapes").get(job=job)
        found = layout.found
        assert layout.shapes is not None
        assert found is not None
    page = page_of(Role.INSTALLER)
    asked: list[int] = []

    def answer(route: object) -> None:
        asked.append(1)
        lies = [[p["piece"], 90.0, p["x_mm"] + 300, p["y_mm"] + 200] for p in found["placements"]]
        body = {
            "standing": "searching", "is_live": True, "word": "searching", "percent": 40,
            "shapes": True, "length_mm": 2000, "placements": lies, "sections": [[0, 900]],
            "length": "1.230 m", "bound": "1.000 m", "yield": "61 %",
        }  # fmt: skip
        route.fulfill(body=json.dumps(body), content_type="application/json")  # type: ignore[attr-defined]

    def as_searching(route: object) -> None:
        """The page of a layout as it is while its search goes on."""
        got = route.fetch()  # type: ignore[attr-defined]
        live_part = (
            f'id="live" data-so-far="/jobs/{number}/film/1/so-far/" '
            f'data-shapes="/jobs/{number}/film/1/shapes.json" data-standing="searching"'
        )
        text = got.text().replace(
            'aria-labelledby="on-the-roll"', f'aria-labelledby="on-the-roll" {live_part}'
        )
        text = text.replace(
            '<div class="roll" id="roll">',
            '<progress max="100"></progress><div class="roll" id="roll">',
        )
        route.fulfill(response=got, body=text)  # type: ignore[attr-defined]

    page.route("**/film/1/so-far/", answer)
    page.route("**/film/1/", as_searching)
    page.goto(f"/jobs/{number}/film/1/")
    expect(page.locator("[data-figure=yield]")).to_have_text("61 %")
    path = page.locator("#roll .roll-piece").first
    expect(path).to_have_attribute("data-turn", "90")
    wanted = found["placements"][0]["x_mm"] + 300
    expect(path).to_have_attribute("data-x", re.compile(f"^{wanted:g}"))
    assert asked
    # The page may be read anew just now: an answer that is under way is no fault of the next test.
    page.unroute_all(behavior="ignoreErrors")


def test_the_bay_s_tab(live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, number: str) -> None:
    with live.inside():
        job = Job.objects.get(number=number)
        as_found(some_cuts(job, accepted_outcome(job), state=Cut.State.PLACED))
        in_the_bay(job)
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto(f"/jobs/{number}/bay/?tab=film")
    look_over(page, axe, tmp_path, "bay-film")
