"""Which candidate is cut from which supply: an assignment of least cost, by OR-Tools' CP-SAT.

Every piece is held at least once by the candidates that are taken; a piece that is held twice is
left out of one of them, which makes nothing longer. The visible pieces of a job in film of which
lots are not mixed are held by supplies of one lot.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ortools.sat.python import cp_model

from layflat.plan.week_pool import Candidate, Pool, lots_for, sound_film
from layflat.plan.week_records import Supply, WeekRates, one_lot_groups

_COIN = 1_000_000
"""Costs are counted in millionths."""
_TENTH = 10
"""Lengths are counted in tenths of a millimetre."""


@dataclass(frozen=True)
class Assignment:
    """What comes from what.

    Attributes:
        counts: for each supply how many of each demand's pieces it holds.
        cost: by the candidates' lengths.
        bound: no assignment of these candidates costs less, as OR-Tools says.
        is_real: whether every candidate is a section of a real layout.
    """

    counts: tuple[tuple[int, ...], ...]
    cost: float
    bound: float
    is_real: bool


def assign(
    pool: Pool,
    *,
    rates: WeekRates,
    worths: Sequence[float],
    fullness: Mapping[int, float],
    seconds: float,
    seed: int,
    only_real: bool = False,
) -> Assignment | None:
    """The assignment of least cost by the candidates there are; None if none was found in time.

    Args:
        pool: candidates, demands and supplies.
        rates: what is weighed beside film.
        worths: what each supply counts for when it is taken whole (offcuts), 0 for rolls.
        fullness: what part of a supply's length may be given away, where not all of it.
        seconds: time limit.
        seed: of the solver.
        only_real: whether sections of real layouts alone are taken.
    """
    candidates = [one for one in pool.candidates if one.is_real or not only_real]
    model = cp_model.CpModel()
    takes: list[tuple[Candidate, int, cp_model.IntVar]] = []
    used = [model.new_bool_var(f"used{i}") for i in range(len(pool.supplies))]
    cost: list[cp_model.LinearExprT] = []
    for index, supply in enumerate(pool.supplies):
        found, reach = _on_supply(
            model, pool, candidates, index, used[index], fullness.get(index, 1.0)
        )
        takes += found
        per_tenth = _film_cost(supply, 1.0 / _TENTH, rates)
        cost.append(round(_COIN * per_tenth) * reach)
        cost += [round(_COIN * rates.cut) * take for _, _, take in found]
        cost.append(round(_COIN * (rates.handling + worths[index])) * used[index])
    _cover(model, pool, takes)
    model.minimize(cp_model.LinearExpr.sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.random_seed = seed % (1 << 31)
    # One worker with a strong linear relaxation proves such covers best in seconds; several
    # workers on two cores took far longer.
    solver.parameters.num_workers = 1
    solver.parameters.linearization_level = 2
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    taken = [
        (candidate, index) for candidate, index, take in takes for _ in range(solver.value(take))
    ]
    return Assignment(
        counts=_counts(pool, taken),
        cost=solver.objective_value / _COIN,
        bound=solver.best_objective_bound / _COIN,
        is_real=all(candidate.is_real for candidate, _ in taken),
    )


def _on_supply(
    model: cp_model.CpModel,
    pool: Pool,
    candidates: Sequence[Candidate],
    at: int,
    used: cp_model.IntVar,
    fullness: float,
) -> tuple[list[tuple[Candidate, int, cp_model.IntVar]], cp_model.IntVar]:
    """What could be cut from a supply, window after window, and how far along it that reaches."""
    supply = pool.supplies[at]
    takes: list[tuple[Candidate, int, cp_model.IntVar]] = []
    reach = model.new_int_var(0, math.floor(supply.length_mm * _TENTH), "")
    for start, length in sound_film(supply):
        room = length * fullness
        used_here = model.new_bool_var("")
        model.add_implication(used_here, used)
        lengths: list[cp_model.LinearExprT] = []
        for candidate in candidates:
            if candidate.kind != pool.kind_of[at] or candidate.length_mm > room:
                continue
            most = max(
                math.ceil(demand.request.copies / count)
                for demand, count in zip(pool.demands, candidate.counts, strict=True)
                if count
            )
            take = model.new_int_var(0, most, "")
            takes.append((candidate, at, take))
            model.add(take <= most * used_here)
            lengths.append(math.ceil(candidate.length_mm * _TENTH) * take)
        filled = cp_model.LinearExpr.sum(lengths)
        model.add(filled <= math.floor(room * _TENTH))
        model.add(reach >= filled + math.floor(start * _TENTH) * used_here)
    return takes, reach


def _film_cost(supply: Supply, length_mm: float, rates: WeekRates) -> float:
    """What film of a supply counts; an offcut's is counted when it is taken."""
    if supply.is_offcut:
        return 0.0
    return length_mm / 1e3 * supply.cost_per_m * (1.0 - rates.age_part(supply))


def _cover(
    model: cp_model.CpModel,
    pool: Pool,
    takes: Sequence[tuple[Candidate, int, cp_model.IntVar]],
) -> None:
    groups = one_lot_groups(pool.demands, pool.supplies)
    bound_to_lot = {index for members in groups.values() for index in members}
    for index, demand in enumerate(pool.demands):
        if index in bound_to_lot:
            continue
        held = [one.counts[index] * take for one, _, take in takes if one.counts[index]]
        model.add(cp_model.LinearExpr.sum(held) >= demand.request.copies)
    for members in groups.values():
        chosen = {lot: model.new_bool_var(f"lot {lot}") for lot in lots_for(pool, members)}
        model.add_exactly_one(chosen.values())
        for index in members:
            for lot, is_chosen in chosen.items():
                held = [
                    one.counts[index] * take
                    for one, at, take in takes
                    if one.counts[index] and pool.supplies[at].lot == lot
                ]
                copies = pool.demands[index].request.copies
                model.add(cp_model.LinearExpr.sum(held) >= copies * is_chosen)


def _counts(pool: Pool, taken: Sequence[tuple[Candidate, int]]) -> tuple[tuple[int, ...], ...]:
    """How many pieces each supply holds, none more than wanted, those of a lot together."""
    groups = one_lot_groups(pool.demands, pool.supplies)
    counts = [[0] * len(pool.demands) for _ in pool.supplies]
    lot_of = {index: _lot(pool, taken, members) for members in groups.values() for index in members}
    for index, demand in enumerate(pool.demands):
        wanted = demand.request.copies
        # Offcuts keep their pieces; of rolls, the one that holds more of the piece.
        order = sorted(
            taken,
            key=lambda one: (not pool.supplies[one[1]].is_offcut, -one[0].counts[index]),
        )
        for candidate, at in order:
            if index in lot_of and pool.supplies[at].lot != lot_of[index]:
                continue
            given = min(wanted, candidate.counts[index])
            counts[at][index] += given
            wanted -= given
    return tuple(tuple(row) for row in counts)


def _lot(pool: Pool, taken: Sequence[tuple[Candidate, int]], members: Sequence[int]) -> str:
    """The lot that holds all of a group."""
    held: dict[str, list[int]] = {lot: [0] * len(pool.demands) for lot in lots_for(pool, members)}
    for candidate, at in taken:
        row = held.get(pool.supplies[at].lot)
        if row is not None:
            for index in members:
                row[index] += candidate.counts[index]
    return next(
        lot
        for lot, row in sorted(held.items())
        if all(row[index] >= pool.demands[index].request.copies for index in members)
    )
