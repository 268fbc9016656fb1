"""What no plan of the week can cost less than.

Pieces are shared out over the supplies as if only their area counted: on each supply the film is
no less than the sum of the pieces' areas, grown by half the gap, over usable width and gap, two
end margins less a gap added (the lower bound of `layflat.nest` by area). Each supply that is used
costs its handling and at least one section. An offcut that is kept counts at most for the stated
part of what its film cost, and it is no larger than what pieces leave of the film; so much at
most is taken off, and no more than the film counts for that it is kept of. Lots are kept together
as in the plan. The least of that, a small integer programme, is no more than any plan costs;
OR-Tools' CP-SAT solves it, and where its time ends, its own lower bound counts.
"""

import math
from collections.abc import Sequence

from ortools.sat.python import cp_model

from layflat.pattern import pattern_area_mm2
from layflat.plan.week_pool import Pool, lots_for
from layflat.plan.week_records import WeekRates, one_lot_groups

_COIN = 1_000_000
_TENTH = 10
_MOST = 10**15
"""A thousand million, in coins: film never counts for more."""


def week_bound(
    pool: Pool,
    *,
    rates: WeekRates,
    worths: Sequence[float],
    gap_mm: float,
    seconds: float,
) -> float:
    """A cost that no plan of these pieces on these supplies goes below, in money.

    Args:
        pool: demands and supplies.
        rates: what is weighed beside film.
        worths: what each supply counts for when it is taken whole, 0 for rolls.
        gap_mm: least distance between pieces.
        seconds: time limit.
    """
    model = cp_model.CpModel()
    cost: list[cp_model.LinearExprT] = []
    shares: dict[tuple[int, int], cp_model.IntVar] = {}
    for at, supply in enumerate(pool.supplies):
        used = model.new_bool_var("")
        needs: list[cp_model.LinearExprT] = []
        areas: list[tuple[float, cp_model.IntVar]] = []
        for index, demand in enumerate(pool.demands):
            least = pool.least_mm(index, at)
            if math.isinf(least):
                continue
            copies = demand.request.copies
            share = shares[index, at] = model.new_int_var(0, copies, "")
            model.add(share <= copies * used)
            needs.append(math.floor(least * _TENTH) * share)
            areas.append((pattern_area_mm2(demand.request.pattern), share))
        most = math.ceil(supply.length_mm * _TENTH)
        length = model.new_int_var(0, most, "")
        model.add(length <= most * used)
        ends = math.floor((2 * supply.stock.end_margin_mm - gap_mm) * _TENTH)
        model.add(length >= cp_model.LinearExpr.sum(needs) + ends * used)
        per_tenth, most_worth = supply.cost_per_m / 1e3 / _TENTH, rates.storing.most_worth
        # A roll's film is paid as it is used, an offcut's as it is taken; of either so much is kept
        # at most as the pieces leave, and what is kept never counts for more than the film does.
        if supply.is_offcut:
            film = _whole(worths[at] - most_worth * per_tenth * _TENTH * supply.length_mm) * used
        else:
            film = _whole(per_tenth * (1.0 - rates.age_part(supply) - most_worth)) * length
        net = model.new_int_var(0, _MOST, "")
        pieces = [_whole(most_worth * supply.per_m2 * area / 1e6) * share for area, share in areas]
        model.add(net >= film + cp_model.LinearExpr.sum(pieces))
        cost += [_whole(rates.handling + rates.cut) * used, net]
    _share_out(model, pool, shares)
    model.minimize(cp_model.LinearExpr.sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.linearization_level = 2
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return 0.0
    return max(0.0, solver.best_objective_bound / _COIN)


def _whole(money: float) -> int:
    """Rounded down, so that the sum is no more than it is."""
    return math.floor(money * _COIN)


def _share_out(
    model: cp_model.CpModel, pool: Pool, shares: dict[tuple[int, int], cp_model.IntVar]
) -> None:
    supplies = range(len(pool.supplies))
    for index, demand in enumerate(pool.demands):
        held = [shares[index, at] for at in supplies if (index, at) in shares]
        model.add(cp_model.LinearExpr.sum(held) == demand.request.copies)
    for members in one_lot_groups(pool.demands, pool.supplies).values():
        chosen = {lot: model.new_bool_var("") for lot in lots_for(pool, members)}
        model.add_exactly_one(chosen.values())
        for index in members:
            for at in supplies:
                if (index, at) in shares:
                    copies = pool.demands[index].request.copies
                    most = copies * chosen.get(pool.supplies[at].lot, 0)
                    model.add(shares[index, at] <= most)
