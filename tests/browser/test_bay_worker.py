"""The bay's service worker by itself, without a network that could be slow or quick."""

from collections.abc import Callable
from importlib import resources

import pytest
from playwright.sync_api import Page

PageOf = Callable[..., Page]
ALONE = """(source) => {
  const heard = {};
  const self = {
    location,
    addEventListener: (name, hear) => { heard[name] = hear; },
    clients: { get: async () => ({ url: PAGE }) },
  };
  const stores = new Map();
  const disk = {
    opens: Promise.resolve(),
    writes: async (store, to, what) => {
      await what.clone().arrayBuffer();
      store.set(to, what);
    },
  };
  const caches = {
    delete: async (name) => stores.delete(name),
    match: async (address, { cacheName }) => stores.get(cacheName)?.get(address)?.clone(),
    open: async (name) => {
      await disk.opens;
      const store = stores.get(name) ?? stores.set(name, new Map()).get(name);
      return {
        put: (to, what) => disk.writes(store, to, what),
        keys: async () => [...store.keys()],
      };
    },
  };
  const waits = [];
  const asked = [];
  const fetch = ({ url }) => new Promise((done, failed) => asked.push({ url, done, failed }));
  const setTimeout = (told) => waits.push(told);
  const Request = class { constructor(url) { this.url = url; } };
  const names = { self, caches, fetch, setTimeout, Request };
  new Function(...Object.keys(names), source)(...Object.values(names));

  const works = [];
  const waitUntil = (work) => works.push(work);
  const asks = (url, more) => {
    let answer;
    const request = { url, method: "GET", mode: "no-cors", ...more };
    const respondWith = (given) => { answer = given; };
    heard.fetch({ request, respondWith, waitUntil, clientId: "page", resultingClientId: "page" });
    return answer;
  };
  const answerOf = (body, type = "text/css") => {
    const answer = new Response(body, { headers: { "Content-Type": type } });
    return Object.defineProperty(answer, "type", { value: "basic" });
  };
  // All that goes on by itself: nothing here takes time.
  const settled = async () => {
    for (let turn = 0; turn < 50; turn += 1) {
      const { port1, port2 } = new MessageChannel();
      const turned = new Promise((done) => { port1.onmessage = done; });
      port2.postMessage(null);
      await turned;
    }
  };
  return {
    ...{ stores, disk, waits, asked, asks, answerOf, settled },
    tells: (data) => heard.message({ data, waitUntil }),
    keeps: (url, body) => stores.set(CACHE, (stores.get(CACHE) ?? new Map()).set(url, body)),
    over: async () => {
      while (works.length > 0) await works.pop();
    },
  };
}"""
"""The worker by itself, with a disk, a network and a clock that a test leads."""
GIVEN = """
  const CACHE = "layflat-bay";
  const PAGE = "http://yard.test/jobs/2031-0042/bay/".replace("http://yard.test", location.origin);
  const FILE = `${location.origin}/static/one.css`;
"""


@pytest.fixture
def told(page_of: PageOf) -> Callable[[str], object]:
    """What a script says that leads the worker by itself, named `worker` there."""
    page = page_of(None)
    page.goto("/sign-in/")
    source = (resources.files("layflat.web") / "static/layflat/bay/worker.js").read_text("utf-8")

    def tell(script: str) -> object:
        return page.evaluate(
            f"async (source) => {{ {GIVEN} const worker = ({ALONE})(source); {script} }}", source
        )

    return tell


Told = Callable[[str], object]
THROW_AWAY = "worker.tells({ throwAway: true });"
MEANWHILE = pytest.mark.parametrize(
    ("meanwhile", "kept"),
    [("", ["layflat-bay"]), (THROW_AWAY, [])],
    ids=["they stay", "they sign out"],
)


@MEANWHILE
def test_what_is_on_its_way_when_somebody_signs_out_is_not_kept(
    told: Told, meanwhile: str, kept: list[str]
) -> None:
    found = told(
        f"""
        worker.tells({{ keep: [FILE] }});
        await worker.settled();
        {meanwhile}
        worker.asked[0].done(worker.answerOf("body"));
        await worker.over();
        return [...worker.stores.keys()];
        """
    )
    assert found == kept


@MEANWHILE
def test_what_is_being_written_when_somebody_signs_out_is_not_kept(
    told: Told, meanwhile: str, kept: list[str]
) -> None:
    found = told(
        f"""
        let open;
        worker.disk.opens = new Promise((done) => {{ open = done; }});
        worker.tells({{ keep: [FILE] }});
        await worker.settled();
        worker.asked[0].done(worker.answerOf("body"));
        await worker.settled();
        {meanwhile}
        await worker.settled();
        open();
        await worker.over();
        return [...worker.stores.keys()];
        """
    )
    assert found == kept


@pytest.mark.parametrize(
    "writes",
    ["Promise.reject(new DOMException('full', 'QuotaExceededError'))", "new Promise(() => {})"],
    ids=["full", "hanging"],
)
@pytest.mark.parametrize(
    "kept", ["", "worker.keeps(FILE, new Response('kept'));"], ids=["first", "again"]
)
def test_an_answer_that_cannot_be_written_is_given_all_the_same(
    told: Told, writes: str, kept: str
) -> None:
    found = told(
        f"""
        {kept}
        worker.disk.writes = () => {writes};
        const answer = worker.asks(FILE);
        await worker.settled();
        worker.asked[0].done(worker.answerOf("new"));
        const never = new Promise((done) => setTimeout(done, 60_000, "never"));
        return Promise.race([answer.then((one) => one.text()), never]);
        """
    )
    assert found == "new"


def test_an_answer_that_breaks_off_gives_way_to_what_was_kept(told: Told) -> None:
    found = told(
        """
        worker.keeps(FILE, new Response("kept"));
        const answer = worker.asks(FILE);
        await worker.settled();
        let broken;
        worker.asked[0].done(worker.answerOf(new ReadableStream({
          start(body) {
            body.enqueue(new TextEncoder().encode("ne"));
            broken = () => body.error(new Error("gone"));
          },
        })));
        await worker.settled();
        broken();
        return (await answer).text();
        """
    )
    assert found == "kept"


@pytest.mark.parametrize(
    ("network", "found"),
    [
        ("worker.waits.forEach((over) => over());", ["kept page", "kept file", 1]),
        ("worker.asked[0].done(worker.answerOf('new page', 'text/html'));", ["new page", "", 2]),
    ],
    ids=["hanging", "there"],
)
def test_files_of_a_page_that_was_kept_do_not_wait_for_the_network(
    told: Told, network: str, found: list[object]
) -> None:
    answers = told(
        f"""
        worker.keeps(PAGE, new Response("kept page"));
        worker.keeps(FILE, new Response("kept file"));
        const page = worker.asks(PAGE, {{ mode: "navigate" }});
        await worker.settled();
        {network}
        const text = await (await page).text();
        let file = "";
        worker.asks(FILE).then((answer) => answer.text()).then((one) => {{ file = one; }});
        for (let turn = 0; turn < 600 && file === "" && worker.asked.length < 2; turn += 1) {{
          await new Promise((done) => setTimeout(done, 50));
        }}
        return [text, file, worker.asked.length];
        """
    )
    assert answers == found


def test_what_cannot_be_read_from_the_disk_comes_from_the_network(told: Told) -> None:
    found = told(
        """
        worker.keeps(FILE, { clone: () => { throw new DOMException("broken", "UnknownError"); } });
        const answer = worker.asks(FILE);
        await worker.settled();
        worker.asked[0].done(worker.answerOf("new"));
        return (await answer).text();
        """
    )
    assert found == "new"
