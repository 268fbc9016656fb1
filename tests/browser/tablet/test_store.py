"""What a tablet does whose browser keeps taps late, not for a while, or not at all."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import TABLET_SIZE, Live
from browser.tapped import (
    NETWORK,
    all_sent,
    came_in,
    in_order,
    look_again,
    opened,
    says,
    strip,
    take,
    tap,
    taps_of,
)
from layflat.web.gates.models import Step, ToolUse
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role

PageOf = Callable[..., Page]
SLOW_STORE = """() => {
  const open = indexedDB.open.bind(indexedDB);
  const opened = new Promise((done) => { window.openTheStore = done; });
  indexedDB.open = (...of) => {
    const request = open(...of);
    const succeeded = new Promise((done) => { request.onsuccess = done; });
    Object.defineProperty(request, "onsuccess", {
      set: (told) => Promise.all([opened, succeeded]).then(told),
    });
    return request;
  };
}"""
"""The browser's store opens when it is told to."""
NO_PATIENCE = """() => {
  const wait = window.setTimeout.bind(window);
  window.setTimeout = (told, ms, ...of) => wait(told, ms === 10_000 ? 0 : ms, ...of);
}"""
"""The 10 s in which the browser's store is to open are over at once."""
BREAKING_STORE = """() => {
  const getAll = IDBObjectStore.prototype.getAll;
  IDBObjectStore.prototype.getAll = function (...of) {
    if (window.isBroken) throw new DOMException("broken", "UnknownError");
    return getAll.apply(this, of);
  };
}"""
"""What the browser's store holds cannot be read while a test says so."""
KNOWN_STORE = """() => {
  const open = indexedDB.open.bind(indexedDB);
  indexedDB.open = (...of) => {
    const request = open(...of);
    request.addEventListener("success", () => { window.database = request.result; });
    return request;
  };
}"""
"""Lets a test reach the page's connection to the browser's store."""
UNREAD_STORE = """() => {
  IDBObjectStore.prototype.getAll = () => { throw new DOMException("broken", "DataError"); };
}"""
"""The browser's store opens, and what it holds cannot be read."""
SLOW_KEEPING = """() => {
  const begin = IDBDatabase.prototype.transaction;
  const told = new Promise((done) => { window.goOnKeeping = done; });
  IDBDatabase.prototype.transaction = function (stores, ...of) {
    const made = begin.call(this, stores, ...of);
    if (stores.includes("counts")) {
      const over = new Promise((done) => made.addEventListener("complete", done));
      Object.defineProperty(made, "oncomplete", {
        set: (say) => Promise.all([told, over]).then(say),
      });
    }
    return made;
  };
}"""
"""The browser's store says that it has written only when it is told to."""
FULL_STORE = """() => {
  const add = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function (...of) {
    if (localStorage.getItem("is-full")) throw new DOMException("full", "QuotaExceededError");
    return add.apply(this, of);
  };
}"""
"""The browser's store has no room left while a test says so."""


def test_a_browser_that_keeps_nothing_says_so_and_sends_at_once(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined })")
    page.goto(f"/jobs/{job.number}/bay/")
    expect(strip(page)).to_contain_text("This browser keeps no taps")
    tap(page, "begin-wash")
    expect(page.get_by_role("status").first).to_contain_text("Wash")
    assert [(act, state) for _, act, _, state in taps_of(live, job)] == [("gates.begin", "done")]


def test_a_store_that_opens_and_cannot_be_read_swallows_no_tap(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    page.add_init_script(f"({UNREAD_STORE})()")
    page.goto(f"/jobs/{job.number}/bay/")
    expect(strip(page)).to_contain_text("This browser keeps no taps")
    tap(page, "begin-wash")
    expect(page.get_by_role("status").first).to_contain_text("Wash")
    assert [(act, state) for _, act, _, state in taps_of(live, job)] == [("gates.begin", "done")]


def test_a_tap_before_the_store_has_opened_waits_for_it(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({SLOW_STORE})()")
    opened(page, job)
    page.context.set_offline(True)
    page.locator("#begin-wash button").first.click()
    page.evaluate("window.openTheStore()")
    expect(strip(page)).to_contain_text("1 tap kept on this tablet")
    page.context.set_offline(False)
    all_sent(page)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"))


def test_a_store_that_fails_for_a_while_stops_sending_only_so_long(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({BREAKING_STORE})()")
    opened(page, job)
    all_sent(page)
    page.context.set_offline(True)
    tap(page, "begin-wash")
    says(page, "step-wash", "kept on this tablet")
    page.evaluate("window.isBroken = true")
    page.context.set_offline(False)
    words = "This tablet cannot read what it keeps just now; it tries again by itself."
    expect(strip(page)).to_have_text(words)
    page.evaluate("window.isBroken = false")
    came_in(live, page, job, 1)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"))


@pytest.mark.parametrize("how", ["close()", "dispatchEvent(new Event('versionchange'))"])
def test_a_connection_to_the_store_that_is_closed_loses_no_tap(
    live: Live, job: Job, page_of: PageOf, how: str
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({KNOWN_STORE})()")
    opened(page, job)
    all_sent(page)
    page.context.set_offline(True)
    page.evaluate(f"window.database.{how}")
    tap(page, "begin-wash")
    says(page, "step-wash", "kept on this tablet")
    page.context.set_offline(False)
    came_in(live, page, job, 1)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"))


def test_a_tablet_without_room_keeps_what_is_entered_and_sends_it_plainly(
    live: Live, job: Job, mitts: list[str], page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({FULL_STORE})()")
    opened(page, job)
    all_sent(page)
    page.evaluate("localStorage.setItem('is-full', 'yes')")
    take(page, mitts[1])
    why = page.locator("#take-wash .tap-why")
    words = "Not kept: this tablet has no room left. Tap again within the network."
    expect(why).to_have_text(words)
    # Also over what is new on the page.
    with live.inside():
        Step.objects.filter(job=job, key="wash").update(title="Wash it well")
    look_again(page)
    expect(page.locator("#step-wash-title")).to_have_text("Wash it well")
    expect(why).to_have_text(words)
    expect(page.locator("#tool-wash")).to_have_value(mitts[1])
    # Without the network the tablet tries once more to keep it.
    page.context.set_offline(True)
    tap(page, "take-wash")
    expect(why).to_have_text(words)
    page.context.set_offline(False)
    tap(page, "take-wash")
    expect(page.locator(".said")).to_contain_text(f"mitt {job.number}/1")
    assert taps_of(live, job) == [(None, "gates.take-tool", "wash", "done")]
    with live.inside():
        assert str(ToolUse.objects.get(step__job=job).tool_id) == mitts[1]
    # With room again they are kept as before.
    page.evaluate("localStorage.removeItem('is-full')")
    page.context.set_offline(True)
    take(page, mitts[2])
    says(page, "take-wash", "kept on this tablet")
    page.context.set_offline(False)
    came_in(live, page, job, 2)


def test_what_is_entered_while_a_tap_is_kept_is_the_next_tap(
    live: Live, job: Job, mitts: list[str], page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({SLOW_KEEPING})()")
    opened(page, job)
    all_sent(page)
    page.context.set_offline(True)
    take(page, mitts[0])
    says(page, "take-wash", "being kept …")
    # A glove that taps twice, and then the next.
    tap(page, "take-wash")
    take(page, mitts[1])
    page.evaluate("window.goOnKeeping()")
    expect(strip(page)).to_have_text("2 taps kept on this tablet · the network is gone")
    expect(page.locator("#tool-wash")).to_have_js_property("selectedIndex", 0)
    page.context.set_offline(False)
    came_in(live, page, job, 2)
    with live.inside():
        uses = ToolUse.objects.filter(step__job=job).order_by("pk")
        assert [str(use.tool_id) for use in uses] == mitts[:2]


def test_a_store_that_opens_late_is_used_from_then_on(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    page.add_init_script(f"({SLOW_STORE})()")
    page.add_init_script(f"({NO_PATIENCE})()")
    opened(page, job)
    expect(strip(page)).to_contain_text("This browser keeps no taps")
    page.evaluate("window.openTheStore()")
    all_sent(page)
    page.context.set_offline(True)
    tap(page, "begin-wash")
    says(page, "step-wash", "kept on this tablet")
    page.context.set_offline(False)
    came_in(live, page, job, 1)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"))
