"""What waits before somebody's eyes: a body of 300,000 triangles, and figures that follow a tap.

`python -m bench browser` puts the demo's coupe (a scan of some 300,000 triangles) into a folder
that goes when it ends, prepares and measures it, serves the app and opens it in Chromium, which has
to draw without a graphics card here. It prints how long a body takes to be seen from the opening of
its page, how long a picture takes while it turns, and how long the figures of a cover take to
follow a tap on a panel's name and on the body itself; each beside the time that an empty page of
the app takes in the same browser, and as a share of its limit.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from bench._empty_app import empty_app
from bench.cover import finished

SEEN_LIMIT_MS, TAP_LIMIT_MS = 3000.0, 300.0
OPENINGS, FRAMES = 7, 40
PASSWORD = "not asked for elsewhere"
_ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
)
_BY_NAME = ("Lamp, left", "Lamp, right", "Door, right", "Rocker, left", "Rocker, right")

# From the press to the first change of what the figures say.
_FOLLOW = """() => {
  window.took = null;
  const figures = () => document.querySelector(".figures")?.textContent;
  let began = 0;
  let before = "";
  document.addEventListener("pointerup", () => {
    if (!began) {
      began = performance.now();
      before = figures();
    }
  }, { capture: true });
  new MutationObserver(() => {
    if (began && window.took === null && figures() !== before) {
      window.took = performance.now() - began;
    }
  }).observe(document.body, { childList: true, subtree: true, characterData: true });
}"""
_TURN = """async (frames) => {
  const canvas = document.querySelector(".viewer-stage canvas");
  canvas.focus();
  const frame = window.requestAnimationFrame.bind(window);
  const next = () => new Promise((done) => frame(done));
  const scripts = [];
  window.requestAnimationFrame = (take) =>
    frame((now) => {
      const began = performance.now();
      take(now);
      scripts.push(performance.now() - began);
    });
  await next();
  const began = performance.now();
  for (let i = 0; i < frames; i++) {
    canvas.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowLeft", bubbles: true }));
    await next();
  }
  const each = (performance.now() - began) / frames;
  window.requestAnimationFrame = frame;
  return [each, scripts.sort((a, b) => a - b)[Math.floor(0.95 * scripts.length)]];
}"""


def main() -> None:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        sys.exit("This benchmark needs Chromium on the path.")
    with empty_app():
        body, number = seed()
        with served() as url:
            rows, turning = measured(program, url, body, number)
    empty = rows.pop("an empty page")
    print(f"{'what':36} median ms  worst ms  of the limit  of an empty page")
    slow = []
    for what, (limit, times) in rows.items():
        median, worst = float(np.median(times)), max(times)
        print(
            f"{what:36} {median:9.0f} {worst:9.0f} {median / limit:13.2f} "
            f"{median / float(np.median(empty[1])):17.1f}"
        )
        if median > limit:
            slow.append(what)
    each, script = turning
    print(
        f"a picture while the body turns: {each:.0f} ms drawn in software; what the page itself "
        f"does for it, which is all that a graphics card leaves: {script:.1f} ms (95th percentile)"
    )
    if slow:
        sys.exit(f"Slower than their limit: {', '.join(slow)}")


def seed() -> tuple[int, str]:
    """The coupe in the library and a job that stands at its cover: key and number."""
    from bench.web import coupe_in_library
    from layflat.web.cover.choices import Choices, PanelChoice, to_json
    from layflat.web.cover.measure import ask_measures
    from layflat.web.cover.models import Cover
    from layflat.web.jobs.models import Customer, Job, Stage, Vehicle
    from layflat.web.people.models import Person, Role, Shop

    Shop.objects.create(name="Lampwick Yard", film_per_metre="62", rate_per_hour="78")
    who = Person.objects.create_person("owner", password=PASSWORD, role=Role.OWNER)
    coupe = coupe_in_library(who)
    finished(ask_measures(coupe, who=who))
    print(f"{coupe}: {coupe.mending['triangles']} triangles")
    vehicle = Vehicle.objects.create(
        customer=Customer.objects.create(name="Saffi Orrin"), plate="LY 77 SO", body=coupe
    )
    job = Job.objects.create(number="2031-0001", vehicle=vehicle, stage=Stage.COVER)
    Cover.objects.create(
        job=job,
        number=1,
        title="Hood",
        body=coupe,
        choices=to_json(Choices((PanelChoice(panel="hood"),))),
    )
    return coupe.body_id, job.number


@contextmanager
def served() -> Iterator[str]:
    """The app on the bench's data folder, in a process of its own."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "layflat", "serve", "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--data", os.environ["LAYFLAT_DATA"]], stdout=subprocess.DEVNULL
    )
    url = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            try:
                with urllib.request.urlopen(f"{url}/sign-in/", timeout=5):
                    break
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        yield url
    finally:
        server.terminate()
        server.wait(30)


def measured(program: str, url: str, body: int, number: str) -> tuple[dict[str, Any], list[float]]:
    """Times in ms with their limits; of a picture while the body turns, all and the page's own."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(_ARGUMENTS))
        page = browser.new_page(base_url=url, viewport={"width": 1280, "height": 800})
        page.goto("/sign-in/")
        page.locator("[name=username]").fill("owner")
        page.locator("[name=password]").fill(PASSWORD)
        page.locator("main button").click()
        page.wait_for_url(f"{url}/")
        rows: dict[str, Any] = {
            "an empty page": (SEEN_LIMIT_MS, [opened(page, "/password/") for _ in range(OPENINGS)]),
            "a body seen from opening": (
                SEEN_LIMIT_MS,
                [opened(page, f"/bodies/{body}/", until=".shows-body") for _ in range(OPENINGS)],
            ),
        }
        turning = page.evaluate(_TURN, FRAMES)
        cover = f"/jobs/{number}/cover/1/"
        rows["figures after a tap on a name"] = (
            TAP_LIMIT_MS,
            [followed(page, cover, name) for name in _BY_NAME],
        )
        rows["figures after a tap on the body"] = (TAP_LIMIT_MS, [followed(page, cover, "")])
        browser.close()
    return rows, turning


def opened(page: Any, address: str, until: str = "main") -> float:
    """From the request to what is looked for."""
    began = time.perf_counter()
    page.goto(address)
    page.locator(until).first.wait_for()
    return (time.perf_counter() - began) * 1e3


def followed(page: Any, cover: str, name: str) -> float:
    """From a tap on a panel's name, or on the left door itself, to changed figures."""
    page.goto(cover)
    page.locator(".shows-body").wait_for()
    if not name:
        page.get_by_role("button", name="Left", exact=True).click()
    page.wait_for_timeout(1500)
    page.evaluate(_FOLLOW)
    pressed = page.locator(".viewer-stage canvas")
    if name:
        pressed = page.locator(".viewer-panels").get_by_role("button", name=name, exact=True)
    # A hand is there before it presses; the picture of what is pointed at is drawn by then.
    pressed.hover()
    page.wait_for_timeout(1500)
    pressed.click()
    page.wait_for_function("() => window.took !== null")
    took: float = page.evaluate("() => window.took")
    return took


if __name__ == "__main__":
    main()
