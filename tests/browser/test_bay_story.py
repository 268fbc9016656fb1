"""From a roll of film to the hand-back and a recall, as a shop and its customer live through it.

The owner, the counter at a desk and the installer with a tablet in the bay; the customer reads on a
phone. The job, its computed cover and its accepted offer are made by the app's own functions (the
way to them is lived through in test_story.py); from there on everything is tapped and typed, but
for times: what takes minutes or a night in a workshop takes a second here, by `quick`.
"""

import hashlib
import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from browser import screens
from browser.car_record import the_record_holds
from browser.conftest import Live
from browser.crew import COSTS, SLOW_MS, Axe, Crew, PageOf, accepted_job, photo, strip, until
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Step, Tool, Zone
from layflat.web.handback.models import Passport
from layflat.web.people.models import Shop
from layflat.web.taps.models import Tap

pytestmark = pytest.mark.long

CUSTOMER, PLATE, NUMBER = "Perrin Oake", "LW 209 K", "2033-0209"
LOT, LENGTH_MM = "LW-7731-209", 6000
"""Of this story alone: other tests' cars carry film from other lots."""
MITT = "blue mitt 209"


@pytest.fixture
def accepted(live: Live, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The number of the story's job; the shop has prices and a mitt while it lasts."""
    with live.inside():
        before = Shop.objects.values(*COSTS).get()
        Shop.objects.update(**COSTS)
        Tool.objects.create(name=MITT, zone=Zone.PAINT)
    folder = tmp_path_factory.mktemp("dome")
    accepted_job(live, folder, number=NUMBER, customer=CUSTOMER, plate=PLATE)
    yield NUMBER
    with live.inside():
        Shop.objects.update(**before)
        Tool.objects.filter(name=MITT).update(is_retired=True)


class Story(Crew):
    """What they do, in order."""

    # Stock and the plan

    def receive(self) -> None:
        """The counter writes down a roll that came."""
        page = self.counter
        page.goto("/")
        page.get_by_role("link", name="Stock").click()
        page.get_by_role("link", name="Receive a roll").first.click()
        page.get_by_label("Film").fill("Clear 150")
        page.get_by_role("textbox", name="Lot").fill(LOT)
        page.get_by_label("Width").fill("610")
        page.get_by_label("Length").fill("6")
        page.get_by_label("Place").fill("rack 2")
        self.axe(page)
        page.get_by_role("button", name="Receive it").click()
        expect(page.get_by_role("status")).to_contain_text("6.000 m of Clear 150")
        self.axe(page)

    def plan(self) -> None:
        """The counter finds the car by its plate, and plans its steps."""
        page = self.counter
        page.get_by_label("Find anything").fill(PLATE)
        page.get_by_label("Find anything").press("Enter")
        page.get_by_role("link", name=self.number).click()
        page.get_by_role("link", name="Plan the bay").click()
        page.get_by_label("Sensitive brakes").check()
        tar = page.locator(".way-step", has=page.get_by_role("heading", name="Tar and glue"))
        tar.get_by_text("Leave it out").click()
        tar.get_by_label("Left out for this car").check()
        tar.get_by_label("Why").fill("none seen")
        self.axe(page)
        page.get_by_role("button", name="Plan the bay").click()
        page.get_by_text("The bay is planned.").wait_for()
        self.axe(page)
        self.quick()

    def quick(self) -> None:
        """Have times that are minutes or a night be a second: waiting is no part of this test."""
        with self.live.inside():
            steps = Step.objects.filter(job__number=self.number)
            steps.exclude(dwell_least_s=None).update(dwell_least_s=1)
            steps.exclude(rest_s=0).update(rest_s=1)

    # Film

    def lay_out(self, layout: int) -> None:
        """From the form that asks for a layout to its programs."""
        page = self.installer
        # Of this story's lot: other stories receive rolls in the same shop.
        page.get_by_role("radio", name=re.compile(LOT)).first.check()
        page.get_by_role("button", name="Lay out").click()
        expect(page.get_by_role("heading", name=f"Layout {layout}")).to_be_visible()
        standing = page.locator("#standing")
        expect(standing).to_have_text("Found, not kept yet", timeout=SLOW_MS)
        if layout == 1:
            self.axe(page)
        page.get_by_role("button", name="Keep this layout").click()
        expect(page.get_by_role("region", name="Section 1")).to_be_visible(timeout=SLOW_MS)

    def first_layout(self) -> None:
        """The installer finds the car on the board, lays its pieces out, keeps what was found."""
        page = self.installer
        page.goto("/")
        page.locator(f"a[href*='{self.number}']").first.click()
        page.get_by_role("link", name=re.compile("the film: layouts")).click()
        page.get_by_role("radio", name=re.compile(LOT)).check()
        self.axe(page)
        self.lay_out(1)
        expect(page.locator("#roll .roll-piece")).to_have_count(2)
        self.axe(page)

    def spoiled(self) -> None:
        """The feed wanders: one piece is lost and laid out again at once, the other is good."""
        page = self.installer
        page.get_by_text("It is spoiled …").click()
        page.get_by_role("radio", name="The feed wandered").check()
        page.get_by_role("checkbox", name="2 Right").uncheck()
        self.tap(page, "It is spoiled")
        self.tap(page, r"Weeded\W+2 Right")
        page.get_by_role("heading", name="Lost, to be laid out again").wait_for()
        expect(page.locator("#standing")).to_have_text("Cut and spoiled")
        expect(page.get_by_text("Drop this layout")).to_have_count(0)
        self.axe(page)
        self.lay_out(2)
        self.tap(page, "It is cut")
        self.tap(page, r"Weeded\W+1 Left")
        assert self.film() == [("1", "lost"), ("1", "weeded"), ("2", "weeded")]

    def film(self) -> list[tuple[str, str]]:
        """The pieces of film by number, with their states."""
        with self.live.inside():
            cuts = Cut.objects.filter(section__layout__job__number=self.number)
            rows = cuts.order_by("number", "attempt").values_list("number", "state")
            return [(str(number), state) for number, state in rows]

    # In the bay

    def wash(self) -> None:
        """Rinse and foam, brakes covered, then iron removal, which nobody begins before."""
        page = self.installer
        page.goto(f"/jobs/{self.number}/")
        page.get_by_role("link", name="Go on in the bay").click()
        iron = page.locator("#begin-iron-removal button")
        expect(page.locator("#step-iron-removal")).to_contain_text("covering sensitive brakes")
        self.axe(page)
        self.dwell("rinse")
        expect(iron).to_be_disabled()
        # As on a page that is not up to date: the server knows.
        iron.evaluate("one => { one.disabled = false; delete one.form.dataset.tapNeeds; }")
        self.tap(page, "Begin", within="#begin-iron-removal")
        self.refused("Iron is removed after sensitive brakes are covered")
        for button in ("Begin", "Done"):
            self.tap(page, button, within="#step-cover-brakes")
        expect(page.locator("#over-cover-brakes")).to_be_visible()
        self.dwell("iron-removal")

    def dwell(self, step: str) -> None:
        """Something is put on the car, works for its time, and is rinsed."""
        page = self.installer
        self.tap(page, "Put on, start the time", within=f"#step-{step}")
        timer = page.locator("[data-timer]")
        expect(timer.locator(".timer-left .state")).to_have_text("rinse now", timeout=SLOW_MS)
        self.tap(page, "Rinsed", within="#timers")
        expect(timer).to_have_count(0)
        self.tap(page, "Done", within=f"#step-{step}")
        expect(page.locator(f"#over-{step}")).to_be_visible()

    def dropped(self) -> None:
        """A mitt falls down; who has not heard of it cannot take it before it is laundered."""
        page, away = self.installer, self.owner
        away.goto(self.bay)
        expect(strip(away)).to_have_text("All sent")
        away.locator("#tool-contact-wash").select_option(label=f"{MITT} (paint)")
        away.context.set_offline(True)
        self.tap(page, "Begin", within="#step-contact-wash")
        page.locator("#tool-contact-wash").select_option(label=f"{MITT} (paint)")
        self.tap(page, "Take it", within="#step-contact-wash")
        self.tap(page, f"It fell on the floor {MITT}")
        expect(page.get_by_text(f"{MITT}: fell on the floor")).to_be_visible()
        self.axe(page)
        self.keep(away, "Take it", within="#take-contact-wash")
        expect(strip(away)).to_contain_text("1 tap kept on this tablet")
        away.context.set_offline(False)
        self.came_in(away)
        self.refused(f"{MITT} fell on the floor")
        self.settle(away)
        self.tap(page, f"It was laundered {MITT}")
        expect(page.get_by_role("button", name=f"It fell on the floor {MITT}")).to_be_visible()
        self.tap(page, "Done", within="#step-contact-wash")
        expect(page.locator("#over-cut-and-weed")).to_be_visible()

    def settle(self, page: Page) -> None:
        """Both taps that did not go in are shown to a person, who says how they were settled."""
        told = page.locator("#bay-told")
        expect(told).to_contain_text("2 taps of this job did not go in.", timeout=SLOW_MS)
        self.axe(page)
        told.get_by_role("link").click()
        page.get_by_role("heading", name="Did not go in").wait_for()
        self.axe(page)
        for how in ("The brakes are covered now.", "Took another mitt."):
            one = page.locator(".did-not").filter(has_text=self.number).first
            one.get_by_text("Settled otherwise").click()
            one.get_by_label("How it was settled").fill(how)
            one.get_by_role("button", name="Settled").click()
            page.get_by_text("It is noted how that was settled.").wait_for()
        # Other stories in the same shop may have left taps of theirs.
        expect(page.locator(".did-not").filter(has_text=self.number)).to_have_count(0)

    def without_network(self) -> None:
        """Two steps are worked through and a piece is laid while the network is gone."""
        page = self.installer
        until(page, "() => navigator.serviceWorker.controller !== null")
        before = self.taps
        page.context.set_offline(True)
        for step in ("dry", "panel-wipe"):
            self.keep(page, "Begin", within=f"#begin-{step}")
            self.keep(page, "Done", within=f"#done-{step}")
        page.locator("#tab-lay").click()
        piece = page.locator("#lay-1")
        piece.get_by_text("Odile").click()
        self.keep(page, "Begin 1", within="#lay-1")
        piece.get_by_text("What was hard, a picture").click()
        piece.get_by_label("What was hard").fill("the emblem")
        self.keep(page, "1 is laid", within="#lay-1")
        expect(strip(page)).to_contain_text("6 taps kept on this tablet")
        page.reload()
        expect(strip(page)).to_contain_text("6 taps kept on this tablet")
        self.axe(page)
        with self.live.inside():
            assert Tap.objects.filter(job__number=self.number).count() == before
        page.context.set_offline(False)
        self.came_in(page)
        with self.live.inside():
            taps = Tap.objects.filter(job__number=self.number).order_by("pk")[before:]
            found = [(tap.act, tap.fields.get("step", ""), tap.state) for tap in taps]
        assert found == [
            ("gates.begin", "dry", "done"),
            ("gates.done", "dry", "done"),
            ("gates.begin", "panel-wipe", "done"),
            ("gates.done", "panel-wipe", "done"),
            ("laying.began", "", "done"),
            ("laying.ended", "", "done"),
        ]
        expect(page.get_by_text("1 of 2 laid")).to_be_visible(timeout=SLOW_MS)

    def lay(self) -> None:
        """The owner lays the other piece; the night passes; the installer heats the edges."""
        self.counter.goto(f"{self.bay}#check")
        expect(self.counter.locator("#check-round")).to_contain_text("when all film is laid")
        page = self.owner
        page.goto(f"{self.bay}#lay")
        self.tap(page, "Begin 2", within="#lay-2")
        expect(page.locator("#lay-state-2")).to_contain_text("in hand: Odile", timeout=SLOW_MS)
        page.locator("#lay-2").get_by_label("Picture", exact=True).set_input_files(photo())
        self.tap(page, "2 is laid", within="#lay-2")
        expect(page.get_by_text("2 of 2 laid")).to_be_visible(timeout=SLOW_MS)
        self.axe(page)
        page = self.installer
        page.reload()
        self.heat_edges(page)

    def heat_edges(self, page: Page) -> None:
        """Once the film has rested, warm its edges."""
        page.locator("#tab-steps").click()
        expect(page.locator("#begin-heat-edges button")).to_be_enabled(timeout=SLOW_MS)
        for button in ("Begin", "Done"):
            self.tap(page, button, within="#step-heat-edges")
        expect(page.locator("#over-heat-edges")).to_be_visible()

    # Inspection

    def inspect(self) -> None:
        """Who laid film does not inspect it; the counter does, and flags dirt under one piece."""
        page = self.installer
        page.locator("#tab-check").click()
        expect(page.locator("#check-round")).to_contain_text("People overlook their own faults")
        self.axe(page)
        page.get_by_text("There is nobody else").click()
        page.get_by_label("Why the own work is inspected").fill("-")
        self.tap(page, "Inspect the own work")
        self.refused("Ines had 1 Left of this job in hand")
        page = self.counter
        page.reload()
        self.tap(page, "Begin the inspection")
        expect(page.get_by_text("Corin inspects since")).to_be_visible()
        self.tap(page, "1 is looked at all over")
        expect(page.locator("#check-state-1")).to_contain_text("checked by Corin")
        chart = page.locator("#check-piece-2 .check-map")
        chart.evaluate("element => element.scrollIntoView({ block: 'center' })")
        box = chart.bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"])
        form = page.locator("#flag-form")
        expect(form.locator("#flag-place")).to_have_text("Marked on Right.")
        form.get_by_text("Dirt under film").click()
        form.get_by_role("radio", name="Make anew").check()
        form.get_by_label("Size, mm").fill("4")
        form.get_by_label("Note").fill("grit by the sensor")
        form.get_by_label("Picture").set_input_files(photo("#333333"))
        self.axe(page)
        self.tap(page, "Note the flag")
        expect(page.locator("#flag-state-1")).to_have_text(
            re.compile("^its film came off; the new one is laid out and cut on “Film”"),
            timeout=SLOW_MS,
        )
        self.axe(page)
        page.goto(f"/jobs/{self.number}/hand-back/")
        expect(page.get_by_role("region", name="Still missing")).to_contain_text(
            "Flag 1 is not ended."
        )
        expect(page.get_by_role("button", name="Hand the car back")).to_have_count(0)
        self.axe(page)

    def remake(self) -> None:
        """The piece goes back into layout, is cut, weeded and laid; the counter looks again."""
        page = self.installer
        page.reload()
        page.locator("#tab-film").click()
        page.locator("#film").get_by_role("link", name="Lay out").click()
        expect(page.get_by_text("lost: flag 1, dirt under film")).to_be_visible()
        self.lay_out(3)
        self.tap(page, "It is cut")
        self.tap(page, r"Weeded\W+2 Right")
        page.goto(f"{self.bay}#lay")
        for button in ("Begin 2", "2 is laid"):
            self.tap(page, button, within="#lay-2")
        expect(page.get_by_text("2 of 2 laid")).to_be_visible(timeout=SLOW_MS)
        # The new film rests, too, and its edges are heated.
        page.reload()
        self.heat_edges(page)
        page = self.counter
        page.goto(f"{self.bay}#check")
        expect(page.locator("#flag-state-1")).to_contain_text("made anew, laid by Ines")
        self.tap(page, "2 is looked at all over")
        self.tap(page, "1 is gone")
        expect(page.get_by_text("Every piece is looked at and no flag is open.")).to_be_visible(
            timeout=SLOW_MS
        )
        self.tap(page, "Finish the inspection")
        expect(page.get_by_text("Every piece is checked and no flag is open.")).to_be_visible(
            timeout=SLOW_MS
        )
        self.axe(page)

    # Hand-back and what comes after

    def hand_back(self) -> str:
        """The last step, a picture, care, a signature; the address of the passport."""
        self.installer.goto(self.bay)
        self.tap(self.installer, "Done", within="#step-final-wipe")
        page = self.counter
        page.goto(f"/jobs/{self.number}/")
        page.get_by_role("link", name="Hand the car back").click()
        page.get_by_label("What it shows").fill("From the left")
        page.get_by_label("Camera or file").set_input_files(photo("#225588"))
        page.get_by_role("button", name="Keep the picture").click()
        page.get_by_role("heading", name="Nothing is missing").wait_for()
        self.axe(page)
        care = page.get_by_role("link", name="Print the care sheet").get_attribute("href")
        assert page.request.get(str(care)).body().startswith(b"%PDF-")
        page.get_by_label("Care is explained").check()
        self.sign(page)
        page.get_by_role("button", name="Hand the car back").click()
        page.get_by_role("heading", name="Handed back").wait_for()
        expect(page.get_by_alt_text(f"Signature of {CUSTOMER}")).to_be_visible()
        self.axe(page)
        address = page.get_by_label("Address of the passport").input_value()
        page.get_by_role("link", name="Passport, version 1").click()
        page.get_by_role("heading", name="The film on the car").wait_for()
        self.axe(page)
        return address

    def read(self, address: str) -> None:
        """The customer reads the passport, whose hash is that of the record that can be had."""
        page = self.customer
        page.goto(address)
        expect(page.get_by_text("This record is as it was made.")).to_be_visible()
        self.axe(page)
        for part in ("The film on the car", "What inspection found"):
            page.locator("summary", has_text=part).click()
        pieces = page.locator("ul.pieces").first.get_by_role("listitem")
        expect(pieces).to_have_count(2)
        for piece, title, hands in zip(
            pieces.all(), ("Left", "Right"), (("Ines", "Odile"), ("Ines",)), strict=True
        ):
            expect(piece).to_contain_text(title)
            expect(piece).to_contain_text(f"lot {LOT}")
            expect(piece).to_contain_text("Checked: Corin")
            laid = piece.get_by_text("Laid:").locator("..")
            for name in ("Ines", "Odile"):
                told = expect(laid)
                (told.to_contain_text if name in hands else told.not_to_contain_text)(name)
        flag = page.get_by_role("listitem").filter(has_text="Flag 1:")
        for words in ("dirt under film", "grit by the sensor", "Ended: Corin", "made anew"):
            expect(flag).to_contain_text(words)
        self.axe(page)
        shown = page.locator(".whole-hash").inner_text()
        link = page.get_by_role("link", name=re.compile("^Record")).get_attribute("href")
        record = page.request.get(str(link)).body()
        assert shown == hashlib.sha256(record).hexdigest()
        assert page.context.cookies() == []
        with self.live.inside():
            passport = Passport.objects.get(job__number=self.number)
            # RFC 8785 of texts and whole numbers is Python's compact JSON with sorted keys.
            text = json.dumps(
                passport.content, ensure_ascii=False, sort_keys=True, separators=(",", ":")
            )
            assert record == text.encode()
            assert shown == passport.sha256

    def recall(self) -> None:
        """The maker calls a lot back: the owner types it, and sees the car."""
        page = self.owner
        page.goto("/")
        page.get_by_label("Find anything").fill(LOT)
        page.get_by_label("Find anything").press("Enter")
        cars = page.get_by_role("region", name="Cars that carry film from it")
        car = cars.get_by_role("listitem").filter(has_text=self.number).first
        for words in (PLATE, CUSTOMER, "+43 1 555-01", "passport version 1"):
            expect(car).to_contain_text(words)
        self.axe(page)


def test_from_a_roll_to_the_hand_back_and_a_recall(
    live: Live, page_of: PageOf, axe: Axe, accepted: str
) -> None:
    story = Story(live, page_of, axe, accepted)
    people = ("owner", "counter", "installer", "customer")
    with screens.traced({name: getattr(story, name) for name in people}):
        story.receive()
        story.plan()
        story.first_layout()
        story.spoiled()
        story.wash()
        story.dropped()
        story.without_network()
        story.lay()
        story.inspect()
        story.remake()
        story.read(story.hand_back())
        story.recall()
    with live.inside():
        the_record_holds(accepted, lot=LOT, length_mm=LENGTH_MM)
