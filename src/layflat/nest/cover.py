"""Which packs to cut so that every piece is there and the film used is least."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from layflat.base import FloatArray
from layflat.nest.faults import WHOLE, Window, in_windows
from layflat.nest.pack import Pack, without_surplus

_TIME_LIMIT_S = 0.5
_EARLIER = 1e-3
"""What film before the last window costs beside that in it: little, but not nothing."""


def best_cover(
    packs: Sequence[Pack],
    demand: Sequence[int],
    *,
    extra_mm: float,
    fallback: Sequence[Pack],
    windows: Sequence[Window] = WHOLE,
) -> list[Pack]:
    """The packs, each as often as wanted, that hold all pieces with the least film.

    A set-covering problem, solved by scipy's HiGHS: to cover is enough, because a pack stays
    sound when a piece that is held twice is taken out of it. On a roll with faults each pack
    goes into one of the windows between them, and of the first windows that hold all pieces
    the last one is to be used least: no other choice ends sooner.

    Args:
        packs: what there is to choose from.
        demand: how many pieces of each part are needed.
        extra_mm: film that a section takes besides its pack (its end margins).
        fallback: packs that cover the demand, handed back if nothing better is found in time.
        windows: the sound film; every pack that is handed back says in which it is cut.
    """
    counts = np.array([pack.counts(len(demand)) for pack in packs], dtype=np.float64).T
    costs = np.array([pack.length_mm + extra_mm for pack in packs])
    wanted = np.array(demand, dtype=np.float64)
    times = _least(counts, costs, wanted, costs)
    if times is None:
        return list(fallback)
    if len(windows) > 1:
        times = _least_in_windows(counts, costs, wanted, windows, film_mm=float(times @ costs))
        if times is None:
            return list(fallback)
    chosen = [
        replace(packs[i % len(packs)], window=i // len(packs))
        for i, often in enumerate(times)
        for _ in range(round(often))
    ]
    if (np.sum([pack.counts(len(demand)) for pack in chosen], axis=0) < demand).any():
        return list(fallback)
    trimmed = without_surplus(chosen, demand)
    return min(
        trimmed,
        list(fallback),
        key=lambda option: film_mm(option, extra_mm=extra_mm, windows=windows),
    )


def _least(
    counts: FloatArray,
    costs: FloatArray,
    wanted: FloatArray,
    weights: FloatArray,
    capacities: Sequence[float] = (),
) -> FloatArray | None:
    """How often each pack is cut in each window, window after window; None if it is not found.

    Args:
        counts: (parts, packs), the pieces of each part in each pack.
        costs: (packs,) the film of each.
        wanted: (parts,) how many there are to be.
        weights: (windows * packs,) what is to be least.
        capacities: the film of every window; () for one without an end.
    """
    rooms = max(1, len(capacities))
    constraints = [LinearConstraint(np.tile(counts, rooms), lb=wanted)]
    if capacities:
        used = np.kron(np.eye(rooms), costs)
        constraints.append(LinearConstraint(used, ub=np.array(capacities)))
    solution = milp(
        weights,
        constraints=constraints,
        integrality=np.ones(len(weights), dtype=np.int64),
        bounds=Bounds(0, wanted.max()),
        options={"time_limit": _TIME_LIMIT_S},
    )
    found: FloatArray | None = solution.x
    return found


def _least_in_windows(
    counts: FloatArray,
    costs: FloatArray,
    wanted: FloatArray,
    windows: Sequence[Window],
    *,
    film_mm: float,
) -> FloatArray | None:
    """As `_least`, in the first windows that hold all; *film_mm* is needed on any roll."""
    capacities = [window.length_mm for window in windows]
    for last in range(len(windows)):
        if sum(capacities[: last + 1]) < film_mm - 1e-6:
            continue
        weights = np.concatenate((np.tile(_EARLIER * costs, last), costs))
        found = _least(counts, costs, wanted, weights, capacities[: last + 1])
        if found is not None:
            return found
    return None


def film_mm(packs: Sequence[Pack], *, extra_mm: float, windows: Sequence[Window] = WHOLE) -> float:
    """The film that these packs take from the roll's cut end on, a section each."""
    lengths = [pack.length_mm + extra_mm for pack in packs]
    return in_windows(lengths, windows, [pack.window for pack in packs])
