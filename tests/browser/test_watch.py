"""What watches over the pages sees what it is there for."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page

from browser.conftest import Live, Watch
from layflat.web.people.models import Role


@pytest.mark.parametrize(
    ("deed", "complaint"),
    [
        ("console.error('spilled tack')", "console: spilled tack"),
        ("setTimeout(() => { throw new Error('torn liner') })", "thrown: torn liner"),
        ("fetch('http://192.0.2.1/film').catch(() => 0)", "asked another machine"),
    ],
)
def test_bad_deeds_of_a_page_are_noted(
    live: Live, chromium: Browser, deed: str, complaint: str
) -> None:
    watch = Watch(live.url)
    # Without the pages' own policy, which would stop the request before it is one.
    with chromium.new_context(base_url=live.url, bypass_csp=True, offline=False) as context:
        watch.over(context)
        page = context.new_page()
        page.goto("/sign-in/")
        page.evaluate(f"() => {{ {deed} }}")
        page.wait_for_timeout(200)
    assert any(complaint in line for line in watch.complaints), watch.complaints


def test_the_checker_of_accessibility_finds_a_picture_without_words(
    page_of: Callable[..., Page], axe: Callable[[Page], None]
) -> None:
    page = page_of(Role.OWNER)
    page.goto("/")
    page.evaluate("() => document.querySelector('main').append(document.createElement('img'))")
    with pytest.raises(AssertionError, match="image-alt"):
        axe(page)


def test_models_are_those_of_the_running_app(live: Live) -> None:
    from layflat.web.people.models import Shop

    with live.inside():
        assert Shop.objects.get().name == "Lampwick Yard"
