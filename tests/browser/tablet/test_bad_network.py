"""The bay goes on while the network is gone: each tap is kept, said, and done once, in order."""

import datetime
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, Route, expect

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
    until,
)
from browser.test_pages import look_over
from layflat.web.bay.page import PARTS
from layflat.web.cover.models import Outcome
from layflat.web.files.store import path_of
from layflat.web.gates.models import Kind, Step, ToolUse
from layflat.web.jobs.models import Job
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.models import Device, Tap
from web.bayed import some_cuts, steps_done

PageOf = Callable[..., Page]
DAY_S = 86_400
SET_CLOCK = """(ms) => {
  const { who } = document.getElementById("taps-strip").dataset;
  const set = () => localStorage.setItem("clock-off-ms", ms);
  return navigator.locks.request(`layflat-taps-${who}`, set);
}"""


def test_taps_without_the_network_are_kept_over_a_reload_and_done_once_in_order(
    live: Live, job: Job, bay: Page
) -> None:
    all_sent(bay)
    bay.context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    expect(strip(bay)).to_have_text("1 tap kept on this tablet · the network is gone")
    # A glove that taps twice: the button rests.
    bay.locator("#begin-wash button").click(force=True)
    tap(bay, "done-wash")
    # What waits for it can be tapped before the server knows.
    tap(bay, "begin-iron")
    says(bay, "step-iron", "kept on this tablet")
    expect(strip(bay)).to_have_text("3 taps kept on this tablet · the network is gone")
    bay.reload()
    says(bay, "step-iron", "kept on this tablet")
    expect(strip(bay)).to_have_text("3 taps kept on this tablet · the network is gone")
    tap(bay, "done-iron")
    assert taps_of(live, job) == []
    bay.context.set_offline(False)
    all_sent(bay)
    expect(bay.locator("#over-iron .state.done")).to_have_text("Iron removal")
    acts = ("gates.begin", "wash"), ("gates.done", "wash"), ("gates.begin", "iron")
    assert taps_of(live, job) == in_order(*acts, ("gates.done", "iron"))
    with live.inside():
        assert Step.objects.get(job=job, key="iron").state == Step.State.DONE
        assert [row.is_late for row in Tap.objects.filter(job=job)] == [False] * 4


def test_a_form_for_many_taps_takes_them_also_after_it_was_opened_again(
    live: Live, job: Job, mitts: list[str], bay: Page
) -> None:
    opened(bay, job)
    all_sent(bay)
    bay.context.set_offline(True)
    take(bay, mitts[0])
    expect(strip(bay)).to_have_text("1 tap kept on this tablet · the network is gone")
    take(bay, mitts[1])
    expect(strip(bay)).to_have_text("2 taps kept on this tablet · the network is gone")
    # The page as it was kept, with the key of the first tap.
    bay.reload()
    says(bay, "take-wash", "kept on this tablet")
    take(bay, mitts[2])
    expect(strip(bay)).to_have_text("3 taps kept on this tablet · the network is gone")
    bay.context.set_offline(False)
    came_in(live, bay, job, 3)
    assert taps_of(live, job) == in_order(*[("gates.take-tool", "wash")] * 3)
    with live.inside():
        uses = ToolUse.objects.filter(step__job=job).order_by("pk")
        assert [str(use.tool_id) for use in uses] == mitts


def test_a_tap_for_many_is_no_earlier_one_that_came_in(
    live: Live, job: Job, mitts: list[str], bay: Page
) -> None:
    opened(bay, job)
    all_sent(bay)
    key = bay.locator("#take-wash [name=tap]").get_attribute("value")
    take(bay, mitts[0])
    came_in(live, bay, job, 1)
    # As on a page that was kept before that tap, and is opened again now.
    again = """([key, path]) => caches.open("layflat-bay").then(async (cache) => {
      const now = await (await cache.match(path, { ignoreVary: true })).text();
      const tap = /(id="take-wash"[^]*?name="tap" value=")[0-9a-f]{32}/;
      const headers = { "Content-Type": "text/html; charset=utf-8" };
      await cache.delete(path, { ignoreVary: true });
      await cache.put(path, new Response(now.replace(tap, `$1${key}`), { headers }));
    })"""
    bay.context.set_offline(True)
    bay.evaluate(again, [key, f"/jobs/{job.number}/bay/"])
    # Not reloaded: then browsers put back what fields had.
    bay.goto("about:blank")
    bay.goto(f"/jobs/{job.number}/bay/")
    expect(strip(bay)).to_have_text("The network is gone · taps are kept on this tablet")
    take(bay, mitts[1])
    says(bay, "take-wash", "kept on this tablet")
    bay.context.set_offline(False)
    came_in(live, bay, job, 2)
    with live.inside():
        uses = ToolUse.objects.filter(step__job=job).order_by("pk")
        assert [str(use.tool_id) for use in uses] == mitts[:2]


def a_jpeg(place: Path, *, width: int, height: int) -> Path:
    """A picture full of grain, which no format makes small."""
    grain = Image.effect_noise((width, height), 90)
    Image.merge("RGB", (grain, grain, grain)).save(place, "JPEG", quality=97)
    return place


@pytest.fixture
def lay(live: Live, job: Job, bay: Page) -> int:
    """The part "Lay" is open and a piece may be laid: its film's key."""
    with live.inside():
        cut = some_cuts(job, Outcome.objects.get(cover__job=job))[0]
        steps_done(job, Kind.HAND, Kind.IRON, Kind.CUT)
    opened(bay, job)
    all_sent(bay)
    bay.locator("#tab-lay").click()
    return cut.pk


def test_a_picture_taken_without_the_network_is_sent_later_and_small(
    live: Live, job: Job, bay: Page, lay: int, tmp_path: Path
) -> None:
    photo = a_jpeg(tmp_path / "IMG_7.jpg", width=3200, height=2400)
    assert photo.stat().st_size > 3_000_000
    bay.context.set_offline(True)
    tap(bay, f"lay-begin-{lay}")
    expect(strip(bay)).to_contain_text("1 tap kept on this tablet")
    bay.locator(f"#lay-end-{lay} summary").click()
    bay.locator(f"#photo-{lay}").set_input_files(photo)
    bay.locator(f"#hard-{lay}").fill("the corner")
    tap(bay, f"lay-end-{lay}")
    expect(strip(bay)).to_contain_text("2 taps kept on this tablet", timeout=60_000)
    bay.reload()
    expect(strip(bay)).to_contain_text("2 taps kept on this tablet")
    bay.context.set_offline(False)
    all_sent(bay)
    with live.inside():
        assert [row.act for row in Tap.objects.filter(job=job)] == ["laying.began", "laying.ended"]
        laying = Laying.objects.get(cut=lay)
        assert laying.hard == "the corner"
        assert laying.photo is not None
        with Image.open(path_of(laying.photo.sha256)) as picture:
            assert picture.size == (2560, 1920)


def test_a_picture_of_60_mb_is_not_taken(
    live: Live, job: Job, bay: Page, lay: int, tmp_path: Path
) -> None:
    photo = tmp_path / "IMG_8.jpg"
    with photo.open("wb") as file:
        file.truncate(60_000_000)
    tap(bay, f"lay-begin-{lay}")
    came_in(live, bay, job, 1)
    end = bay.locator(f"#lay-end-{lay}")
    expect(end.locator("details")).to_have_attribute("open", "")
    bay.locator(f"#photo-{lay}").set_input_files(photo)
    words = "The picture is larger than 25 MB; take it with a lower resolution."
    until(bay, "id => document.getElementById(id).validationMessage !== ''", f"photo-{lay}")
    said = bay.locator(f"#photo-{lay}").evaluate("input => input.validationMessage")
    assert said == words
    tap(bay, f"lay-end-{lay}")
    assert [act for _, act, *_ in taps_of(live, job)] == ["laying.began"]
    bay.locator(f"#photo-{lay}").set_input_files([])
    tap(bay, f"lay-end-{lay}")
    came_in(live, bay, job, 2)
    assert [act for _, act, *_ in taps_of(live, job)] == ["laying.began", "laying.ended"]


def set_clock(page: Page, off_s: int) -> None:
    """Set the tablet's clock between two tries to send, so that none goes by the clock before."""
    page.evaluate(SET_CLOCK, off_s * 1000)


def test_a_tablet_that_returns_after_three_days(live: Live, job: Job, bay: Page) -> None:
    all_sent(bay)
    bay.context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    set_clock(bay, 3 * DAY_S)
    bay.context.set_offline(False)
    came_in(live, bay, job, 1)
    with live.inside():
        row = Tap.objects.get(job=job)
        assert row.state == "done"
        assert row.is_late
        waited = row.received_at - row.tapped_at
        assert abs(waited - datetime.timedelta(days=3)) < datetime.timedelta(minutes=5)


def test_a_clock_set_back_while_taps_are_kept(live: Live, job: Job, bay: Page) -> None:
    all_sent(bay)
    bay.context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    set_clock(bay, -3600)
    bay.context.set_offline(False)
    came_in(live, bay, job, 1)
    with live.inside():
        row = Tap.objects.get(job=job)
        assert row.state == "done"
        assert row.clock_note.startswith("The tablet's clock was changed")
        assert row.received_at - row.tapped_at < datetime.timedelta(seconds=30)


def sign_in(live: Live, context: BrowserContext, role: Role) -> None:
    cookie = {"name": "sessionid", "value": live.session_of(role), "url": live.url}
    context.add_cookies([cookie])  # type: ignore[list-item]


HOLD_TAPS = """() => new Promise((held) => {
  const { who } = document.getElementById("taps-strip").dataset;
  navigator.locks.request(`layflat-taps-${who}`, () => {
    held();
    return new Promise(() => {});
  });
})"""
"""Keeps the page from sending, as another page of the tablet that just sends would."""


def test_somebody_else_at_the_tablet_sends_nobody_s_taps_but_their_own(
    live: Live, job: Job, bay: Page
) -> None:
    all_sent(bay)
    context = bay.context
    context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    # The browser gives a page that is being closed its network back; it may not use it.
    bay.evaluate(HOLD_TAPS)
    bay.close()
    sign_in(live, context, Role.OWNER)
    context.set_offline(False)
    theirs = context.new_page()
    opened(theirs, job)
    all_sent(theirs)
    more = theirs.locator("#taps-strip [data-taps-more]")
    expect(more).to_contain_text("1 tap of Ines kept here: sent when Ines signs in.")
    assert taps_of(live, job) == []
    tap(theirs, "begin-wash")
    came_in(live, theirs, job, 1)
    sign_in(live, context, Role.INSTALLER)
    # The page is still the owner's, and says so rather than sending as somebody else.
    tap(theirs, "done-wash")
    expect(strip(theirs)).to_contain_text("sign in again to send them")
    expect(more.get_by_role("link", name="Sign in")).to_be_visible()
    theirs.reload()
    all_sent(theirs)
    expect(more).to_contain_text("1 tap of Odile kept here")
    # Begun by the owner meanwhile: what Ines tapped did not go in, and is shown to a person.
    expect(theirs.locator("#bay-told")).to_contain_text("1 tap of this job did not go in")
    with live.inside():
        rows = list(Tap.objects.filter(job=job).order_by("id").values_list("who__name", "state"))
        assert rows == [("owner", "done"), ("installer", "refused")]


def test_two_pages_of_one_tablet_double_and_disorder_nothing(
    live: Live, job: Job, bay: Page
) -> None:
    all_sent(bay)
    other = bay.context.new_page()
    opened(other, job)
    all_sent(other)
    bay.context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    expect(strip(other)).to_contain_text("1 tap kept on this tablet")
    tap(other, "done-wash")
    says(other, "step-wash", "kept on this tablet")
    tap(bay, "done-wash")
    bay.context.set_offline(False)
    all_sent(bay)
    all_sent(other)
    found = taps_of(live, job)
    assert [number for number, *_ in found] == [1, 2, 3]
    assert [state for *_, state in found] == ["done", "done", "refused"]
    with live.inside():
        assert Person.objects.get(name="installer").pk == Tap.objects.filter(job=job)[0].who_id


FRAMES = """() => {
  window.frames_seen = [];
  const watch = (event) => {
    let frames = 0;
    const place = document.getElementById("step-wash");
    const from = performance.now();
    const look = () => {
      const state = place.dataset.tapState;
      window.frames_seen.push([frames, state ?? "", performance.now() - from]);
      frames += 1;
      if (state !== "kept") requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  };
  document.addEventListener("submit", watch, { capture: true, once: true });
}"""


@pytest.mark.parametrize("network", ["there", "gone"])
def test_a_tap_is_acknowledged_with_the_next_frame(
    bay: Page, network: str, record_property: Callable[[str, object], None]
) -> None:
    """In frames, since a busy machine's clock says little; 100 ms are six frames at 60 Hz."""
    all_sent(bay)
    bay.context.set_offline(network == "gone")
    bay.evaluate(FRAMES)
    tap(bay, "begin-wash")
    until(bay, "() => performance.getEntriesByName('layflat tap kept').length > 0")
    first = bay.evaluate("window.frames_seen[0]")
    assert first[1] in ("keeping", "kept", "sent")
    (kept_ms,) = bay.evaluate(
        "performance.getEntriesByName('layflat tap kept').map((entry) => entry.duration)"
    )
    record_property(f"kept after ms, network {network}", round(kept_ms))
    print(f"network {network}: kept and shown after {kept_ms:.0f} ms")  # noqa: T201
    bay.context.set_offline(False)
    all_sent(bay)


def test_signing_out_throws_away_kept_pages_and_no_taps(live: Live, job: Job, bay: Page) -> None:
    all_sent(bay)
    bay.context.set_offline(True)
    tap(bay, "begin-wash")
    says(bay, "step-wash", "kept on this tablet")
    bay.evaluate(HOLD_TAPS)
    bay.goto("about:blank")
    bay.context.clear_cookies()
    bay.context.set_offline(False)
    bay.goto("/")
    expect(bay).to_have_url(re.compile("/sign-in/"))
    until(bay, "async () => !(await caches.has('layflat-bay'))")
    # The worker was told, too: what was on its way to it is not kept after.
    (worker,) = bay.context.service_workers
    for _ in range(600):
        if worker.evaluate("thrown") == 1:
            break
        bay.wait_for_timeout(50)
    assert worker.evaluate("thrown") == 1
    sign_in(live, bay.context, Role.INSTALLER)
    bay.goto(f"/jobs/{job.number}/bay/")
    all_sent(bay)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"))


def test_only_pages_of_the_bay_and_their_files_are_kept(bay: Page, job: Job) -> None:
    all_sent(bay)
    bay.goto(f"/jobs/{job.number}/")
    bay.goto("/taps/")
    bay.goto(f"/jobs/{job.number}/bay/")
    all_sent(bay)
    kept = bay.evaluate(
        """async () => {
          const cache = await caches.open("layflat-bay");
          return (await cache.keys()).map((one) => new URL(one.url).pathname);
        }"""
    )
    pages = [path for path in kept if path.endswith("/")]
    assert pages == [f"/jobs/{job.number}/bay/"]
    assert any(path.startswith("/static/") for path in kept)
    assert not any("for-you" in path or path.startswith("/taps/") for path in kept)


def hanging(page: Page, job: Job) -> Route:
    """Open the page while the network hangs before it has brought all scripts: what hangs."""
    held: list[Route] = []
    page.route("**/outbox.js", lambda route: held.append(route))
    page.goto(f"/jobs/{job.number}/bay/", wait_until="commit")
    for _ in range(600):
        if held:
            return held[0]
        page.wait_for_timeout(50)
    pytest.fail("the script is not asked for")


def test_taps_before_the_scripts_have_come_wait_for_them(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE)
    script = hanging(page, job)
    tap(page, "begin-wash")
    tap(page, "done-wash")
    expect(page.locator("#begin-wash button")).to_have_attribute("aria-disabled", "true")
    script.continue_()
    came_in(live, page, job, 2)
    assert taps_of(live, job) == in_order(("gates.begin", "wash"), ("gates.done", "wash"))


def test_a_tap_goes_out_plainly_where_the_scripts_cannot_be_had(
    live: Live, job: Job, page_of: PageOf
) -> None:
    page = page_of(Role.INSTALLER, size=TABLET_SIZE, expected=NETWORK)
    script = hanging(page, job)
    tap(page, "begin-wash")
    script.abort()
    expect(page.locator(".said")).to_contain_text("Wash")
    assert taps_of(live, job) == [(None, "gates.begin", "wash", "done")]


def test_what_updates_keeps_focus_and_what_is_typed(live: Live, job: Job, bay: Page) -> None:
    all_sent(bay)
    bay.locator("#step-wash summary").click()
    why = bay.locator("#why-wash")
    why.fill("It is cle")
    with live.inside():
        Step.objects.filter(job=job, key="wash").update(title="Wash it well")
    bay.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(bay.locator("#step-wash-title")).to_have_text("Wash it well")
    why.press_sequentially("an")
    expect(why).to_have_value("It is clean")
    expect(why).to_be_focused()


def test_the_page_is_right_in_every_size_also_while_taps_are_kept(
    bay: Page, job: Job, lay: int, axe: Callable[[Page], None], tmp_path: Path
) -> None:
    for part in PARTS:
        bay.locator(f"#tab-{part.name}").click()
        axe(bay)
    bay.context.set_offline(True)
    tap_of = bay.locator(f"#lay-begin-{lay} button")
    bay.locator("#tab-lay").click()
    tap_of.click()
    expect(strip(bay)).to_contain_text("1 tap kept on this tablet")
    look_over(bay, axe, tmp_path, "bay")
    bay.context.set_offline(False)
    all_sent(bay)


def test_a_tap_on_which_the_server_fails_again_and_again_can_be_set_aside(
    live: Live, job: Job, bay: Page
) -> None:
    all_sent(bay)
    failed: list[str] = []

    def fail(route: Route) -> None:
        failed.append(route.request.method)
        route.fulfill(status=500, content_type="text/html", body="A fault")

    bay.context.route("**/taps/", fail)
    tap(bay, "begin-wash")
    tap(bay, "done-wash")
    aside = bay.get_by_role("button", name="Set it aside")
    for _ in range(600):
        if aside.is_visible():
            break
        look_again(bay)
        bay.wait_for_timeout(50)
    assert len(failed) == 5
    expect(strip(bay)).to_have_text(
        "2 taps kept on this tablet · the server cannot take them now; they are sent again by "
        "themselves"
    )
    bay.context.unroute("**/taps/")
    bay.context.route("**/taps/", lambda route: route.continue_())
    aside.click()
    came_in(live, bay, job, 2)
    more = bay.locator("#taps-strip [data-taps-more]")
    expect(more).to_contain_text("did not go in: The server failed on it again and again")
    assert [(number, act, state) for number, act, _, state in taps_of(live, job)] == [
        (1, "gates.begin", "refused"),
        (2, "gates.done", "done"),
    ]


def test_a_tablet_that_knows_more_than_a_database_that_was_put_back(
    live: Live, job: Job, bay: Page
) -> None:
    all_sent(bay)
    tap(bay, "begin-wash")
    came_in(live, bay, job, 1)
    with live.inside():
        device = Tap.objects.get(job=job).device
        Tap.objects.filter(job=job).delete()
        Device.objects.filter(pk=device.pk).update(last=0)
    tap(bay, "done-wash")
    came_in(live, bay, job, 1)
    assert taps_of(live, job) == [(2, "gates.done", "wash", "done")]
    with live.inside():
        event = Event.objects.get(kind="taps.missing", after__device=device.key)
        assert event.sentence.startswith("1 earlier tap")
