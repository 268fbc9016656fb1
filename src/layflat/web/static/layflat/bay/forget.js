// At the door nobody is signed in: what was kept of pages in the bay is thrown away. Taps stay.

async function forget() {
  await globalThis.caches?.delete("layflat-bay");
  // The worker, too, so that it does not keep now what it was asked to keep before.
  // This page lies outside of what it serves: it is not found as this page's own.
  for (const worker of (await navigator.serviceWorker?.getRegistrations()) ?? []) {
    worker.active?.postMessage({ throwAway: true });
  }
}

forget();
