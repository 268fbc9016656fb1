// At the door nobody is signed in: what was kept of pages in the bay is thrown away. Taps stay.

async function forget() {
  await globalThis.caches?.delete("layflat-bay");
  // The worker, too, so that it does not keep now what it was asked to keep before.
  const worker = await navigator.serviceWorker?.getRegistration();
  worker?.active?.postMessage({ throwAway: true });
}

forget();
