"""A body as people see it: brought by a form, prepared meanwhile, turned and tapped in 3D."""

import io
import re
from collections.abc import Callable

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, TABLET_SIZE
from layflat.surface import panels_json
from layflat.web.people.models import Role
from web.bodies.conftest import dome, info, ply

PageOf = Callable[..., Page]
# Chromium says so when a picture of a page without a graphics card is taken.
EXPECTED = ("GPU stall due to ReadPixels",)
PREPARED_MS = 120_000


@pytest.fixture(scope="session")
def address() -> dict[str, str]:
    """Where the body stands, once the first test has brought it."""
    return {}


def listen(page: Page) -> None:
    page.evaluate(
        "addEventListener('surface-tap', event => (window.taps ??= []).push(event.detail))"
    )


def taps(page: Page) -> list[dict[str, object]]:
    return page.evaluate("window.taps ?? []")


def opened(page_of: PageOf, address: dict[str, str], **options: object) -> Page:
    page = page_of(Role.INSTALLER, expected=EXPECTED, **options)
    if not address:
        bring(page_of, address)
    page.goto(address["body"])
    expect(page.locator(".viewer.shows-body")).to_be_visible()
    listen(page)
    return page


def bring(page_of: PageOf, address: dict[str, str]) -> None:
    """Add the body by its forms and wait until it is seen."""
    page = page_of(Role.COUNTER, expected=EXPECTED)
    page.goto("/bodies/new/")
    page.get_by_label("Maker").fill("Tarnholm")
    page.get_by_label("Model").fill("Dome")
    page.get_by_role("button", name="Save and add its scan").click()
    scan = {"name": "dome.ply", "mimeType": "application/octet-stream", "buffer": ply(dome())}
    page.locator("input[name=scan]").set_input_files(scan)
    panels = panels_json(info()).encode()
    page.locator("input[name=panels]").set_input_files(
        {"name": "dome.json", "mimeType": "application/json", "buffer": panels}
    )
    page.get_by_label("The scan's unit").select_option("mm")
    page.get_by_role("button", name="Add revision").click()
    # The page changes by itself when the preparation is done.
    expect(page.locator(".viewer.shows-body")).to_be_visible(timeout=PREPARED_MS)
    address["body"] = page.url


def colours(page: Page) -> int:
    """How many colours the 3D view shows, without its buttons."""
    page.wait_for_timeout(300)
    image = Image.open(io.BytesIO(page.locator(".viewer-stage canvas").screenshot()))
    upper = image.convert("RGB").crop((0, 0, image.width, round(0.7 * image.height)))
    return len(upper.getcolors(1 << 20) or ())


@pytest.mark.parametrize(
    ("size", "scheme"), [(COUNTER_SIZE, "light"), (TABLET_SIZE, "dark")], ids=["counter", "tablet"]
)
def test_the_body_is_seen_and_a_tap_names_the_panel(
    page_of: PageOf,
    address: dict[str, str],
    axe: Callable[[Page], None],
    size: tuple[int, int],
    scheme: str,
) -> None:
    page = opened(page_of, address, size=size, scheme=scheme)
    axe(page)
    page.get_by_role("button", name="Above", exact=True).click()
    assert colours(page) > 100
    box = page.locator(".viewer-stage canvas").bounding_box()
    assert box is not None
    # The middle of the free part above the buttons is the top of the dome.
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.46 * box["height"])
    (tap,) = taps(page)
    assert tap["panel"] == "hood"
    assert (abs(tap["x"]) < 60, abs(tap["y"]) < 60) == (True, True)
    assert abs(tap["z"] - 150.0) < 8
    expect(page.locator("#panel-hood")).to_have_attribute("open", "")
    expect(page.get_by_role("button", name="Hood")).to_have_attribute("aria-pressed", "true")


def test_keys_turn_the_body_and_choose_a_panel(page_of: PageOf, address: dict[str, str]) -> None:
    page = opened(page_of, address)
    canvas = page.locator(".viewer-stage canvas")
    before = canvas.screenshot()
    canvas.focus()
    for key in ("ArrowLeft", "ArrowUp", "+"):
        page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert canvas.screenshot() != before
    page.keyboard.press("Home")
    page.get_by_role("button", name="Hood").focus()
    expect(page.locator(".viewer-says")).to_have_text("Hood")
    page.keyboard.press("Enter")
    (tap,) = taps(page)
    assert tap["panel"] == "hood"


def test_pennants_stand_on_their_places_and_fade_behind(
    page_of: PageOf, address: dict[str, str]
) -> None:
    page = opened(page_of, address)
    page.get_by_role("button", name="Above", exact=True).click()
    marks = [
        {"x": 0, "y": 0, "z": 150, "label": "1", "kind": "chip"},
        {"x": 0, "y": 0, "z": 60, "label": "2", "kind": "dent"},
    ]
    page.evaluate(
        "detail => document.querySelector('.viewer')"
        ".dispatchEvent(new CustomEvent('viewer-mark', {detail}))",
        marks,
    )
    first = page.get_by_role("button", name="1, chip")
    expect(first).to_be_visible()
    expect(page.get_by_role("button", name="2, dent")).to_have_class("viewer-pennant behind")
    expect(first).to_have_class("viewer-pennant")
    stage, flag = page.locator(".viewer-stage").bounding_box(), first.bounding_box()
    assert stage is not None
    assert flag is not None
    assert abs(flag["x"] - (stage["x"] + 0.5 * stage["width"])) < 12
    assert abs(flag["y"] + flag["height"] - (stage["y"] + 0.46 * stage["height"])) < 24
    assert min(flag["width"], flag["height"]) >= 44


def test_without_webgl_there_is_a_picture_and_the_list(
    page_of: PageOf, address: dict[str, str]
) -> None:
    if not address:
        bring(page_of, address)
    page = page_of(Role.INSTALLER, expected=(*EXPECTED, "WebGL"))
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
    page.goto(address["body"])
    listen(page)
    expect(page.locator(".viewer img")).to_be_visible()
    expect(page.locator(".viewer-says")).to_have_text("This browser cannot show the body in 3D.")
    page.get_by_role("button", name="Hood").click()
    assert taps(page)[0]["panel"] == "hood"


def test_search_follows_what_is_typed(page_of: PageOf, address: dict[str, str]) -> None:
    if not address:
        bring(page_of, address)
    page = page_of(Role.INSTALLER, expected=EXPECTED)
    page.goto("/bodies/")
    # Other tests' bodies may stand beside it.
    found = re.search(r"/bodies/\d+/", address["body"])
    assert found
    card = page.locator(f'#cards a[href="{found[0]}"]')
    expect(card).to_be_visible()
    page.get_by_label("Maker, model or year").press_sequentially("zeppelin")
    expect(page.get_by_role("heading", name="No body like “zeppelin”")).to_be_visible()
    page.get_by_label("Maker, model or year").fill("dom")
    expect(card).to_be_visible()
    expect(page).to_have_url(re.compile(r"\?q=dom$"))
