"""Inspection in a real browser: a flag where it was tapped, mended, looked at again.

Where a place of the vehicle lies in the flat is computed again by `layflat.film`, which finds it by
another way (the nearest triangle, by libigl).
"""

import itertools
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.film import to_flat
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role
from web.bayed import laid, steps_done
from web.fit.pieces import a_piece, its_files
from web.laying.shop import ready_to_lay, with_real_files

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
EXPECTED = ("GPU stall due to ReadPixels",)
NEAR_MM = 2.0
WANTED = (150.0, 90.0)
_numbers = itertools.count(1)


@pytest.fixture
def all_laid(live: Live) -> tuple[Job, list[Cut]]:
    """A job whose film the installer has laid."""
    with live.inside():
        job, cuts = ready_to_lay(f"2031-09{next(_numbers):02}")
        with_real_files(cuts[0].piece.outcome)
        for cut in cuts:
            laid(cut, Person.objects.get(name=Role.INSTALLER.value))
        steps_done(job, Kind.LAY)
        return job, cuts


def on_map(page: Page, piece: int, flat: tuple[float, float]) -> tuple[float, float]:
    """Where a flat point is on the screen, from the file's way to the map and the map's size."""
    chart = json.loads(its_files().flat)["map"]
    a, b, c, d, e, f = chart["to_map"]
    x, y = a * flat[0] + c * flat[1] + e, b * flat[0] + d * flat[1] + f
    picture = page.locator(f"#check-piece-{piece} .check-map")
    # In the middle, clear of what stays in sight at the head and the foot.
    picture.evaluate("element => element.scrollIntoView({ block: 'center' })")
    box = picture.bounding_box()
    assert box is not None
    scale = min(box["width"] / chart["width_mm"], box["height"] / chart["height_mm"])
    left = box["x"] + 0.5 * (box["width"] - scale * chart["width_mm"])
    top = box["y"] + 0.5 * (box["height"] - scale * chart["height_mm"])
    return left + scale * x, top + scale * y


def test_a_flag_goes_from_where_it_is_tapped_to_its_end(
    live: Live, all_laid: tuple[Job, list[Cut]], page_of: PageOf, axe: Axe, tmp_path: Path
) -> None:
    job, (hood, _) = all_laid
    address = f"/jobs/{job.number}/bay/#check"
    page, bay = page_of(Role.COUNTER, size=TABLET_SIZE), page_of(Role.INSTALLER, size=TABLET_SIZE)
    bay.goto(address)
    expect(bay.locator("#check").get_by_text("People overlook their own faults")).to_be_visible()
    page.goto(address)
    page.get_by_role("button", name="Begin the inspection").click()
    expect(page.get_by_text("Corin inspects since")).to_be_visible()
    page.touchscreen.tap(*on_map(page, 1, WANTED))
    form = page.locator("#flag-form")
    expect(form.locator("#flag-place")).to_have_text("Marked on hood.")
    form.get_by_text("Dirt under film").click()
    expect(form.get_by_role("radio", name="Wait")).to_be_disabled()
    form.get_by_text("Lifted edge").click()
    expect(form.get_by_role("radio", name="Press down")).to_be_checked()
    form.get_by_label("Size, mm").fill("12")
    form.get_by_role("button", name="Note the flag").click()
    pennant = page.locator("#check-piece-1 .check-pennant:not(.wanted)")
    expect(pennant).to_have_text("1")
    expect(form).to_be_hidden()
    with live.inside():
        flag = Flag.objects.get(job=job)
        assert np.hypot(flag.x_mm - WANTED[0], flag.y_mm - WANTED[1]) < NEAR_MM
        assert (flag.cut, flag.kind, flag.remedy, flag.size_mm) == (
            hood,
            "lifted edge",
            "press",
            12,
        )
    look_over(page, axe, tmp_path, "check")
    page.set_viewport_size({"width": TABLET_SIZE[0], "height": TABLET_SIZE[1]})
    bay.reload()
    bay.get_by_text("Mended", exact=True).click()
    bay.get_by_role("button", name="1 is pressed down").click()
    expect(bay.get_by_text("Waits for the inspector")).to_be_visible()
    page.reload()
    expect(pennant).to_have_class("check-pennant mended")
    page.get_by_role("button", name="1 is gone").click()
    expect(page.get_by_text("None is open.")).to_be_visible()
    for number in (1, 2):
        page.get_by_role("button", name=f"{number} is looked at all over").click()
        expect(page.locator(f"#check-state-{number}")).to_contain_text("checked by Corin")
    page.get_by_role("button", name="Finish the inspection").click()
    expect(page.get_by_text("Every piece is checked and no flag is open.")).to_be_visible()
    with live.inside():
        job.refresh_from_db()
        assert job.stage == Stage.CHECKED


def test_keys_place_a_flag(all_laid: tuple[Job, list[Cut]], page_of: PageOf) -> None:
    job, _ = all_laid
    page = page_of(Role.COUNTER)
    page.goto(f"/jobs/{job.number}/bay/#check")
    picture = page.locator("#check-piece-2 .check-map")
    picture.focus()
    places = "() => [...document.querySelectorAll('#flag-form [name$=_mm]')].map(one => one.value)"
    # The page is brought up to date now and then; what is marked stays.
    page.keyboard.press("ArrowRight")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_event("response", lambda answer: answer.url.endswith("/bay/"))
    x, y = (float(value) for value in page.evaluate(places)[:2])
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowUp")
    moved = [float(value) for value in page.evaluate(places)[:2]]
    assert moved[0] != x
    assert moved[1] != y
    assert page.locator("#flag-cut").evaluate("list => list.selectedOptions[0].text") == "2 roof"
    page.keyboard.press("Enter")
    expect(page.locator("#flag-form [name=kind]").first).to_be_focused()


def test_a_tap_on_the_vehicle_finds_the_place_in_the_flat(
    all_laid: tuple[Job, list[Cut]], page_of: PageOf
) -> None:
    job, (hood, _) = all_laid
    page = page_of(Role.COUNTER, size=COUNTER_SIZE, expected=EXPECTED)
    page.goto(f"/jobs/{job.number}/bay/#check")
    page.evaluate("addEventListener('surface-tap', event => (window.tapped = event.detail))")
    page.get_by_text("On the vehicle in 3D").click()
    canvas = page.locator("#check-stage canvas")
    canvas.evaluate("element => element.scrollIntoView({ block: 'center' })")
    box = canvas.bounding_box()
    assert box is not None
    page.get_by_role("button", name="Above").click()
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.42 * box["height"])
    expect(page.locator("#flag-place")).to_have_text("Marked on hood.")
    assert page.locator("#flag-cut").input_value() == str(hood.pk)
    at = page.evaluate("[window.tapped.x, window.tapped.y, window.tapped.z]")
    expected = to_flat(a_piece().flat, np.array([at]))[0]
    found = [float(page.locator(f"#flag-form [name={axis}_mm]").input_value()) for axis in "xy"]
    assert np.hypot(*(np.array(found) - expected)) < NEAR_MM
