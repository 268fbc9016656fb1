// Opens the vehicles of an offer in 3D as they come into sight; until then, and where that cannot
// be, their pictures stand there. A viewer that waits carries data-late-glb in place of data-glb.
const EARLY = "200px";

const sight = new IntersectionObserver(
  (entries) => {
    for (const { isIntersecting, target } of entries) {
      if (isIntersecting) {
        sight.unobserve(target);
        target.dataset.glb = target.dataset.lateGlb;
        document.dispatchEvent(new CustomEvent("htmx:load", { detail: { elt: target } }));
      }
    }
  },
  { rootMargin: EARLY },
);

for (const place of document.querySelectorAll("[data-late-glb]")) {
  sight.observe(place);
}
