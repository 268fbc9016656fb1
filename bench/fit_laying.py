"""Laying a panel's own pattern on it against flattening the panel, in the same run.

Times are CPU times of this process, the median of three runs each; laying flattens the surface for
its chart too, so that its time holds one flattening in it.
"""

import statistics
import time
from collections.abc import Callable

from shapely import Polygon

from bench.flatten import panel, verdict
from layflat.film import flatten, generic_film
from layflat.fit.lay import lay
from layflat.fit.lay_chart import flat_loops

TRIANGLES = 40_000
MOST_TIMES = 10.0
MOST_OFF_MM = 0.2
REPEATS = 3


def median_seconds(work: Callable[[], object]) -> float:
    """The median CPU time of several runs."""
    times = []
    for _ in range(REPEATS):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return statistics.median(times)


def main() -> None:
    film, surface = generic_film(), panel(TRIANGLES)
    # The pattern is from another mesh of the same panel, as in use.
    loops = flat_loops(flatten(panel(TRIANGLES * 4 // 5), film))
    piece = Polygon(loops[0], loops[1:])
    laid = lay(piece, surface, film)
    flattening = median_seconds(lambda: flatten(surface, film))
    laying = median_seconds(lambda: lay(piece, surface, film))
    relaxed = median_seconds(lambda: lay(piece, surface, film, law="relaxed"))
    off, times = laid.off_edge_mm.greatest_mm, laying / flattening
    print(f"{len(surface.faces)} triangles flattened, {len(laid.flat.mesh.faces)} laid")
    print(
        f"  laying   {times:5.2f} times its flattening (at most {MOST_TIMES:g}): "
        f"{verdict(good=times <= MOST_TIMES)}"
    )
    print(
        f"  relaxed  {relaxed / flattening:5.2f} times (at most {MOST_TIMES:g}): "
        f"{verdict(good=relaxed / flattening <= MOST_TIMES)}"
    )
    print(
        f"  edges    {off:5.3f} mm off at most (at most {MOST_OFF_MM:g}), {laid.steps} steps: "
        f"{verdict(good=off <= MOST_OFF_MM)}"
    )


if __name__ == "__main__":
    main()
