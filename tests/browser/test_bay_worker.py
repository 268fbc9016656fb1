"""The bay's service worker by itself, without a network that could be slow or quick."""

from collections.abc import Callable
from importlib import resources

import pytest
from playwright.sync_api import Page

PageOf = Callable[..., Page]
WORKER_ALONE = """async ({ source, thrownAway }) => {
  const heard = {};
  const self = { location, addEventListener: (name, hear) => { heard[name] = hear; } };
  const stores = new Map();
  const open = (name) => stores.get(name) ?? stores.set(name, new Map()).get(name);
  const caches = {
    delete: async (name) => stores.delete(name),
    match: async (address, { cacheName }) => stores.get(cacheName)?.get(address),
    open: async (name) => {
      const store = open(name);
      return { put: async (to, what) => store.set(to, what), keys: async () => [...store.keys()] };
    },
  };
  let arrive;
  const answer = { status: 200, type: "basic", headers: new Headers(), clone: () => answer };
  const fetch = () => new Promise((done) => { arrive = () => done(answer); });
  const Request = class { constructor(url) { this.url = url; } };
  new Function("self", "caches", "fetch", "Request", source)(self, caches, fetch, Request);
  const over = [];
  const say = (data) => heard.message({ data, waitUntil: (work) => over.push(work) });
  say({ keep: ["http://yard.test/static/one.css"] });
  await new Promise((done) => setTimeout(done));
  if (thrownAway) {
    await caches.delete("layflat-bay");
    say({ throwAway: true });
  }
  arrive();
  await Promise.all(over);
  return [...stores.keys()];
}"""
"""The worker by itself: it is told to keep a file, and while that is on its way, to forget all."""


@pytest.mark.parametrize(("thrown_away", "kept"), [(False, ["layflat-bay"]), (True, [])])
def test_what_is_on_its_way_when_somebody_signs_out_is_not_kept(
    page_of: PageOf, thrown_away: bool, kept: list[str]
) -> None:
    page = page_of(None)
    source = resources.files("layflat.web") / "static/layflat/bay/worker.js"
    told = {"source": source.read_text(encoding="utf-8"), "thrownAway": thrown_away}
    assert page.evaluate(WORKER_ALONE, told) == kept
