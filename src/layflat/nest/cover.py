"""Which packs to cut so that every piece is there and the film used is least."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from layflat.nest.pack import Pack, without_surplus

_TIME_LIMIT_S = 0.5


def best_cover(
    packs: Sequence[Pack], demand: Sequence[int], *, extra_mm: float, fallback: Sequence[Pack]
) -> list[Pack]:
    """The packs, each as often as wanted, that hold all pieces with the least film.

    A set-covering problem, solved by scipy's HiGHS: to cover is enough, because a pack stays
    sound when a piece that is held twice is taken out of it.

    Args:
        packs: what there is to choose from.
        demand: how many pieces of each part are needed.
        extra_mm: film that a section takes besides its pack (its end margins).
        fallback: packs that cover the demand, handed back if nothing better is found in time.
    """
    counts = np.array([pack.counts(len(demand)) for pack in packs], dtype=np.float64).T
    costs = np.array([pack.length_mm + extra_mm for pack in packs])
    solution = milp(
        costs,
        constraints=LinearConstraint(counts, lb=np.array(demand, dtype=np.float64)),
        integrality=np.ones(len(packs), dtype=np.int64),
        bounds=Bounds(0, max(demand)),
        options={"time_limit": _TIME_LIMIT_S},
    )
    if solution.x is None:
        return list(fallback)
    chosen = [
        pack for pack, times in zip(packs, solution.x, strict=True) for _ in range(round(times))
    ]
    if (np.sum([pack.counts(len(demand)) for pack in chosen], axis=0) < demand).any():
        return list(fallback)
    trimmed = without_surplus(chosen, demand)
    return min(trimmed, list(fallback), key=lambda option: film_mm(option, extra_mm=extra_mm))


def film_mm(packs: Sequence[Pack], *, extra_mm: float) -> float:
    """The film that these packs take, a section each."""
    return sum(pack.length_mm + extra_mm for pack in packs)
