// At the door nobody is signed in: what was kept of pages in the bay is thrown away. Taps stay.

globalThis.caches?.delete("layflat-bay");
