// Answers pages of the bay, and the files that they use, from what it kept when the network is
// gone. It keeps no other pages, nothing that is sent, and nothing of customers' pages.

const CACHE = "layflat-bay";
const BAY = /^\/jobs\/[^/]+\/bay\/$/;
const KEPT = "X-Layflat-Kept";
const WAIT_MS = 4000;
const MOST = 600;

/** Pages that were answered from what was kept, by the browser's names for them. */
const keptPages = new Set();
/** How often everything was thrown away; what was asked for before is not kept after. */
let thrown = 0;

const pathOf = (address) => new URL(address).pathname;
const isBay = (address) => BAY.test(pathOf(address));

/** Whether an answer may be kept: a page of the bay, or a file that is no page. */
function mayKeep(address, answer) {
  if (answer.status !== 200 || answer.type !== "basic" || answer.redirected) {
    return false;
  }
  const isPage = (answer.headers.get("Content-Type") ?? "").startsWith("text/html");
  return isPage ? isBay(address) : !pathOf(address).startsWith("/taps/");
}

async function put(address, answer, times) {
  if (times !== thrown) {
    return;
  }
  const cache = await caches.open(CACHE);
  try {
    await cache.put(address, answer);
    // What was used longest ago is the first: each use puts it at the end.
    const keys = await cache.keys();
    const most = Math.max(keys.length - MOST, 0);
    await Promise.all(keys.slice(0, most).map((one) => cache.delete(one)));
  } finally {
    // Thrown away meanwhile: also what an answer that broke off has left.
    if (times !== thrown) {
      await caches.delete(CACHE);
    }
  }
}

async function throwAway() {
  thrown += 1;
  await caches.delete(CACHE);
}

/** An answer waits for no disk, and is one also where the disk is full. */
async function fromNetwork(event, request) {
  const times = thrown;
  const answer = await fetch(request);
  if (mayKeep(request.url, answer)) {
    event.waitUntil(put(request.url, answer.clone(), times).catch(() => null));
  }
  return answer;
}

/** An answer once all of it is there: one that breaks off half way fails. */
async function inWhole(asked) {
  const answer = await asked;
  await answer.clone().arrayBuffer();
  return answer;
}

function marked(kept) {
  const headers = new Headers(kept.headers);
  headers.set(KEPT, "yes");
  return new Response(kept.body, { status: kept.status, headers });
}

/** What was kept of an address; nothing where the disk cannot be read. */
async function keptOf(address) {
  try {
    return await caches.match(address, { cacheName: CACHE, ignoreVary: true });
  } catch {
    return undefined;
  }
}

const after = (wait) => new Promise((done) => setTimeout(done, wait));

/** Whether a file goes with a page that was kept: then it is as old, and the network is bad. */
function goesWithKept({ clientId, request }) {
  return keptPages.has(clientId) && pathOf(request.url).startsWith("/static/");
}

/** From the network; from what was kept where that fails or takes too long. */
async function answered(event) {
  const { request } = event;
  const kept = await keptOf(request.url);
  if (kept !== undefined && goesWithKept(event)) {
    return marked(kept);
  }
  const asked = fromNetwork(event, request);
  if (kept === undefined) {
    return asked;
  }
  const all = inWhole(asked);
  event.waitUntil(all.catch(() => null));
  return Promise.race([
    all.catch(() => marked(kept)),
    after(WAIT_MS).then(() => marked(kept.clone())),
  ]);
}

async function page(event) {
  const answer = await answered(event);
  if (answer.headers.has(KEPT)) {
    keptPages.add(event.resultingClientId);
  }
  return answer;
}

async function ofItsPage(event) {
  const client = await self.clients.get(event.clientId);
  return client && isBay(client.url) ? answered(event) : fetch(event.request);
}

/** Keep what a page used before this worker was there. */
async function keepAll(event, addresses) {
  const times = thrown;
  for (const address of addresses) {
    if ((await keptOf(address)) === undefined && times === thrown) {
      await fromNetwork(event, new Request(address)).catch(() => null);
    }
  }
}

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => {
  event.waitUntil(event.data.throwAway ? throwAway() : keepAll(event, event.data.keep));
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const isOurs = new URL(request.url).origin === self.location.origin;
  if (request.method !== "GET" || !isOurs) {
    return;
  }
  if (request.mode !== "navigate") {
    event.respondWith(ofItsPage(event));
  } else if (isBay(request.url)) {
    event.respondWith(page(event));
  }
});
