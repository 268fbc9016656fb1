"""A template from paper to the second car, in a real browser: photographed, cut, noted, revised."""

import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import transaction
from django.utils import timezone
from playwright.sync_api import FilePayload, Page, expect

from browser.conftest import TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.pattern import pattern_area_mm2
from layflat.web.bodies.models import Body
from layflat.web.corrections.reading import current_of, facts_for, revisions_of
from layflat.web.cutting.film import good_cuts
from layflat.web.cutting.ticking import tick_cut, tick_weeded
from layflat.web.gates.models import Kind
from layflat.web.jobs.models import Job
from layflat.web.laying import doing as laying
from layflat.web.noting.models import FitNote
from layflat.web.offer.accepting import accept
from layflat.web.offer.making import Wanted, draft, keep_version, last_version, paper_of
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptRevision
from layflat.web.people.models import Person, Role, Shop
from web.bayed import a_roll, in_the_bay, steps_done
from web.covered import a_job
from web.cutting.patterned import to_be_cut
from web.tracing.photographed import CAP, HOLE, cap_jpeg

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
SLOW_MS = 240_000
"""Computing waits for a worker that may be busy."""
NUMBER = "2076-0001"


@pytest.fixture
def body(live: Live) -> int:
    """A vehicle of which there is no scan."""
    with live.inside():
        return Body.objects.create(maker="Tarnholm", name="Teasel").pk


def test_a_template_becomes_film_and_its_notes_the_next_pattern(
    live: Live, body: int, page_of: PageOf, axe: Axe, tmp_path: Path
) -> None:
    page = page_of(Role.COUNTER)
    photographed(page, body, axe, tmp_path)
    with live.inside():
        kept = KeptRevision.objects.get(kept__body=body)
        # The renderer's own outline; a line 0.1 mm off all round is 0.1 of its length.
        true = CAP.outline.area - HOLE.area
        area = pattern_area_mm2(pattern_of(kept))
        assert area == pytest.approx(true, abs=0.2 * CAP.outline.length)
        a_job(NUMBER, body=kept.kept.body.revisions.get())
    page.goto(f"/jobs/{NUMBER}/cover/")
    page.get_by_role("radio", name=re.compile("Every kept pattern")).check()
    page.get_by_role("button", name="Begin").click()
    page.locator("#compute").click()
    page.locator("[data-figures=computed]").wait_for(timeout=SLOW_MS)
    with live.inside():
        on_the_car()
    noted(page_of(Role.INSTALLER, size=TABLET_SIZE), axe, tmp_path)
    with live.inside():
        note = FitNote.objects.get(job__number=NUMBER)
        assert (note.kind, note.mm) == ("short", [1.5])
    corrected(page, body, axe, tmp_path)
    with live.inside():
        vehicle = Body.objects.get(pk=body)
        (piece,) = current_of(vehicle)
        revision = revisions_of(facts_for(vehicle, [piece]))[piece]
        # One note of one car, by itself: most of it is taken, none of it more than once.
        assert 0.5 < revision.summary.largest_mm < 1.6
        assert pattern_area_mm2(revision.pattern) > area


def photographed(page: Page, body: int, axe: Axe, folder: Path) -> None:
    """The frame is printed, two pictures are read, the one doubt is settled, the pattern kept."""
    page.goto(f"/bodies/{body}/patterns/")
    page.get_by_role("link", name="From a photograph of a template").click()
    address = page.get_by_role("link", name="eight sheets, A4").get_attribute("href")
    assert page.request.get(address).body().startswith(b"%PDF")
    page.get_by_label("Pictures of one template").set_input_files(
        [
            FilePayload(name=f"side-{side}.jpg", mimeType="image/jpeg", buffer=cap_jpeg(side))
            for side in (0, 1)
        ]
    )
    page.get_by_label("What a steel rule says").fill("1 = 200\n4 = 200")
    look_over(page, axe, folder, "bring")
    page.get_by_role("button", name="Read the template").click()
    look = page.get_by_role("region", name="Look here")
    expect(look).to_be_visible(timeout=SLOW_MS)
    look_over(page, axe, folder, "template")
    # A tap on the picture is a place in its own millimetres.
    page.set_viewport_size({"width": 1280, "height": 800})
    page.locator("#map").click()
    expect(page.get_by_label("Places, x and y")).to_have_value(re.compile(r"^-?\d+\.\d -?\d+\.\d$"))
    look.get_by_role("button", name="It is right").click()
    expect(page.get_by_role("region", name="What was put right")).to_be_visible(timeout=SLOW_MS)
    expect(page.get_by_role("heading", name="How exact it is")).to_be_visible(timeout=SLOW_MS)
    expect(look).to_have_count(0)
    page.get_by_label("What the piece is called").fill("Mirror cap")
    page.get_by_role("button", name="Keep the pattern").click()
    expect(page.get_by_role("heading", name="Mirror cap")).to_be_visible()
    look_over(page, axe, folder, "kept")
    page.set_viewport_size({"width": 1280, "height": 800})


def on_the_car() -> None:
    """The cover is accepted, laid out, cut, weeded and laid."""
    job = Job.objects.get(number=NUMBER)
    who = Person.objects.get(name=Role.INSTALLER.value)
    # Prices for this offer alone; the shop of the other tests stays as it is.
    shop = Shop.objects.get()
    shop.currency, shop.film_per_metre, shop.rate_per_hour = "EUR", Decimal(62), Decimal(78)
    asked = Wanted(covers=(job.covers.get().pk,))
    made = draft(job, asked, shop=shop, version=last_version(job) + 1)
    offer = keep_version(job, asked, made, paper_of(made, shop=shop), shop=shop, who=who)
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        accept(held, seen=offer.sha256, alternative=1, name="Perrin Oake", shop=shop, heard_by=who)
    job.refresh_from_db()
    layout = to_be_cut(job, a_roll(lot="LW-teasel", length_mm=4000), who=who)
    for section in layout.sections.all():
        tick_cut(section, who=who, at=timezone.now())
        tick_weeded(
            section.cuts.select_related("section__layout__job", "piece", "weeded_by"),
            who=who,
            at=timezone.now(),
        )
    in_the_bay(job)
    steps_done(job, Kind.IRON, Kind.CUT)
    for cut in good_cuts(job):
        laying.begin(job, cut, hands=[who], who=who, at=timezone.now())
        laying.end(job, cut, hard="", picture=None, who=who, at=timezone.now())


def noted(page: Page, axe: Axe, folder: Path) -> None:
    """One tap at the right edge: too short by 1.5 mm."""
    page.goto(f"/jobs/{NUMBER}/bay/#fit")
    picture = page.locator(".note-map")
    picture.evaluate("element => element.scrollIntoView({ block: 'center' })")
    box = picture.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    expect(page.locator("#note-place")).to_have_text("Marked on Mirror cap.")
    form = page.locator("#note-form")
    form.get_by_text("Too short", exact=True).click()
    form.get_by_label("Short by").fill("1,5")
    form.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("Too short by 1.5 mm")).to_be_visible(timeout=SLOW_MS)
    look_over(page, axe, folder, "noted")


def corrected(page: Page, body: int, axe: Axe, folder: Path) -> None:
    """The next revision is made of the note, looked at, and kept."""
    page.goto(f"/bodies/{body}/corrections/")
    page.get_by_role("link", name="Mirror cap").click()
    page.get_by_role("button", name="Make the next revision of these notes").click()
    keep = page.get_by_role("button", name="Cut it so from now on")
    expect(keep).to_be_visible(timeout=SLOW_MS)
    look_over(page, axe, folder, "found")
    keep.click()
    expect(page.get_by_text(re.compile("Cut by revision 1"))).to_be_visible()
