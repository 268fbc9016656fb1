"""Every page: accessible, within the screen, with targets for wet gloves, light and dark.

Sources: WCAG 2.2, 2.5.8 for targets of 24 CSS px as the least; 44 px are the design's own measure
(and WCAG 2.2's 2.5.5, level AAA). axe-core checks the rest of what a program can check.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import transaction
from django.urls import reverse
from playwright.sync_api import Page

from browser import screens
from browser.conftest import COUNTER_SIZE, PHONE_SIZE, TABLET_SIZE, Live
from layflat.web.people.models import Person, Role
from layflat.web.seed import seed_jobs
from web.addresses import addresses

TARGET_PX = 44
LEAST_PX = 24
FORMS_ONLY = {"diary:hours", "people:sign-out", "taps:tap", "week:begin"}
"""Addresses that take a form and show nothing."""
PARTS = {"bay:worker", "board:cards", "jobs:bodies", "jobs:customers", "jobs:vin"}
"""Addresses of parts of pages; looked over where they stand in a page."""

# A choice's label is its target; a link over its whole card has the card's; a link within a
# sentence is as high as its line (the exception of 2.5.8).
SMALL_TARGETS = """([target, least]) => {
  const found = [];
  const all = "a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button]";
  for (const element of document.querySelectorAll(all)) {
    if (element.matches(".skip, [aria-hidden=true]") || !element.checkVisibility()) continue;
    const isChoice = ["checkbox", "radio"].includes(element.type);
    const shown = (isChoice && element.closest("label")) || element;
    const box = shown.getBoundingClientRect();
    if (box.width === 0 || box.right < 0) continue;
    const own = element.textContent.trim();
    const isInText = getComputedStyle(element).display === "inline"
      && element.parentElement.textContent.trim() !== own;
    const needed = isInText ? 0 : element.disabled ? least : target;
    if (box.width < needed - 0.5 || box.height < needed - 0.5) {
      found.push(`${shown.outerHTML.slice(0, 120)} is ${box.width} x ${box.height}`);
    }
  }
  return found;
}"""


@pytest.fixture(scope="session")
def workshop(live: Live) -> None:
    """The invented jobs in the running app."""
    with live.inside(), transaction.atomic():
        seed_jobs({role: Person.objects.get(name=role.value) for role in Role})


def look_over(page: Page, axe: Callable[[Page], None], folder: Path, name: str) -> None:
    """Check the page that is open in every size, light and dark; what fails leaves a picture."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        for size in (COUNTER_SIZE, TABLET_SIZE, PHONE_SIZE):
            page.set_viewport_size({"width": size[0], "height": size[1]})
            try:
                _look_at(page, f"{name}, {size[0]} px, {scheme}")
                # Roles and names are the same in every view; colours and what is hidden are not.
                if (size, scheme) in ((COUNTER_SIZE, "light"), (TABLET_SIZE, "dark")):
                    axe(page)
                elif size == PHONE_SIZE:
                    screens.picture(page)
            except AssertionError:
                page.screenshot(path=folder / f"{name}-{size[0]}-{scheme}.png", full_page=True)
                raise


def _look_at(page: Page, where: str) -> None:
    wide = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0, f"{where}: {wide} px too wide"
    small = page.evaluate(SMALL_TARGETS, [TARGET_PX, LEAST_PX])
    assert not small, f"{where}:\n" + "\n".join(small)


@pytest.mark.parametrize("name", [name for name in addresses() if name not in FORMS_ONLY | PARTS])
def test_every_page_is_right_in_every_size_light_and_dark(
    workshop: None,
    page_of: Callable[..., Page],
    axe: Callable[[Page], None],
    tmp_path: Path,
    name: str,
) -> None:
    page = page_of(Role.OWNER)
    answer = page.goto(reverse(name))
    assert answer is not None
    assert answer.status == 200
    look_over(page, axe, tmp_path, name.replace(":", "-"))


@pytest.mark.parametrize(
    ("address", "role", "status"),
    [("/shop/", Role.INSTALLER, 403), ("/nothing/", Role.COUNTER, 404), ("/sign-in/", None, 200)],
)
def test_refusals_and_the_door_are_pages_like_others(
    page_of: Callable[..., Page],
    axe: Callable[[Page], None],
    tmp_path: Path,
    address: str,
    role: Role | None,
    status: int,
) -> None:
    page = page_of(role, expected=(f"status of {status}",))
    answer = page.goto(address)
    assert answer is not None
    assert answer.status == status
    look_over(page, axe, tmp_path, f"answer-{status}")


def test_a_person_s_page(
    live: Live, page_of: Callable[..., Page], axe: Callable[[Page], None], tmp_path: Path
) -> None:
    with live.inside():
        key = Person.objects.get(name=Role.INSTALLER).pk
    page = page_of(Role.OWNER)
    page.goto(reverse("people:person", args=[key]))
    look_over(page, axe, tmp_path, "person")


def test_a_filtered_board_without_jobs_says_so(
    workshop: None, page_of: Callable[..., Page], axe: Callable[[Page], None], tmp_path: Path
) -> None:
    page = page_of(Role.OWNER)
    page.goto("/")
    page.get_by_role("link", name="Odile", exact=True).click()
    assert page.get_by_role("heading", name="No such job is open").is_visible()
    look_over(page, axe, tmp_path, "board-empty")


def test_typefaces_are_the_app_s_own(page_of: Callable[..., Page]) -> None:
    page = page_of(Role.OWNER)
    page.goto("/")
    loaded = page.evaluate(
        """async () => {
          await document.fonts.ready;
          return [...document.fonts].filter(f => f.status === "loaded").map(f => f.family);
        }"""
    )
    assert {family.strip('"') for family in loaded} == {"Layflat Sans", "Layflat Serif"}


def test_what_checks_the_targets_sees_a_small_one(page_of: Callable[..., Page]) -> None:
    page = page_of(Role.OWNER)
    page.goto("/")
    page.evaluate(
        """() => {
          const small = document.createElement("button");
          small.textContent = "x";
          small.style.minHeight = "20px";
          document.querySelector("main").append(small);
        }"""
    )
    (found,) = page.evaluate(SMALL_TARGETS, [TARGET_PX, LEAST_PX])
    assert found.startswith("<button")
