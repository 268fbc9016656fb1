"""Arranging by hand in a real browser: dragged, moved by keys, refused, kept; and its geometry."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect
from shapely import Polygon, affinity

from browser.conftest import TABLET_SIZE, Live
from browser.test_pages import look_over
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from web.bayed import a_roll, as_found, some_cuts
from web.cutting.patterned import a_job

PageOf = Callable[..., Page]
Axe = Callable[[Page], None]
SLOW_MS = 240_000
MOST_MM = 60.0


@pytest.fixture
def number(live: Live) -> str:
    """A job with a layout of three pieces in a row that is to be cut."""
    with live.inside():
        made = f"2048-{Job.objects.count():04}"
        job, outcome = a_job(made, "hood", "mirror-left", "door-left")
        roll = a_roll(lot=f"LW-{made}", length_mm=9000)
        cuts = some_cuts(job, outcome, roll=roll, state=Cut.State.PLACED, film_mm=1999)
        as_found(cuts)
        return job.number


def opened(page: Page, number: str) -> Page:
    page.goto(f"/jobs/{number}/film/1/by-hand/")
    expect(verdict(page)).to_have_text("Gaps and margins are kept")
    page.locator(".roll-picture").scroll_into_view_if_needed()
    return page


def verdict(page: Page) -> Locator:
    return page.locator("#hand-verdict")


def says(page: Page) -> Locator:
    return page.locator("#hand-says")


def middle(page: Page, piece: int) -> tuple[float, float]:
    box = page.locator(f"path[data-piece='{piece}']").bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_pieces_are_dragged_turned_pinned_refused_and_kept(
    live: Live, page_of: PageOf, axe: Axe, tmp_path: Path, number: str
) -> None:
    page = opened(page_of(Role.INSTALLER), number)
    before = page.locator("[data-now]").inner_text()
    # Dragged onto another piece: it is said while the mouse is still down.
    x, y = middle(page, 2)
    to_x, to_y = middle(page, 1)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move((x + to_x) / 2, (y + to_y) / 2)
    page.mouse.move(to_x, to_y, steps=4)
    expect(verdict(page)).to_contain_text("Pieces 1 and 2 overlap.")
    expect(page.locator(".hand-lozenge")).not_to_have_count(0)
    page.mouse.up()
    assert page.locator("path.is-wrong").count() >= 2
    look_over(page, axe, tmp_path, "overlap")
    page.set_viewport_size({"width": 1280, "height": 800})
    # The server judges again, and nothing of the arrangement is lost.
    page.get_by_role("button", name="Keep this arrangement").click()
    refused = page.get_by_text(re.compile("It cannot be cut like this: .*“Door, left” overlap"))
    expect(refused).to_be_visible()
    expect(verdict(page)).to_contain_text("Pieces 1 and 2 overlap.")
    page.keyboard.press("Control+z")
    expect(verdict(page)).to_have_text("Gaps and margins are kept")
    assert page.locator("[data-now]").inner_text() == before
    page.get_by_role("button", name="Redo").click()
    expect(verdict(page)).to_contain_text("overlap")
    page.get_by_role("button", name="As it was").click()
    _by_keys(page)
    page.get_by_role("button", name="Keep this arrangement").click()
    expect(page.get_by_role("heading", name="Layout 2")).to_be_visible()
    expect(page.get_by_role("region", name="Section 1")).to_be_visible(timeout=SLOW_MS)
    with live.inside():
        layout = Job.objects.get(number=number).layouts.get(number=2)
        assert layout.notes[0] == "Arranged by hand from layout 1."


def _by_keys(page: Page) -> None:
    """Chosen, moved, slid to the gap, turned and pinned without a mouse."""
    page.get_by_role("application").focus()
    while "Piece 3 " not in says(page).inner_text():
        page.keyboard.press("PageDown")
    begins = re.compile(r"begins ([\d.]+) mm along and ([\d.]+) mm across")
    along, across = (float(one) for one in begins.search(says(page).inner_text()).groups())
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    expect(says(page)).to_contain_text(f"begins {along + 1:g} mm along and {across + 10:g} mm")
    page.keyboard.press("ArrowDown")
    page.get_by_role("radio", name="to the gap").check()
    page.get_by_role("button", name="Move left").click()
    expect(says(page)).to_contain_text("; 4 mm to piece 2.")
    expect(verdict(page)).to_have_text("Gaps and margins are kept")
    page.get_by_role("radio", name="1 mm", exact=True).check()
    page.get_by_role("button", name="Move left").click()
    expect(verdict(page)).to_have_text("Pieces 2 and 3 are 3 mm apart, not 4 mm.")
    expect(page.locator(".hand-ring")).to_have_count(1)
    page.keyboard.press("Control+z")
    page.get_by_role("application").focus()
    page.keyboard.press("p")
    expect(page.locator(".hand-pin")).to_have_count(1)
    page.keyboard.press("ArrowLeft")
    expect(says(page)).to_contain_text("Piece 3 is pinned; unpin it to move it.")
    expect(page.get_by_role("button", name="Move left")).to_be_disabled()
    page.get_by_role("button", name="Unpin it").click()
    page.get_by_role("button", name=re.compile("^Turn to")).click()
    expect(says(page)).to_contain_text("turned by 90°")
    page.keyboard.press("Control+z")
    expect(verdict(page)).to_have_text("Gaps and margins are kept")


def test_a_finger_moves_what_it_has_chosen(page_of: PageOf, number: str) -> None:
    page = opened(page_of(Role.INSTALLER, size=TABLET_SIZE), number)
    touch = page.context.new_cdp_session(page)

    def stroke(dx: float) -> None:
        x, y = middle(page, 3)
        for kind, at in (("touchStart", 0.0), ("touchMove", 0.5), ("touchMove", 1.0)):
            points = [{"x": x + at * dx, "y": y}]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
            page.wait_for_timeout(50)
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    stroke(40.0)
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
    page.touchscreen.tap(*middle(page, 3))
    expect(says(page)).to_contain_text("Piece 3 begins")
    stroke(40.0)
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    expect(page.locator("[data-difference]")).to_contain_text("more")


@pytest.fixture(scope="module")
def pairs() -> list[tuple[list[list[float]], list[list[float]], float, float, float]]:
    """Shapes with holes, lines of numbers each, and where the second lies: turn, x, y."""
    dice = np.random.default_rng(11)

    def shape() -> list[list[float]]:
        count = int(dice.integers(3, 40))
        angles = 2 * np.pi * np.arange(count) / count
        radii = dice.uniform(30, 120, count)
        outline = np.column_stack((radii * np.cos(angles), radii * np.sin(angles)))
        rings = [outline.ravel().tolist()]
        if count > 3 and dice.random() < 0.5:
            rings.append((0.3 * outline[::-1]).ravel().tolist())
        return rings

    found = []
    for _ in range(250):
        # Every third is a crumb near the middle, where most shapes have their hole.
        size, reach = (0.05, 12) if dice.random() < 0.3 else (1.0, 220)
        second = [[size * value for value in ring] for ring in shape()]
        found.append((shape(), second, dice.uniform(0, 360), *dice.uniform(-reach, reach, 2)))
    return found


def test_distances_and_overlaps_are_those_of_shapely(
    page_of: PageOf, number: str, pairs: list[Any]
) -> None:
    """By GEOS, which knows nothing of the page's code."""
    page = opened(page_of(Role.INSTALLER), number)
    module = page.locator("script[src*='by_hand.js']").get_attribute("src")
    seen = page.evaluate(
        """async ([address, pairs, most]) => {
          const { between, placed } = await import(address);
          return pairs.map(([a, b, turn, x, y]) =>
            between(placed(a, 0, 0, 0), placed(b, turn, x, y), most));
        }""",
        [module.replace("by_hand.js", "by_hand_shapes.js"), pairs, MOST_MM],
    )
    kinds = {"overlap": 0, "near": 0, "in a hole": 0, "far": 0}
    for (first, second, turn, x, y), found in zip(pairs, seen, strict=True):
        one = polygon(first)
        other = affinity.translate(affinity.rotate(polygon(second), turn, origin=(0, 0)), x, y)
        distance = one.distance(other)
        if distance > MOST_MM:
            kinds["far"] += 1
            assert found is None
        elif distance == 0:
            kinds["overlap"] += 1
            assert found["distance"] == 0
        else:
            kinds["in a hole" if polygon(first[:1]).contains(other) else "near"] += 1
            assert found["distance"] == pytest.approx(distance, abs=1e-6)
            (x0, y0), (x1, y1) = found["at"]
            assert np.hypot(x1 - x0, y1 - y0) == pytest.approx(distance, abs=1e-6)
    assert min(kinds.values()) > 20


def polygon(rings: list[list[float]]) -> Polygon:
    outline, *holes = (np.array(ring).reshape(-1, 2) for ring in rings)
    return Polygon(outline, holes)
