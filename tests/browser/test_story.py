"""From the enquiry to the second acceptance, as a shop and its customer live through it.

Nothing is written into the database but the body and what things cost: the rest is tapped, typed
and computed. The counter works on a large screen, the installer on a tablet in a dark hall, the
customer reads on a phone.
"""

import hashlib
import io
import itertools
import json
import re
from collections.abc import Callable, Iterator
from decimal import Decimal

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from browser.conftest import COUNTER_SIZE, PHONE_SIZE, TABLET_SIZE, Live
from browser.domes import dome_in_library
from browser.test_cover import COMPUTED_MS, EXPECTED, chosen, from_above, opened, tap
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Role, Shop

pytestmark = pytest.mark.long

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
CUSTOMER = "Perrin Oake"
MAY_COVER = "The maker allows film there"
WHY = "The customer wants all of the right side."
COSTS = {
    "contact": "555 0100",
    "tax_rate": Decimal("0.2"),
    "film_per_metre": Decimal("62.00"),
    "rate_per_hour": Decimal("78.00"),
    "consumables": Decimal("35.00"),
    "roll_width_mm": 610.0,
}
_BODIES = itertools.count(1)


@pytest.fixture
def body(live: Live, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a body in the library, while the shop's prices are written down."""
    name = f"Skylark dome {next(_BODIES)}"
    dome_in_library(live, tmp_path_factory.mktemp("dome"), name=name)
    with live.inside():
        before = Shop.objects.values(*COSTS).get()
        Shop.objects.update(**COSTS)
    yield name
    with live.inside():
        Shop.objects.update(**before)


def photo() -> dict[str, object]:
    """What a tablet's camera hands over."""
    data = io.BytesIO()
    Image.new("RGB", (1600, 1200), "#7a3b2e").save(data, "JPEG")
    return {"name": "IMG_0042.jpg", "mimeType": "image/jpeg", "buffer": data.getvalue()}


class Story:
    """One job and the people around it, each with a browser of their own.

    Attributes:
        number: of the job, once it is open.
    """

    def __init__(self, live: Live, page_of: PageOf, axe: Axe) -> None:
        self.live, self.axe = live, axe
        self.counter = page_of(Role.COUNTER, size=COUNTER_SIZE, expected=EXPECTED)
        self.installer = page_of(Role.INSTALLER, size=TABLET_SIZE, scheme="dark", expected=EXPECTED)
        self.customer = page_of(None, size=PHONE_SIZE, expected=EXPECTED)
        self.number = ""

    def enquiry(self, body: str) -> None:
        """The counter writes down who asks and for which vehicle."""
        page = self.counter
        page.goto("/")
        page.get_by_role("link", name="New enquiry").first.click()
        page.get_by_label("Name", exact=True).fill(CUSTOMER)
        page.get_by_label("Phone").fill("+43 1 555-01")
        page.get_by_label("Plate").fill("LW 204 K")
        page.get_by_label("Body in the library").press_sequentially(body.lower())
        page.locator("#bodies-found").get_by_text(re.compile(f"{body}$")).click()
        page.get_by_label("Wishes").fill("Both sides, or one if that is too dear.")
        self.axe(page)
        page.get_by_role("button", name="Open the job").last.click()
        head = page.get_by_role("heading", name=re.compile(r"^Job \d")).inner_text()
        self.number = head.removeprefix("Job ")
        self.axe(page)

    def walk_round(self) -> None:
        """The installer taps a fault that was painted over; the customer reads what follows."""
        page = self.installer
        page.goto("/")
        page.locator(f"a[href*='{self.number}']").first.click()
        page.get_by_role("button", name="Begin the walk-round").click()
        page.locator(".viewer.shows-body").wait_for()
        page.get_by_role("button", name="Above", exact=True).click()
        tap(page, 0.5, 0.25)
        page.get_by_text("Marked on: right").wait_for()
        page.get_by_text("Repaint", exact=True).click()
        page.locator("#photo").set_input_files(photo())
        page.get_by_text("Picture taken: IMG_0042.jpg").wait_for()
        page.get_by_label("Note", exact=True).fill("Edge of paint along the gap")
        self.axe(page)
        page.get_by_role("button", name="Note the fault").click()
        page.get_by_text("Fault 1 is noted.").wait_for()
        page.get_by_role("img", name="Picture of fault 1").wait_for()
        page.locator(".viewer.shows-body").wait_for()
        self.axe(page)
        expect(page.get_by_role("button", name="Close the walk-round")).to_have_count(0)

        self.counter.goto(f"/jobs/{self.number}/links/")
        self.axe(self.counter)
        address = self.link(self.counter)
        customer = self.customer
        customer.goto(address)
        self.axe(customer)
        expect(customer.get_by_role("img", name="Picture of fault 1")).to_be_visible()
        customer.get_by_label("I have read this").check()
        customer.get_by_label("Your name").fill(CUSTOMER)
        customer.get_by_role("button", name="I acknowledge").click()
        customer.get_by_text("Nothing waits for you here").wait_for()
        self.axe(customer)

        page.reload()
        page.get_by_text(f"acknowledged by {CUSTOMER}").wait_for()
        page.get_by_role("button", name="Close the walk-round").click()
        page.get_by_text("The walk-round is closed.").wait_for()
        with self.live.inside():
            fault = Fault.objects.get(job__number=self.number)
            assert (fault.panel, fault.photo is not None) == ("right", True)
            assert fault.z_mm == pytest.approx(880.0, abs=25.0)

    def link(self, page: Page) -> str:
        """The address of a private link that the page makes."""
        page.get_by_role("button", name="Make a private link").first.click()
        return page.get_by_label("Address to copy").first.input_value()

    def first_cover(self) -> None:
        """One side, with an edge wrapped and film over the emblem; computed in the background."""
        page = self.counter
        page.goto(f"/jobs/{self.number}/")
        page.get_by_role("link", name="Choose the cover").click()
        self.axe(page)
        page.get_by_text("Bare vehicle").click()
        page.get_by_label("Title, as the customer reads it").fill("One side")
        page.get_by_role("button", name="Begin", exact=True).click()
        page.locator(".viewer.shows-body").wait_for()
        from_above(page)
        tap(page, 0.5, 0.6)
        expect(page.locator("#panel-title")).to_have_text("Left")
        page.get_by_label("wrapped").first.check()
        expect(page.locator("#said")).to_contain_text("wrapped round by 8 mm.")
        page.locator("#keep-out-0-over").click()
        page.get_by_text("An emblem can hide a radar.").wait_for()
        page.locator("#keep-out-0-why").fill(MAY_COVER)
        page.get_by_role("button", name="Film over it", exact=True).click()
        expect(page.locator("#said")).to_contain_text(f"film over “emblem”: {MAY_COVER}.")
        expect(page.locator(".figures")).to_have_attribute("data-figures", "estimate")
        self.axe(page)
        page.locator("#compute").click()
        # It is under way, or over at once where the same was computed before.
        expect(page.locator("#compute")).to_have_count(0)
        left = chosen(self.live, self.number).of("left")
        assert left is not None
        assert (dict(left.film_over), len(left.edges)) == ({"emblem": MAY_COVER}, 1)

    def second_cover(self) -> None:
        """A copy that also covers the other side, up to a line that is drawn on it."""
        page = self.counter
        page.goto(f"/jobs/{self.number}/covers/")
        page.get_by_text("Rename, copy, save or drop").click()
        page.get_by_role("button", name="Copy as a new alternative").click()
        page.locator(".viewer.shows-body").wait_for()
        page.locator(".viewer-panels [data-panel=right]").click()
        expect(page.locator("#said")).to_contain_text("Right: covered as a whole.")
        page.locator("#extent-line").click()
        says = page.locator("#drawing-says")
        expect(says).to_contain_text("near an edge of the right")
        for across, along in ((0.3, 0.45), (0.5, 0.4), (0.7, 0.45)):
            tap(page, across, along)
        expect(page.locator("#drawing-done")).to_be_enabled()
        page.locator("#drawing-done").click()
        expect(says).to_contain_text("the side of the right that gets film")
        tap(page, 0.5, 0.62)
        expect(page.locator("#said")).to_contain_text("Right: covered up to a line.")
        page.locator("#compute").click()
        self.computed(2)
        self.axe(page)
        self.computed(1)
        page.goto(f"/jobs/{self.number}/covers/")
        page.get_by_text("Rename, copy, save or drop").last.click()
        title = page.get_by_label("Title", exact=True).last
        title.fill("Both sides")
        page.get_by_role("button", name="Rename").last.click()
        page.get_by_role("heading", name="Both sides").wait_for()
        expect(page.locator("[data-figures=computed]")).to_have_count(2)
        self.axe(page)
        right = chosen(self.live, self.number, 2).of("right")
        assert right is not None
        assert not right.is_whole

    def computed(self, *covers: int) -> None:
        """Wait on each cover's page until its computation is over."""
        for cover in covers:
            address = f"/jobs/{self.number}/cover/{cover}/"
            if address not in self.counter.url:
                self.counter.goto(address)
            self.counter.locator("[data-figures=computed]").wait_for(timeout=COMPUTED_MS)

    def fit(self) -> None:
        """The installer looks at what laying it will ask, and reads no price."""
        page = self.installer
        page.goto(f"/jobs/{self.number}/cover/2/fit/")
        page.locator("#vehicle[data-ready]").wait_for()
        self.axe(page)
        expect(page.get_by_text("EUR")).to_have_count(0)

    def offer(self, version: int) -> None:
        """The counter makes a version of both alternatives."""
        page = self.counter
        page.goto(f"/jobs/{self.number}/offer/")
        self.axe(page)
        page.get_by_role("button", name=f"Make version {version}").click()
        page.get_by_text(f"Version {version} is made.").wait_for()
        self.axe(page)

    def read(self, address: str) -> None:
        """The customer opens the link and the paper behind it, both with both alternatives."""
        page = self.customer
        page.goto(address)
        page.get_by_role("heading", name=re.compile("^Offer")).wait_for()
        page.locator(".viewer").first.scroll_into_view_if_needed()
        page.locator(".viewer.shows-body").first.wait_for()
        for title in ("One side", "Both sides"):
            expect(page.get_by_role("heading", name=title)).to_be_visible()
        expect(page.get_by_text(MAY_COVER).first).to_be_visible()
        expect(page.get_by_text("acknowledged by Perrin Oake")).to_be_visible()
        self.axe(page)
        paper = page.get_by_role("link", name="Open it as a PDF").get_attribute("href")
        assert paper is not None
        answer = page.request.get(paper)
        assert (answer.status, answer.headers["content-type"]) == (200, "application/pdf")
        text = "\n".join(
            sheet.extract_text() for sheet in PdfReader(io.BytesIO(answer.body())).pages
        )
        assert all(words in text for words in ("One side", "Both sides", CUSTOMER))

    def accept(self) -> str:
        """The customer says yes to both sides; the hash of it as the phone shows it."""
        page = self.customer
        page.get_by_label("I choose this Both sides").check()
        page.get_by_label("Your name").fill(CUSTOMER)
        page.get_by_label("I have read the points above").check()
        page.get_by_role("button", name="Accept the offer").click()
        page.get_by_role("heading", name="What you accepted").wait_for()
        self.axe(page)
        assert page.context.cookies() == []
        return page.locator(".accepted .mono").inner_text()

    def hear(self, version: int, short: str) -> None:
        """The counter finds the yes, and the same hash, which is that of the frozen content."""
        page = self.counter
        page.goto(f"/jobs/{self.number}/")
        page.get_by_text(f"accepted by {CUSTOMER}").first.wait_for()
        self.axe(page)
        page.goto(f"/jobs/{self.number}/offer/")
        page.get_by_text(f"{CUSTOMER} accepted “Both sides”").first.wait_for()
        expect(page.get_by_text(f"through a private link, hash {short}")).to_be_visible()
        self.axe(page)
        with self.live.inside():
            assert Job.objects.get(number=self.number).stage == Stage.ACCEPTED
            offer = Offer.objects.get(job__number=self.number, version=version)
            said = Acceptance.objects.get(offer=offer)
            # RFC 8785 of texts and whole numbers is Python's compact JSON with sorted keys.
            text = json.dumps(
                offer.content, ensure_ascii=False, sort_keys=True, separators=(",", ":")
            )
            digest = hashlib.sha256(text.encode()).hexdigest()
            assert said.sha256 == offer.sha256 == digest
            assert short.replace(" ", "") == digest[:12]

    def reopen(self, address: str) -> None:
        """Open the accepted job again, cover all of the right side, and compute it."""
        page = self.counter
        page.get_by_text("Open the accepted job again").click()
        page.get_by_label("Why").fill(WHY)
        page.get_by_role("button", name="Open it again").click()
        page.wait_for_url(re.compile(r"/jobs/[\d-]+/$"))
        page.goto(f"/jobs/{self.number}/history/")
        expect(page.get_by_text(WHY).first).to_be_visible()
        self.axe(page)
        # The link that the customer kept says what holds meanwhile.
        self.customer.goto(address)
        self.customer.get_by_text("is preparing a new version.").wait_for()
        self.axe(self.customer)
        opened(page, f"/jobs/{self.number}/cover/2/?panel=right")
        page.locator("#extent-whole").click()
        expect(page.locator("#said")).to_contain_text("Right: covered as a whole.")
        expect(page.locator(".figures")).to_have_attribute("data-figures", "estimate")
        page.locator("#compute").click()
        self.computed(2)

    def difference(self, address: str) -> None:
        """Shop and customer read what the second version changes."""
        page = self.counter
        page.get_by_text("What changed since version 1").click()
        told = re.compile("“Both sides”, Right: .* instead of ")
        expect(page.get_by_text(told).first).to_be_visible()
        self.axe(page)
        customer = self.customer
        customer.goto(address)
        customer.get_by_role("heading", name="What is new").wait_for()
        expect(customer.get_by_text("since version 1, which was accepted")).to_be_visible()
        expect(customer.get_by_text(told).first).to_be_visible()
        to_pay = re.compile("“Both sides”: to pay EUR [\\d,.]+ instead of EUR [\\d,.]+")
        expect(customer.get_by_text(to_pay)).to_be_visible()


def test_from_an_enquiry_to_a_second_acceptance(
    live: Live, page_of: PageOf, axe: Axe, body: str
) -> None:
    story = Story(live, page_of, axe)
    story.enquiry(body)
    story.walk_round()
    story.first_cover()
    story.second_cover()
    story.fit()
    story.offer(1)
    address = story.link(story.counter)
    story.read(address)
    first = story.accept()
    story.hear(1, first)
    story.reopen(address)
    story.offer(2)
    story.difference(address)
    story.read(address)
    second = story.accept()
    story.hear(2, second)
    assert first != second
    with live.inside():
        said = Acceptance.objects.filter(offer__job__number=story.number)
        assert {yes.offer.version for yes in said.select_related("offer")} == {1, 2}
