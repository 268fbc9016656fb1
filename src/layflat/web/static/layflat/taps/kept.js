// What this tablet keeps: taps with their pictures, in order, until the server has answered them.
// Each person has a count of their own, so that nobody's taps wait for somebody else's.

const NAME = "layflat-taps";
const OPEN_S = 10;
let opening = null;

function asked(request) {
  return new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
}

function finished(transaction) {
  return new Promise((done, failed) => {
    transaction.oncomplete = () => done();
    transaction.onabort = () => failed(transaction.error);
    transaction.onerror = () => failed(transaction.error);
  });
}

async function opened() {
  const request = indexedDB.open(NAME, 1);
  request.onupgradeneeded = () => {
    const taps = request.result.createObjectStore("taps", { keyPath: ["who", "number"] });
    taps.createIndex("key", "key", { unique: true });
    request.result.createObjectStore("counts", { keyPath: "who" });
  };
  const database = await asked(request);
  database.onversionchange = () => database.close();
  return database;
}

/** The store; fails where the browser has none, as in some private windows. */
function store() {
  opening ??= opened();
  return opening;
}

/** Whether this browser can keep taps at all; not if its store does not open in good time. */
export async function canKeep() {
  const late = new Promise((done) => setTimeout(done, 1000 * OPEN_S, false));
  const opened = store().then(
    () => true,
    () => false,
  );
  return Promise.race([opened, late]);
}

/** 32 hexadecimal digits that nobody guesses. */
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Keep a tap, on the disk when this is done; what it is numbered, or how it was kept before. */
export async function keep(tap) {
  const transaction = (await store()).transaction(["taps", "counts"], "readwrite", {
    durability: "strict",
  });
  const over = finished(transaction);
  const taps = transaction.objectStore("taps");
  let kept = await asked(taps.index("key").get(tap.key));
  if (kept === undefined) {
    const counts = transaction.objectStore("counts");
    const first = { who: tap.who, device: newKey(), next: 1 };
    const count = (await asked(counts.get(tap.who))) ?? first;
    kept = { ...tap, device: count.device, number: count.next };
    taps.add(kept);
    counts.put({ ...count, next: count.next + 1 });
  }
  await over;
  return kept;
}

/** All that is kept, each person's in order. */
export async function all() {
  return asked((await store()).transaction("taps").objectStore("taps").getAll());
}

/** The first tap of a person that is still kept; undefined for none. */
export async function firstOf(who) {
  const range = IDBKeyRange.bound([who, 0], [who, Infinity]);
  const taps = (await store()).transaction("taps").objectStore("taps");
  return (await asked(taps.getAll(range, 1)))[0];
}

/** Note more of a tap that is kept; nothing where it was answered meanwhile. */
export async function note(tap, more) {
  const transaction = (await store()).transaction("taps", "readwrite");
  const over = finished(transaction);
  const taps = transaction.objectStore("taps");
  const kept = await asked(taps.get([tap.who, tap.number]));
  if (kept !== undefined) {
    taps.put({ ...kept, ...more });
  }
  await over;
}

/** Keep a tap no longer: the server has answered it. */
export async function forget(tap) {
  const transaction = (await store()).transaction("taps", "readwrite");
  const over = finished(transaction);
  transaction.objectStore("taps").delete([tap.who, tap.number]);
  await over;
}
