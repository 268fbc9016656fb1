"""The drill in a real browser: a section sent, its power lost in the middle, looked at, laid anew.

The plotter is a stand-in with its own reader of HP-GL (tests/send/stand_in.py) on a socket.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import TABLET_SIZE, Live
from browser.test_cutting import SLOW_MS
from browser.test_pages import look_over
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.people.models import Role
from layflat.web.stock.models import Roll
from send.stand_in import Plotter, SocketPlotter
from web.bayed import a_roll
from web.cutting.patterned import a_job, to_be_cut
from web.sending.machined import a_machine

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
LENGTH_MM = 9000
SLOW = 0.05
"""Units of way at a time: the stand-in cuts until it is told that its power is gone."""


@pytest.fixture
def there() -> Iterator[SocketPlotter]:
    with SocketPlotter(Plotter(size=400), speed=SLOW) as plotter:
        yield plotter  # type: ignore[misc]


def test_power_lost_in_the_middle(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, there: SocketPlotter
) -> None:
    with live.inside():
        job, _ = a_job("2035-0001", "hood", "mirror-left", "door-left")
        to_be_cut(job, a_roll(lot="LW-2035", length_mm=LENGTH_MM))
        a_machine(there.address, name="Long table")
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto("/jobs/2035-0001/film/1/")
    page.get_by_role("link", name=re.compile("^At the machine")).click()
    page.get_by_label(re.compile("The film is led in straight")).check()
    page.get_by_role("button", name="Send section 1").click()
    words = page.locator(".live-words")
    expect(words).to_contain_text(re.compile("bytes$"), timeout=SLOW_MS)
    page.get_by_role("button", name="Pause before the next cut").click()
    expect(page.get_by_role("button", name="Go on", exact=True)).to_be_visible()
    look_over(page, axe, tmp_path, "live")
    page.get_by_role("button", name="Go on", exact=True).click()
    there.drop_at = 0.0  # power and line are gone, wherever the knife is
    expect(page.get_by_role("heading", name="Piece by piece")).to_be_visible(timeout=SLOW_MS)
    expect(page.get_by_text("The line was lost")).to_be_visible()
    look_over(page, axe, tmp_path, "came")
    for number, said in ((1, "Whole"), (2, "Lost"), (3, "Lost")):
        page.get_by_role("group", name=f"Piece {number} is").get_by_label(said).check()
    page.get_by_label(re.compile("^Film that is gone")).fill("640")
    page.get_by_label("I have looked at every piece").check()
    page.get_by_role("button", name="Book it so").click()
    expect(page.get_by_text("To be laid out again: 2 Hood, 3 Mirror-left")).to_be_visible()
    with live.inside():
        section = Section.objects.get(layout__job=job)
        assert section.state == Section.State.SPOILED
        states = Cut.objects.filter(section=section).order_by("number")
        assert list(states.values_list("state", flat=True)) == ["cut", "lost", "lost"]
        assert Roll.objects.get(lot="LW-2035").left_mm == LENGTH_MM - 640
    page.get_by_role("link", name="To layout 1").click()
    page.get_by_role("button", name="Lay out again").click()
    expect(page.get_by_role("heading", name="Layout 2")).to_be_visible()
    with live.inside():
        assert sorted(Layout.objects.get(job=job, number=2).pieces) == [2, 3]
