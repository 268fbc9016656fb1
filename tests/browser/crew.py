"""People of a workshop at one car, each with a browser, and the car's job as it was accepted."""

import io
import re
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import transaction
from django.test import override_settings
from PIL import Image
from playwright.sync_api import FilePayload, Locator, Page, expect

from browser.conftest import COUNTER_SIZE, PHONE_SIZE, TABLET_SIZE, Live
from browser.domes import dome_in_library
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices, PanelChoice, to_json
from layflat.web.cover.models import Cover
from layflat.web.cover.outcomes import ask_for, fill
from layflat.web.jobs.models import Job
from layflat.web.offer.accepting import accept
from layflat.web.offer.making import Wanted, draft, keep_version, paper_of
from layflat.web.people.models import Person, Role, Shop
from layflat.web.taps.models import Tap
from layflat.web.work.models import OVER
from web.covered import a_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
COSTS = {
    "contact": "555 0100",
    "tax_rate": Decimal("0.2"),
    "film_per_metre": Decimal("62.00"),
    "rate_per_hour": Decimal("78.00"),
    "consumables": Decimal("35.00"),
    "roll_width_mm": 610.0,
}
"""What things cost the shop's customers."""
EXPECTED = ("ERR_INTERNET_DISCONNECTED", "Failed to load resource", "GPU stall due to ReadPixels")
"""Of a browser whose network is cut, or that draws without a graphics card."""
SLOW_MS = 240_000
"""For what waits for a worker, or for a page that asks now and then."""


def accepted_job(live: Live, folder: Path, *, number: str, customer: str, plate: str) -> None:
    """A job whose customer accepted film on both panels of a small body, by the app's own ways.

    Args:
        live: the running app, whose shop has prices; its worker computes the cover.
        folder: an empty one.
        number, customer, plate: of the job.
    """
    key = dome_in_library(live, folder, name=f"Skylark dome {number}")
    with live.inside():
        counter = Person.objects.get(name=Role.COUNTER)
        job = a_job(number, body=Revision.objects.get(pk=key), customer=customer, plate=plate)
        choices = Choices((PanelChoice(panel="left"), PanelChoice(panel="right")))
        cover = Cover.objects.create(
            job=job,
            number=1,
            title="Both sides",
            body=job.vehicle.body,
            choices=to_json(choices),
        )
        with override_settings(LAYOUT_S=1.0):
            made = ask_for(cover, who=counter)
        for _ in range(600):
            made.refresh_from_db()
            if made.state in OVER:
                break
            time.sleep(0.1)
        outcome = fill(cover)
        assert outcome is not None, made.state
        with transaction.atomic():
            shop = Shop.objects.get()
            held = Job.objects.select_for_update().get(pk=job.pk)
            wanted = Wanted(covers=(cover.pk,))
            version = draft(held, wanted, shop=shop, version=1)
            paper = paper_of(version, shop=shop)
            offer = keep_version(held, wanted, version, paper, shop=shop, who=counter)
            accept(held, seen=offer.sha256, alternative=1, name=customer, shop=shop)


def photo(colour: str = "#7a3b2e") -> FilePayload:
    """What a tablet's camera hands over."""
    data = io.BytesIO()
    Image.new("RGB", (800, 600), colour).save(data, "JPEG")
    return FilePayload(name="IMG_0042.jpg", mimeType="image/jpeg", buffer=data.getvalue())


def strip(page: Page) -> Locator:
    """What a page says of its taps."""
    return page.locator("#taps-strip [data-taps-words]")


def until(page: Page, what: str) -> None:
    """Wait for what a function in the page says; the page's policy forbids that it waits itself."""
    for _ in range(600):
        if page.evaluate(what):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never: {what}")


class Crew:
    """One car and the people around it.

    Attributes:
        owner, counter, installer, customer: a page of each, of a browser of their own.
        taps: how many taps came in until now, refused ones too.
    """

    def __init__(self, live: Live, page_of: PageOf, axe: Axe, number: str) -> None:
        self.live, self.axe, self.number = live, axe, number
        self.counter = page_of(Role.COUNTER, size=COUNTER_SIZE, expected=EXPECTED)
        self.owner = page_of(Role.OWNER, size=TABLET_SIZE, expected=EXPECTED)
        self.installer = page_of(Role.INSTALLER, size=TABLET_SIZE, scheme="dark", expected=EXPECTED)
        self.customer = page_of(None, size=PHONE_SIZE)
        self.taps = 0

    @property
    def bay(self) -> str:
        """The address of the bay's page."""
        return f"/jobs/{self.number}/bay/"

    def tap(self, page: Page, button: str, *, within: str = "main") -> None:
        """Tap a button whose name begins so, and wait until the server has the tap."""
        place = page.locator(within)
        place.get_by_role("button", name=re.compile(f"^{button}")).first.click()
        self.taps += 1
        self.came_in(page)

    def came_in(self, page: Page) -> None:
        """Wait until every tap until now came in, and the page says so."""
        for _ in range(600):
            with self.live.inside():
                count = Tap.objects.filter(job__number=self.number).count()
            if count >= self.taps:
                break
            page.wait_for_timeout(50)
        assert count == self.taps
        expect(strip(page)).to_have_text("All sent", timeout=SLOW_MS)

    def last_tap(self) -> Tap:
        """The tap that came in last."""
        with self.live.inside():
            found = Tap.objects.filter(job__number=self.number).order_by("pk").last()
        assert found is not None
        return found

    def refused(self, words: str) -> None:
        """The last tap did not go in, for a reason that begins so."""
        tap = self.last_tap()
        assert (tap.state, tap.says[: len(words)]) == (Tap.State.REFUSED, words)

    def keep(self, page: Page, button: str, *, within: str) -> None:
        """Tap while the network is gone."""
        place = page.locator(within)
        place.get_by_role("button", name=re.compile(f"^{button}")).first.click()
        self.taps += 1

    def sign(self, page: Page) -> None:
        """One stroke over the field."""
        pad = page.locator("#pad")
        pad.scroll_into_view_if_needed()
        box = pad.bounding_box()
        assert box is not None
        at = [
            (box["x"] + x * box["width"], box["y"] + y * box["height"])
            for x, y in ((0.2, 0.6), (0.35, 0.3), (0.5, 0.7), (0.65, 0.4))
        ]
        page.mouse.move(*at[0])
        page.mouse.down()
        for x, y in at[1:]:
            page.mouse.move(x, y, steps=6)
        page.mouse.up()
        expect(page.locator("#pad-says")).to_have_text("1 stroke is drawn.")
