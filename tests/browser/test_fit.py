"""The fit in a real browser: point at the panel or at the flat, and the other shows the place.

Where a place of the one lies on the other is computed again by `layflat.film`, which finds it by
another way (the nearest triangle, by libigl). Pixels are counted from what the page says it shows.
"""

import io
import json
import re
from collections.abc import Callable

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Locator, Page, expect

from browser.conftest import COUNTER_SIZE, PHONE_SIZE, TABLET_SIZE, Live
from browser.test_pages import LEAST_PX, SMALL_TARGETS, TARGET_PX
from layflat.film import to_flat, to_surface
from layflat.web.people.models import Role
from web.bodies.conftest import dome
from web.fit.pieces import a_piece, its_files
from web.fit.rows import a_body, a_computation, a_cover, a_job, an_outcome

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
# Chromium says so when a picture of a page without a graphics card is taken.
EXPECTED = ("GPU stall due to ReadPixels",)
ROOM_PX = 16
SIZES = pytest.mark.parametrize(
    ("size", "scheme"), [(COUNTER_SIZE, "light"), (TABLET_SIZE, "dark")], ids=["counter", "tablet"]
)
NEAR_MM = 1.0


def png() -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (96, 60), (220, 215, 204)).save(held, "PNG")
    return held.getvalue()


@pytest.fixture(scope="module")
def address(live: Live) -> str:
    """The fit of a computed cover with two pieces; the second is of the same panel."""
    with live.inside():
        body = a_body()
        cover = a_cover(a_job(body, name="Brindle Ash"), body)
        an_outcome(cover, [a_piece(), a_piece()], body=dome(), picture=png())
        return f"/jobs/{cover.job.number}/cover/{cover.number}/fit/"


def opened(page_of: PageOf, address: str, **options: object) -> Page:
    page = page_of(Role.INSTALLER, expected=EXPECTED, **options)
    page.goto(f"{address}1/")
    expect(page.locator("#fit[data-ready]")).to_be_visible()
    page.evaluate(
        "addEventListener('fit-place', event => (window.pinned ??= []).push(event.detail))"
    )
    return page


def pinned(page: Page) -> dict[str, list[float]]:
    """The place that was pinned last."""
    return page.evaluate("window.pinned.at(-1)")


def count(page: Page) -> int:
    return page.evaluate("(window.pinned ?? []).length")


def map_spot(page: Page, flat: np.ndarray) -> tuple[float, float]:
    """Where a flat point is on the screen, from the file's way to the map and the map's size."""
    chart = json.loads(its_files().flat)["map"]
    a, b, c, d, e, f = chart["to_map"]
    x, y = a * flat[0] + c * flat[1] + e, b * flat[0] + d * flat[1] + f
    box = box_of(page.locator(".fit-map"))
    # Half a numbered ring and a little more stay free on every side.
    wide, high = box["width"] - 2 * ROOM_PX, box["height"] - 2 * ROOM_PX
    scale = min(wide / chart["width_mm"], high / chart["height_mm"])
    left = box["x"] + 0.5 * (box["width"] - scale * chart["width_mm"])
    top = box["y"] + 0.5 * (box["height"] - scale * chart["height_mm"])
    return left + scale * x, top + scale * y


def box_of(place: Locator) -> dict[str, float]:
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    assert box is not None
    return dict(box)


def cross_at(page: Page, where: str) -> np.ndarray:
    """Where the cross of one of the two pictures stands, in pixels of the screen."""
    moved = page.locator(f"{where} .fit-cross.pinned").get_attribute("transform") or ""
    x, y = (float(value) for value in moved.removeprefix("translate(").rstrip(")").split())
    picture = ".fit-map" if where == "#flat" else "#surface canvas"
    box = page.locator(picture).bounding_box()
    assert box is not None
    return np.array([box["x"] + x, box["y"] + y])


def tap(page: Page, x: float, y: float, *, is_touch: bool) -> None:
    if is_touch:
        page.touchscreen.tap(x, y)
    else:
        page.mouse.click(x, y)


@SIZES
def test_a_tap_on_the_flat_shows_the_place_on_the_panel(
    page_of: PageOf, address: str, axe: Axe, size: tuple[int, int], scheme: str
) -> None:
    page = opened(page_of, address, size=size, scheme=scheme)
    axe(page)
    flat = a_piece().flat
    for wanted in (np.array([150.0, 90.0]), np.array([-180.0, -120.0])):
        box_of(page.locator(".fit-map"))
        tap(page, *map_spot(page, wanted), is_touch=size != COUNTER_SIZE)
        place = pinned(page)
        # A click is on whole pixels, each of which is some millimetres of film.
        assert np.linalg.norm(np.array(place["flat"]) - wanted) < 6.0
        there = to_surface(flat, np.array([place["flat"]]))[0]
        assert np.linalg.norm(np.array(place["point"]) - there) < NEAR_MM
        spot = map_spot(page, np.array(place["flat"]))
        assert np.linalg.norm(cross_at(page, "#flat") - spot) < 1.0
        expect(page.locator("#surface .fit-cross.pinned")).to_be_visible()
        # The cross in 3D stands where tapping finds the same place again.
        before, at = count(page), cross_at(page, "#surface")
        tap(page, *at, is_touch=size != COUNTER_SIZE)
        assert count(page) == before + 1
        again = pinned(page)
        assert np.linalg.norm(np.array(again["point"]) - there) < 4.0
    face = pinned(page)["face"]
    stretch = flat.strain.greatest[face] - 1.0
    expect(page.locator("#numbers")).to_contain_text(f"{100 * abs(stretch):.1f}\u00a0%")
    expect(page.locator("#numbers")).to_contain_text("from the edge")
    axe(page)


@SIZES
def test_a_tap_on_the_panel_shows_the_place_in_the_flat(
    page_of: PageOf, address: str, size: tuple[int, int], scheme: str
) -> None:
    page = opened(page_of, address, size=size, scheme=scheme)
    flat = a_piece().flat
    box = box_of(page.locator("#surface canvas"))
    for across, down in ((0.4, 0.4), (0.58, 0.6)):
        x, y = box["x"] + across * box["width"], box["y"] + down * box["height"]
        tap(page, x, y, is_touch=size != COUNTER_SIZE)
        place = pinned(page)
        there = to_flat(flat, np.array([place["point"]]))[0]
        assert np.linalg.norm(np.array(place["flat"]) - there) < NEAR_MM
        assert np.linalg.norm(cross_at(page, "#flat") - map_spot(page, there)) < 1.0
        assert np.linalg.norm(cross_at(page, "#surface") - [x, y]) < 1.5


def test_pointing_with_a_mouse_shows_and_a_tap_stays(page_of: PageOf, address: str) -> None:
    page = opened(page_of, address)
    page.mouse.move(*map_spot(page, np.array([100.0, 0.0])))
    pointed = page.locator("#surface .fit-cross").first
    expect(pointed).to_have_attribute("visibility", "visible")
    page.mouse.move(2, 2)
    expect(pointed).to_have_attribute("visibility", "hidden")
    assert count(page) == 0
    page.mouse.click(*map_spot(page, np.array([100.0, 0.0])))
    page.mouse.move(2, 2)
    expect(page.locator("#surface .fit-cross.pinned")).to_be_visible()
    expect(pointed).to_have_attribute("visibility", "hidden")
    # Beside the film is no place.
    box = box_of(page.locator(".fit-map"))
    page.mouse.click(box["x"] + 3, box["y"] + 3)
    assert count(page) == 1


def test_keys_move_the_mark_and_jump_to_the_worst_places(page_of: PageOf, address: str) -> None:
    page = opened(page_of, address)
    places = json.loads(its_files().flat)["places"]
    button = page.locator("#places button").first
    button.focus()
    page.keyboard.press("Enter")
    assert pinned(page)["face"] == places[0]["face"]
    expect(page.locator("#surface .fit-cross.pinned")).to_be_visible()
    expect(page.locator("#numbers")).to_contain_text(f"{100 * places[0]['value']:.1f}\u00a0%")
    expect(button).to_contain_text(places[0]["sentence"])
    # A warning with a place is said once, where one can jump to it.
    expect(page.locator(".fit-warnings li")).to_have_text(["Two people."])
    page.locator("#places button").last.click()
    assert pinned(page)["face"] == places[-1]["face"]
    page.locator(".fit-map").focus()
    start = to_flat(a_piece().flat, np.array([[0.0, -120.0, 137.0]]))[0]
    page.mouse.click(*map_spot(page, start))
    from_there = np.array(pinned(page)["flat"])
    page.keyboard.press("Shift+ArrowRight")
    step = np.array(pinned(page)["flat"]) - from_there
    a, b, c, d, *_ = json.loads(its_files().flat)["map"]["to_map"]
    right = np.array([a * step[0] + c * step[1], b * step[0] + d * step[1]])
    assert right[0] > 5.0
    assert abs(right[1]) < 0.1
    # The map grows about the mark, and a tap still finds its place.
    page.get_by_role("button", name="Larger").click()
    page.mouse.click(*cross_at(page, "#flat"))
    moved = np.array(pinned(page)["flat"]) - from_there - step
    assert np.linalg.norm(moved) < 4.0


def test_the_panel_bears_the_colours_of_the_map(page_of: PageOf, address: str) -> None:
    """The middle of the dome has the colour, nearly, that the map has there; light and dark."""
    for scheme in ("light", "dark"):
        page = opened(page_of, address, scheme=scheme)
        page.wait_for_timeout(300)
        shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        flat = to_flat(a_piece().flat, np.array([[0.0, 120.0, 137.0]]))[0]
        page.mouse.click(*map_spot(page, flat))
        pairs = [
            shot.getpixel(tuple(cross_at(page, w).round().astype(int).tolist()))
            for w in ("#flat", "#surface")
        ]
        # Shape darkens by a little, in all three alike.
        assert np.abs(np.diff(np.array(pairs, float), axis=0)).max() < 30


@SIZES
def test_the_overview_leads_to_the_pieces(
    page_of: PageOf, address: str, axe: Axe, size: tuple[int, int], scheme: str
) -> None:
    page = page_of(Role.INSTALLER, expected=EXPECTED, size=size, scheme=scheme)
    page.goto(address)
    expect(page.locator("#vehicle[data-ready]")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="1 Hood, open").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{address}1/")
    page.get_by_role("link", name="the piece after").click()
    page.wait_for_url(f"**{address}2/")
    page.get_by_role("navigation", name="Where this is").get_by_role("link", name="Fit").click()
    page.wait_for_url(f"**{address}")
    expect(page.locator("#vehicle[data-ready]")).to_be_visible()
    page.get_by_role("button", name="Above", exact=True).click()
    page.wait_for_timeout(200)
    box = box_of(page.locator("#vehicle canvas"))
    tap(
        page,
        box["x"] + 0.5 * box["width"],
        box["y"] + 0.4 * box["height"],
        is_touch=size != COUNTER_SIZE,
    )
    page.wait_for_url(re.compile(r"/fit/\d/$"))


@pytest.mark.parametrize("size", [COUNTER_SIZE, TABLET_SIZE, PHONE_SIZE])
@pytest.mark.parametrize("name", ["", "1/"])
def test_pages_fit_the_screen_and_gloves(
    page_of: PageOf, address: str, size: tuple[int, int], name: str
) -> None:
    page = page_of(Role.INSTALLER, expected=EXPECTED, size=size)
    page.goto(f"{address}{name}")
    expect(page.locator("[data-ready]")).to_be_visible()
    if name:
        page.locator("#places button").first.click()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert page.evaluate(SMALL_TARGETS, [TARGET_PX, LEAST_PX]) == []


def test_paper_has_the_map_its_scale_and_what_to_mind(page_of: PageOf, address: str) -> None:
    page = opened(page_of, address)
    page.emulate_media(media="print")
    for shown in (".fit-map", ".scale-bar", "#places button >> nth=0"):
        expect(page.locator(shown)).to_be_visible()
    for hidden in ("#surface", ".fit-steps", ".fit-zoom"):
        expect(page.locator(hidden)).to_be_hidden()
    paper = page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1


@pytest.mark.parametrize("state", ["", "running", "failed"])
def test_a_cover_without_a_fit_says_so(live: Live, page_of: PageOf, axe: Axe, state: str) -> None:
    with live.inside():
        body = a_body()
        cover = a_cover(a_job(body, name=f"Wren {state}"), body)
        if state:
            a_computation(cover, state, error="It broke off." if state == "failed" else "")
        at = f"/jobs/{cover.job.number}/cover/{cover.number}/fit/"
    page = page_of(Role.COUNTER)
    page.goto(at)
    axe(page)
    if state == "running":
        expect(page.get_by_role("progressbar")).to_be_visible()
        with live.inside():
            type(cover.computation).objects.filter(pk=cover.computation_id).update(
                state="stopped", ended_at=timezone.now()
            )
    expect(page.locator(".empty")).to_be_visible()
    expect(page.get_by_role("link", name="To the cover, to have it computed")).to_be_visible()
