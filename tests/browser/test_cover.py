"""Choosing a cover in a real browser: by taps, by keys, with a drawn line, to computed figures."""

import itertools
import math
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import COUNTER_SIZE, TABLET_SIZE, Live
from browser.domes import dome_in_library
from layflat.web.cover.choices import Choices, PanelChoice, from_json, to_json
from layflat.web.cover.models import Cover
from layflat.web.jobs.models import Customer, Job, Stage, Vehicle
from layflat.web.people.models import Role, Shop

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
# Chromium says so when a picture of a page without a graphics card is taken.
EXPECTED = ("GPU stall due to ReadPixels",)
COMPUTED_MS = 240_000
_NUMBERS = itertools.count(1)


@pytest.fixture(scope="session")
def revision_key(live: Live, tmp_path_factory: pytest.TempPathFactory) -> int:
    """The dome in the running app's library: two panels, an emblem, a sensor."""
    with live.inside():
        Shop.objects.update(roll_width_mm=610.0, film_per_metre=60, rate_per_hour=70)
    return dome_in_library(live, tmp_path_factory.mktemp("dome"), name="Dome of covers")


@pytest.fixture
def number(live: Live, revision_key: int) -> str:
    """A job that stands at its cover."""
    with live.inside():
        customer = Customer.objects.create(name="Merrow", phone="+43 1 555-01")
        vehicle = Vehicle.objects.create(customer=customer, plate="ME 204", body_id=revision_key)
        job = Job.objects.create(
            number=f"2032-{next(_NUMBERS):04}", vehicle=vehicle, stage=Stage.COVER
        )
        return job.number


def a_cover(live: Live, number: str, *panels: str, title: str = "Nose") -> str:
    """The address of an alternative that covers whole panels."""
    with live.inside():
        job = Job.objects.get(number=number)
        count = job.covers.count() + 1
        Cover.objects.create(
            job=job,
            number=count,
            title=title,
            body_id=job.vehicle.body_id,
            choices=to_json(Choices(tuple(PanelChoice(panel=name) for name in panels))),
        )
    return f"/jobs/{number}/cover/{count}/"


def chosen(live: Live, number: str, cover: int = 1) -> Choices:
    with live.inside():
        return from_json(Cover.objects.get(job__number=number, number=cover).choices)


def opened(page: Page, address: str) -> None:
    page.goto(address)
    page.locator(".viewer.shows-body").wait_for()


def tap(page: Page, across: float, along: float) -> None:
    """A tap on the picture, by shares of its width and height."""
    box = page.locator(".viewer-stage canvas").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + across * box["width"], box["y"] + along * box["height"])


def from_above(page: Page) -> None:
    """From above the dome faces down the picture: its left panel lies below the middle."""
    page.get_by_role("button", name="Above", exact=True).click()


@pytest.mark.parametrize(
    ("size", "scheme"), [(COUNTER_SIZE, "light"), (TABLET_SIZE, "dark")], ids=["counter", "tablet"]
)
def test_a_tap_covers_a_panel_and_the_figures_follow(
    live: Live, number: str, page_of: PageOf, axe: Axe, size: tuple[int, int], scheme: str
) -> None:
    page = page_of(Role.COUNTER, size=size, scheme=scheme, expected=EXPECTED)
    page.goto(f"/jobs/{number}/cover/")
    axe(page)
    page.get_by_text("Bare vehicle").click()
    page.get_by_label("Title, as the customer reads it").fill("Right only")
    page.get_by_role("button", name="Begin", exact=True).click()
    page.locator(".viewer.shows-body").wait_for()
    expect(page.get_by_role("heading", name="Nothing is covered yet")).to_be_visible()
    axe(page)
    from_above(page)
    tap(page, 0.5, 0.25)
    expect(page.locator("#panel-title")).to_have_text("Right")
    expect(page.locator("#said")).to_contain_text("Right: covered as a whole.")
    figures = page.locator(".figures")
    expect(figures).to_have_attribute("data-figures", "estimate")
    expect(figures).to_contain_text("EUR")
    first = figures.inner_text()
    tap(page, 0.5, 0.6)
    expect(page.locator("#panel-title")).to_have_text("Left")
    expect(figures).not_to_have_text(first)
    expect(page.get_by_role("button", name="Left", exact=True).first).to_be_visible()
    assert [choice.panel for choice in chosen(live, number).panels] == ["left", "right"]
    axe(page)
    page.locator("#undo").click()
    expect(page.locator("#said")).to_contain_text("Left is as it was before.")
    assert [choice.panel for choice in chosen(live, number).panels] == ["right"]


def test_everything_is_chosen_by_keys(live: Live, number: str, page_of: PageOf, axe: Axe) -> None:
    page = page_of(Role.COUNTER, expected=EXPECTED)
    opened(page, a_cover(live, number))
    page.locator(".viewer-panels [data-panel=left]").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#panel-title")).to_have_text("Left")
    # An edge: the arrow key takes the other way, and the focus stays where it was.
    page.locator("#edge-0-short").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#said")).to_contain_text("edge “front” wrapped round by 8 mm.")
    expect(page.locator("#edge-0-wrap")).to_be_focused()
    page.locator("#edge-0-distance").fill("10")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("wrapped round by 10 mm.")
    # A keep-out, not without a reason.
    page.locator("#keep-out-0-over").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("An emblem can hide a radar.")).to_be_visible()
    axe(page)
    page.locator("#keep-out-0-why").press("Enter")
    expect(page.locator("#said")).to_contain_text("Say why film may go over “emblem”")
    page.locator("#keep-out-0-over").press("Enter")
    page.locator("#keep-out-0-why").fill("The maker allows it")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("film over “emblem”: The maker allows it.")
    # A line by numbers.
    page.locator("#by-numbers").press("Enter")
    page.locator("#numbers-side").select_option("front")
    page.locator("#numbers-deep").fill("100")
    page.keyboard.press("Enter")
    expect(page.locator(".other-side")).to_contain_text("Film on 4")
    axe(page)
    left = chosen(live, number).of("left")
    assert left is not None
    assert left.edges["front"].distance_mm == 10.0
    assert left.film_over == {"emblem": "The maker allows it"}
    assert not left.is_whole


@pytest.mark.parametrize("size", [COUNTER_SIZE, TABLET_SIZE], ids=["counter", "tablet"])
def test_a_line_is_drawn_on_a_panel(
    live: Live, number: str, page_of: PageOf, axe: Axe, size: tuple[int, int]
) -> None:
    page = page_of(Role.COUNTER, size=size, expected=EXPECTED)
    opened(page, a_cover(live, number, "right") + "?panel=right")
    page.locator("#extent-line").click()
    says = page.locator("#drawing-says")
    expect(says).to_contain_text("near an edge of the right")
    # The eye has gone to the panel: it fills the picture, and the line runs across its middle.
    tap(page, 0.3, 0.45)
    expect(says).to_contain_text("Tap the next point")
    tap(page, 0.5, 0.4)
    tap(page, 0.7, 0.45)
    expect(page.locator("#drawing-done")).to_be_enabled()
    expect(page.locator(".viewer-pennant")).to_have_count(3)
    axe(page)
    page.locator("#drawing-undo").click()
    expect(page.locator(".viewer-pennant")).to_have_count(2)
    tap(page, 0.72, 0.44)
    expect(page.locator("#drawing-done")).to_be_enabled()
    page.locator("#drawing-done").click()
    expect(says).to_contain_text("the side of the right that gets film")
    tap(page, 0.5, 0.62)
    expect(page.locator("#said")).to_contain_text("Right: covered up to a line.")
    expect(page.locator(".other-side")).to_contain_text("Film on")
    expect(page.locator("#drawing")).to_be_hidden()
    chip = page.locator(".viewer-panels [data-panel=right]")
    expect(chip).to_have_attribute("aria-pressed", "mixed")
    axe(page)
    right = chosen(live, number).of("right")
    assert right is not None
    assert len(right.line_mm) >= 3
    # Drawing anew can be called off, by a key too.
    page.locator("#extent-line").click()
    tap(page, 0.5, 0.4)
    page.keyboard.press("Escape")
    expect(page.locator("#drawing")).to_be_hidden()
    assert chosen(live, number).of("right") == right


def test_the_second_of_two_people_is_told(live: Live, number: str, page_of: PageOf) -> None:
    address = a_cover(live, number, "left") + "?panel=left"
    first, second = (page_of(role, expected=EXPECTED) for role in (Role.OWNER, Role.COUNTER))
    for page in (first, second):
        opened(page, address)
    first.locator("#edge-0-wrap").click()
    expect(first.locator("#said")).to_contain_text("wrapped round")
    second.locator("#extent-bare").click()
    expect(second.locator("#said")).to_contain_text("Odile changed the same on “Left”")
    expect(second.locator("#edge-0-wrap")).to_be_checked()
    assert chosen(live, number).of("left") is not None


def test_an_installer_looks_and_changes_nothing(
    live: Live, number: str, page_of: PageOf, axe: Axe
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=EXPECTED)
    opened(page, a_cover(live, number, "left"))
    page.locator(".viewer-panels [data-panel=right]").click()
    expect(page.locator("#panel-title")).to_have_text("Right")
    page.locator(".viewer-panels [data-panel=left]").click()
    expect(page.get_by_text("stays free").first).to_be_visible()
    axe(page)
    expect(page.get_by_text("EUR")).to_have_count(0)
    assert [choice.panel for choice in chosen(live, number).panels] == ["left"]


def test_computed_figures_take_the_estimate_s_place_and_alternatives_are_compared(
    live: Live, number: str, page_of: PageOf, axe: Axe
) -> None:
    page = page_of(Role.COUNTER, expected=EXPECTED)
    opened(page, a_cover(live, number, "left", title="One side"))
    page.locator("#compute").click()
    page.locator(".computation").wait_for()
    computed = page.locator("[data-figures=computed]")
    computed.wait_for(timeout=COMPUTED_MS)
    axe(page)
    page.locator(".computed-pictures summary").click()
    pictures = page.locator(".computed-pictures img")
    expect(pictures).to_have_count(2)
    for i in range(2):
        pictures.nth(i).scroll_into_view_if_needed()
        expect(pictures.nth(i)).to_have_js_property("complete", True)
        assert pictures.nth(i).evaluate("picture => picture.naturalWidth") > 0
    page.goto(f"/jobs/{number}/covers/")
    page.get_by_text("Rename, copy, save or drop").click()
    page.get_by_role("button", name="Copy as a new alternative").click()
    page.locator(".viewer.shows-body").wait_for()
    page.locator(".viewer-panels [data-panel=right]").click()
    expect(page.locator("#said")).to_contain_text("Right: covered as a whole.")
    page.goto(f"/jobs/{number}/covers/")
    expect(page.get_by_text("More than “One side”")).to_be_visible()
    expect(page.locator(".compared")).to_have_count(2)
    expect(computed).to_have_count(1)
    expect(page.locator("[data-figures=estimate]")).to_have_count(1)
    boxes = [page.locator(".compared").nth(i).bounding_box() for i in range(2)]
    assert boxes[0] is not None
    assert boxes[1] is not None
    assert abs(boxes[0]["y"] - boxes[1]["y"]) < 1
    axe(page)
    for size in (TABLET_SIZE, (390, 844)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_a_cut_is_led_by_hand_to_where_the_mark_stands(
    live: Live, number: str, page_of: PageOf, axe: Axe
) -> None:
    page = page_of(Role.COUNTER, expected=EXPECTED)
    cover = a_cover(live, number, "right", title="One side")
    opened(page, cover)
    page.locator("#compute").click()
    page.locator("[data-figures=computed]").wait_for(timeout=COMPUTED_MS)
    page.goto(f"{cover}fit/1/")
    page.evaluate("addEventListener('fit-place', ({detail}) => { window.seen = detail; })")
    ready = page.locator("#fit[data-ready=yes]")
    ready.wait_for()
    by_hand = page.get_by_role("button", name="Cut from the edge to the mark")
    expect(by_hand).to_be_disabled()
    page.locator(".fit-map").press("ArrowRight")
    expect(by_hand).to_be_enabled()
    mark = page.evaluate("seen.point")
    by_hand.click()
    row = page.locator("[data-cut=R1][data-taken]")
    expect(row).to_contain_text("taken")
    (path,) = one_side(chosen(live, number)).reliefs
    assert math.dist(path[-1], mark) < 0.01
    ready.wait_for()
    page.locator(".fit-map").press("Shift+ArrowLeft")
    row.get_by_role("button", name="End R1 at the mark").click()
    expect(page.locator(".said")).to_contain_text("relief cut 1 moved")
    (moved,) = one_side(chosen(live, number)).reliefs
    assert moved[0] == path[0]
    assert math.dist(moved[-1], path[-1]) > 1.0
    axe(page)
    row.get_by_role("button", name="Give R1 up").click()
    expect(page.get_by_text("1 refused")).to_be_visible()
    assert one_side(chosen(live, number)).reliefs == ()


def one_side(choices: Choices) -> PanelChoice:
    found = choices.of("right")
    assert found is not None
    return found


def test_a_tap_that_is_not_kept_is_said(live: Live, number: str, page_of: PageOf) -> None:
    page = page_of(
        Role.COUNTER, expected=(*EXPECTED, "ERR_FAILED", "htmx:sendError", "htmx:afterRequest")
    )
    address = a_cover(live, number)
    page.goto(address)
    expect(page.locator(".viewer.shows-body")).to_be_visible()
    page.route("**/change/", lambda route: route.abort())
    panels = page.locator(".viewer-panels")
    panels.get_by_role("button", name="Left", exact=True).click()
    expect(page.locator("#said")).to_contain_text("The last tap is not kept; try it again.")
    page.unroute("**/change/")
    panels.get_by_role("button", name="Left", exact=True).click()
    expect(page.locator("#said")).to_have_text("Left: covered as a whole.")
