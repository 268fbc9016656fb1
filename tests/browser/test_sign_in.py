"""The one test that signs in as people do: by the form, with the keyboard."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from browser.conftest import PASSWORD, Live


def test_signing_in_by_keyboard_and_out_again(live: Live, page_of: Callable[..., Page]) -> None:
    page = page_of(None)
    page.goto("/bodies/")
    page.get_by_label("Name").focus()
    page.keyboard.type("Counter")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{live.url}/bodies/")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
