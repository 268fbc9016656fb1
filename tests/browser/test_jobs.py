"""The enquiry and the walk-round in a real browser: found while typing, tapped, and at once."""

import io
from collections.abc import Callable
from datetime import date

import pytest
from PIL import Image
from playwright.sync_api import Page

from browser.conftest import COUNTER_SIZE, TABLET_SIZE, Live
from layflat.base import silent
from layflat.surface import panels_json
from layflat.web.bodies.models import Body, Revision
from layflat.web.bodies.tasks import prepare_body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.enquiry import Enquiry, open_job
from layflat.web.jobs.models import Fault, Job, Vehicle
from layflat.web.jobs.stages import begin_walk_round
from layflat.web.jobs.walk_round import Seen, add_fault
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from web.bodies.conftest import dome, info, ply

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]


def a_job(live: Live, name: str, *, on_walk: bool) -> str:
    """The number of a new job of a customer with that name."""
    with live.inside():
        enquiry = Enquiry(
            name=name,
            phone="+43 1 555-01",
            plate=f"{name[:2].upper()} 204",
            described="Tarnholm Haulbeck",
            wishes="The nose.",
            wanted=date(2031, 5, 24),
        )
        job = open_job(enquiry, shop=the_shop(), who=None)
        if on_walk:
            begin_walk_round(job, who=None)
        return job.number


@pytest.mark.parametrize(("size", "scheme"), [(COUNTER_SIZE, "light"), (TABLET_SIZE, "dark")])
def test_a_customer_is_found_while_typing(
    live: Live, page_of: PageOf, axe: Axe, size: tuple[int, int], scheme: str
) -> None:
    # Found by the first letters already, and nobody else is.
    name = f"{scheme.title()}merrow Oake"
    a_job(live, name, on_walk=False)
    page = page_of(Role.COUNTER, size=size, scheme=scheme)
    page.goto("/jobs/enquiry/")
    axe(page)
    page.get_by_label("Wishes").fill("Mirrors.")
    page.get_by_label("VIN").fill("1M8GDM9A1KP042788")
    page.get_by_label("VIN").press("Tab")
    page.get_by_text("by the North American check digit it would be X").wait_for()
    page.get_by_label("Find a customer").press_sequentially(name.lower())
    page.locator("#customers-found").get_by_text(f"{name[:2].upper()} 204").click()
    assert not page.get_by_label("Plate").is_visible()
    axe(page)
    page.get_by_role("button", name="Open the job").last.click()
    page.get_by_role("heading", name="Job ").wait_for()
    axe(page)
    with live.inside():
        assert Job.objects.filter(vehicle__customer__name=name).count() == 2
        assert Job.objects.order_by("-id")[0].wishes == "Mirrors."


@pytest.mark.parametrize("size", [TABLET_SIZE, COUNTER_SIZE])
def test_a_fault_is_tapped_on_the_drawing_with_its_picture(
    live: Live, page_of: PageOf, axe: Axe, size: tuple[int, int]
) -> None:
    number = a_job(live, f"Tapper {size[0]}", on_walk=True)
    page = page_of(Role.INSTALLER, size=size)
    page.goto(f"/jobs/{number}/walk-round/")
    axe(page)
    page.get_by_text("Right", exact=True).click()
    drawing = page.locator(".view-right")
    box = drawing.bounding_box()
    assert box is not None
    drawing.click(position={"x": box["width"] * 0.55, "y": box["height"] * 0.6})
    page.get_by_text("Marked on: Front door, right").wait_for()
    page.get_by_text("Repaint", exact=True).click()
    picture = io.BytesIO()
    Image.new("RGB", (1200, 900), "#445566").save(picture, "JPEG")
    page.locator("#photo").set_input_files(
        {"name": "IMG_7.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}
    )
    page.get_by_text("Picture taken: IMG_7.jpg").wait_for()
    page.get_by_role("button", name="Note the fault").click()
    page.get_by_text("Fault 1 is noted.").wait_for()
    # The view that was looked at is still shown, with the pennant where it was tapped.
    page.locator(".view-right .mark").wait_for()
    page.get_by_role("img", name="Picture of fault 1").wait_for()
    axe(page)
    with live.inside():
        fault = Fault.objects.get(job__number=number)
        assert fault.across == pytest.approx(0.55, abs=0.01)
        assert fault.along == pytest.approx(0.6, abs=0.02)
        assert fault.photo is not None
    page.get_by_role("link", name="Show the warnings to the customer").click()
    axe(page)
    page.get_by_label("I have read this").check()
    page.get_by_label("Your name").fill("Tapper")
    page.get_by_role("button", name="I acknowledge").click()
    page.get_by_role("button", name="Close the walk-round").click()
    page.get_by_text("The walk-round is closed.").wait_for()
    axe(page)


def test_a_fault_is_tapped_on_the_body_in_3d(live: Live, page_of: PageOf, axe: Axe) -> None:
    number = a_job(live, "Dome", on_walk=True)
    with live.inside():
        kept = [
            keep([data], name=name, media_type="x/x", most_bytes=10_000_000, who=None)
            for name, data in (
                ("dome.ply", ply(dome())),
                ("dome.json", panels_json(info()).encode()),
            )
        ]
        inputs = {"scan": kept[0].sha256, "unit": "mm", "panels": kept[1].sha256}
        made = prepare_body(inputs, silent)
        stored = {
            name: StoredFile.objects.get(sha256=made[name])
            for name in ("light", "lines", "picture")
        }
        body = Body.objects.create(maker="Tarnholm", name="Bell of jobs")
        revision = Revision.objects.create(body=body, number=1, scan=kept[0], **stored)
        Vehicle.objects.filter(jobs__number=number).update(body=revision)
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=("GPU stall due to ReadPixels",))
    page.goto(f"/jobs/{number}/walk-round/")
    page.locator(".viewer.shows-body").wait_for()
    page.get_by_role("button", name="Above", exact=True).click()
    box = page.locator(".viewer-stage canvas").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.46 * box["height"])
    page.get_by_text("Marked on: hood").wait_for()
    axe(page)
    page.get_by_text("Dent", exact=True).click()
    page.get_by_role("button", name="Note the fault").click()
    page.get_by_text("Fault 1 is noted.").wait_for()
    page.locator(".viewer.shows-body").wait_for()
    with live.inside():
        fault = Fault.objects.get(job__number=number)
        assert fault.panel == "hood"
        assert fault.z_mm == pytest.approx(150.0, abs=8.0)
    # The pennant stands on the body again.
    page.locator("#viewer").get_by_text("1", exact=True).wait_for()


def test_the_walk_round_goes_by_keyboard_alone(live: Live, page_of: PageOf) -> None:
    number = a_job(live, "Keys", on_walk=True)
    page = page_of(Role.INSTALLER)
    page.goto(f"/jobs/{number}/walk-round/")
    page.locator("#kind-1").focus()
    page.keyboard.press("ArrowRight")
    page.locator("#panel").focus()
    page.keyboard.type("Hood")
    page.locator("#note").focus()
    page.keyboard.type("a short one")
    page.keyboard.press("Enter")
    page.get_by_text("Fault 1 is noted.").wait_for()
    with live.inside():
        fault = Fault.objects.get(job__number=number)
        assert (fault.kind, fault.panel, fault.note) == ("scratch", "Hood", "a short one")


SEND = """async ([count, same]) => {
  const form = document.querySelector("form.enquiry");
  const sends = Array.from({length: count}, (_, place) => {
    const data = new FormData(form);
    data.set("name", "At once");
    data.set("plate", `AO ${place}`);
    if (!same) data.set("once", String(place).padStart(32, "0"));
    return fetch("/jobs/enquiry/", {method: "POST", body: data});
  });
  return (await Promise.all(sends)).map((answer) => new URL(answer.url).pathname);
}"""


def test_people_at_once_get_numbers_of_their_own_and_double_taps_one(
    live: Live, page_of: PageOf
) -> None:
    page = page_of(Role.COUNTER)
    page.goto("/jobs/enquiry/")
    led_to = page.evaluate(SEND, [6, False])
    assert len(set(led_to)) == 6
    with live.inside():
        assert Job.objects.filter(vehicle__customer__name="At once").count() == 6
    led_to = page.evaluate(SEND, [6, True])
    assert len(set(led_to)) == 1
    with live.inside():
        assert Job.objects.filter(vehicle__customer__name="At once").count() == 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_clash_shows_both_texts(live: Live, page_of: PageOf, axe: Axe, scheme: str) -> None:
    number = a_job(live, f"Clash {scheme}", on_walk=False)
    first, second = page_of(Role.OWNER), page_of(Role.COUNTER, scheme=scheme)
    for page in (first, second):
        page.goto(f"/jobs/{number}/edit/wishes/")
    first.get_by_label("Wishes").fill("Nose and doors.")
    first.get_by_role("button", name="Save").last.click()
    first.get_by_text("Saved: wishes.").wait_for()
    second.get_by_label("Wishes").fill("Nose and mirrors.")
    second.get_by_role("button", name="Save").last.click()
    second.get_by_role("heading", name="Somebody was quicker").wait_for()
    axe(second)
    second.get_by_role("button", name="Save").last.click()
    second.get_by_text("Saved: wishes.").wait_for()
    second.goto(f"/jobs/{number}/history/")
    axe(second)
    second.get_by_role("button", name="Put back").last.click()
    second.get_by_text("It is as it was before.").wait_for()
    with live.inside():
        assert Job.objects.get(number=number).wishes == "Nose and doors."


def test_pennants_close_together_can_both_be_read(live: Live, page_of: PageOf) -> None:
    number = a_job(live, "Close", on_walk=True)
    with live.inside():
        job = Job.objects.get(number=number)
        for across in (0.40, 0.41):
            seen = Seen(kind="chip", view="left", across=across, along=0.6)
            add_fault(job, seen, picture=None, who=None)
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.goto(f"/jobs/{number}/walk-round/")
    boxes = [mark.bounding_box() for mark in page.locator(".view-left .mark .flag").all()]
    low, high = (box for box in boxes if box is not None)
    assert high["y"] + high["height"] <= low["y"] + 1
