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
    // Also after an error, which says why only then.
    transaction.onabort = () => failed(transaction.error);
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
  const close = () => {
    database.close();
    opening = null;
  };
  database.onversionchange = database.onclose = close;
  return database;
}

/** The store; fails where the browser has none, as in some private windows. */
async function store() {
  opening ??= opened();
  try {
    return await opening;
  } catch (error) {
    opening = null;
    throw error;
  }
}

/** A transaction; on a new connection where the browser has closed the one before. */
async function begun(...of) {
  const database = await store();
  try {
    return database.transaction(...of);
  } catch {
    database.close();
    opening = null;
    return (await store()).transaction(...of);
  }
}

/** Do *work* within a transaction: all of it is on the disk when this is done, or nothing. */
async function written(stores, work) {
  const transaction = await begun(stores, "readwrite", { durability: "strict" });
  const over = finished(transaction);
  try {
    const made = await work((name) => transaction.objectStore(name));
    await over;
    return made;
  } catch (error) {
    try {
      transaction.abort();
    } catch {
      // It has broken off by itself.
    }
    await over.catch(() => null);
    throw error;
  }
}

/** Whether this browser can keep taps at all, once its store has opened or failed. */
export async function canKeep() {
  return store().then(
    () => true,
    () => false,
  );
}

/** Whether it can now; not while its store does not open in good time. */
export async function canKeepSoon() {
  const late = new Promise((done) => setTimeout(done, 1000 * OPEN_S, false));
  return Promise.race([canKeep(), late]);
}

/** 32 hexadecimal digits that nobody guesses. */
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Keep a tap, on the disk when this is done; what it is numbered, or how it was kept before. */
export async function keep(tap) {
  return written(["taps", "counts"], async (of) => {
    const before = await asked(of("taps").index("key").get(tap.key));
    if (before !== undefined) {
      return before;
    }
    const first = { who: tap.who, device: newKey(), next: 1 };
    const count = (await asked(of("counts").get(tap.who))) ?? first;
    const kept = { ...tap, device: count.device, number: count.next };
    of("taps").add(kept);
    of("counts").put({ ...count, next: count.next + 1 });
    return kept;
  });
}

/** All that is kept, each person's in order. */
export async function all() {
  return asked((await begun("taps")).objectStore("taps").getAll());
}

/** The first tap of a person that is still kept; undefined for none. */
export async function firstOf(who) {
  const range = IDBKeyRange.bound([who, 0], [who, Infinity]);
  const taps = (await begun("taps")).objectStore("taps");
  return (await asked(taps.getAll(range, 1)))[0];
}

/** Note more of a tap that is kept; nothing where it was answered meanwhile. */
export async function note(tap, more) {
  await written("taps", async (of) => {
    const kept = await asked(of("taps").get([tap.who, tap.number]));
    if (kept !== undefined) {
      of("taps").put({ ...kept, ...more });
    }
  });
}

/** Keep a tap no longer: the server has answered it. */
export async function forget(tap) {
  await written("taps", async (of) => {
    of("taps").delete([tap.who, tap.number]);
  });
}
