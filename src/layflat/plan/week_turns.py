"""One direction for a job's visible pieces in film that shows its direction."""

from collections.abc import Sequence
from dataclasses import replace

from layflat.base import InputError
from layflat.nest import QuickStock
from layflat.plan.week_records import Demand, Supply, one_lot_groups

_TOLERANCE_DEG = 1e-6


def with_one_direction(
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    *,
    gap_mm: float,
    max_section_mm: float,
) -> tuple[Demand, ...]:
    """The demands, those that must lie in one direction with one turn for each job and film.

    Of the turns that all of a job's pieces allow, the first at which they fit somewhere counts.
    Every demand gets a pattern of its own, so that its pieces are told from another job's.

    Raises:
        InputError: pieces that must lie in one direction have no turn in common.
    """
    known = {supply.film for supply in supplies}
    held = [
        replace(demand, request=replace(demand.request, pattern=replace(demand.request.pattern)))
        for demand in demands
    ]
    groups = one_lot_groups([one for one in held if one.film in known], supplies)
    places = [index for index, one in enumerate(held) if one.film in known]
    for (job, film), members in groups.items():
        own = [places[member] for member in members]
        common = _common_turns([held[index] for index in own])
        if not common:
            raise InputError(
                f"The visible pieces of {job} in “{film}” must lie in one direction, and there is "
                "no turn that all of them allow; give them one in common."
            )
        turn = common[0]
        for candidate in common:
            turned = [_turned(held[index], candidate) for index in own]
            if _fits_somewhere(turned, supplies, gap_mm, max_section_mm):
                turn = candidate
                break
        for index in own:
            held[index] = _turned(held[index], turn)
    return tuple(held)


def _common_turns(demands: Sequence[Demand]) -> tuple[float, ...]:
    """The turns that all allow, ascending; 0 and the quarter turns where each may take any."""
    given = [one.request.turns_deg for one in demands if one.request.turns_deg is not None]
    if not given:
        return (0.0, 90.0, 180.0, 270.0)
    common = [
        turn % 360.0
        for turn in given[0]
        if all(
            any(abs((turn - other + 180.0) % 360.0 - 180.0) < _TOLERANCE_DEG for other in turns)
            for turns in given[1:]
        )
    ]
    return tuple(sorted(set(common)))


def _turned(demand: Demand, turn: float) -> Demand:
    return replace(demand, request=replace(demand.request, turns_deg=(turn,)))


def _fits_somewhere(
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    gap_mm: float,
    max_section_mm: float,
) -> bool:
    requests = [demand.request for demand in demands]
    return any(
        not QuickStock(requests, supply.stock, gap_mm=gap_mm, max_section_mm=max_section_mm).misfits
        for supply in supplies
        if all(demand.may_come_from(supply) for demand in demands)
    )
