"""What a supply's layout costs and leaves, layouts one behind the other, and their notes."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from layflat.nest import (
    Layout,
    Offcut,
    Placement,
    Section,
    Stock,
    Stretch,
    check_layout,
    film_account,
    least_length_mm,
    offcuts_of,
)
from layflat.plan.chance import Chance, Size, chance_of_use, offcut_worth
from layflat.plan.week_records import KeptOffcut, Supply, Use, WeekRates

Past = Mapping[str, Sequence[Sequence[Size]]]


def rectangle_worth(
    size: Size, supply: Supply, *, rates: WeekRates, past: Past, before: int = 0
) -> tuple[float, Chance]:
    """What a rectangle of a supply's film is worth as an offcut, and how likely it is used.

    Args:
        size: along and across the roll.
        supply: whose film it is.
        rates: what storing costs.
        past: the boxes of past jobs' pieces, by film.
        before: how many offcuts that would serve as well are there already.
    """
    stock = supply.stock
    chance = chance_of_use(
        size,
        past.get(supply.film, ()),
        jobs_ahead=rates.storing.jobs_ahead,
        before=before,
        margins_mm=(2 * stock.end_margin_mm, 2 * stock.edge_margin_mm),
        may_turn=not supply.kind.one_lot,
    )
    worth = offcut_worth(
        chance,
        size[0] * size[1],
        per_m2=supply.per_m2,
        per_hour=rates.per_hour,
        storing=rates.storing,
    )
    return worth, chance


def supply_worth(supply: Supply, *, rates: WeekRates, past: Past) -> float:
    """What taking a supply counts before a piece is cut: an offcut's worth, 0 for a roll.

    Its shelf is paid for already, so that what storing costs is not taken off.
    """
    if not supply.is_offcut:
        return 0.0
    size = (supply.length_mm, supply.stock.width_mm)
    chance = rectangle_worth(size, supply, rates=rates, past=past)[1]
    free = replace(rates.storing, minutes=0.0)
    return offcut_worth(
        chance,
        size[0] * size[1],
        per_m2=supply.per_m2,
        per_hour=rates.per_hour,
        storing=free,
    )


def make_use(
    supply: Supply,
    layout: Layout,
    jobs: Sequence[str],
    *,
    rates: WeekRates,
    past: Past,
    others: Sequence[Supply],
) -> Use:
    """A supply's layout with its cost, and the offcuts that pay for a shelf.

    All that is kept of a supply's film counts for no more than that film does: an offcut counts
    for one use when it is taken, and what it leaves could not be worth more than the whole was.

    Args:
        supply: what it is cut from.
        layout: a checked one.
        jobs: whose piece each placement is.
        rates: what is weighed beside film.
        past: the boxes of past jobs' pieces, by film.
        others: the offcuts that are on the shelf already.

    Raises:
        CheckError: the film does not add up.
    """
    least = (rates.storing.least_short_mm, rates.storing.least_long_mm)
    kept: list[KeptOffcut] = []
    thrown = 0
    for offcut in offcuts_of(layout, least_mm=least, behind=supply.is_offcut):
        before = sum(_serves(other, supply, offcut) for other in others)
        before += sum(_holds(one.offcut, offcut) for one in kept)
        size = (offcut.length_mm, offcut.width_mm)
        worth, chance = rectangle_worth(size, supply, rates=rates, past=past, before=before)
        if worth > 0:
            kept.append(KeptOffcut(offcut=offcut, worth=worth, chance=chance))
        else:
            thrown += 1
    film = layout.length_mm / 1e3 * supply.cost_per_m
    age = film * rates.age_part(supply)
    if supply.is_offcut:
        film, age = supply_worth(supply, rates=rates, past=past), 0.0
    kept = _counted(kept, most=film - age)
    return Use(
        supply=supply,
        layout=layout,
        jobs=tuple(jobs),
        kept=tuple(kept),
        thrown=thrown,
        account=film_account(
            layout,
            tuple(one.offcut for one in kept),
            length_mm=supply.length_mm,
            is_offcut=supply.is_offcut,
        ),
        film=film,
        cuts=len(layout.sections) * rates.cut,
        handling=rates.handling,
        age=age,
        offcuts=sum(one.worth for one in kept),
    )


def _counted(kept: Sequence[KeptOffcut], *, most: float) -> list[KeptOffcut]:
    """Offcuts with what each counts for, so that all together count for no more than *most*."""
    whole = sum(one.worth for one in kept)
    part = most / whole if whole > most else 1.0
    return [replace(one, worth=part * one.worth) for one in kept]


def _serves(other: Supply, supply: Supply, offcut: Offcut) -> bool:
    """Whether another supply is an offcut that would do for what this one would do for."""
    return (
        other.is_offcut
        and other.film == supply.film
        and other.name != supply.name
        and other.length_mm >= offcut.length_mm
        and other.stock.width_mm >= offcut.width_mm
    )


def _holds(larger: Offcut, offcut: Offcut) -> bool:
    return larger.length_mm >= offcut.length_mm and larger.width_mm >= offcut.width_mm


def rest_of(stock: Stock, used_mm: float) -> Stock:
    """What is left of a roll behind what was used, measured from its new cut end."""
    faults = tuple(
        Stretch(
            start_mm=max(0.0, fault.start_mm - used_mm),
            end_mm=fault.end_mm - used_mm,
            reason=fault.reason,
        )
        for fault in stock.faults
        if fault.end_mm > used_mm
    )
    length = None if stock.length_mm is None else stock.length_mm - used_mm
    return replace(stock, length_mm=length, faults=faults)


def one_behind_the_other(
    layouts: Sequence[Layout], stock: Stock, *, gap_mm: float, max_section_mm: float
) -> Layout:
    """Layouts on what each left of a roll, as one layout on the whole roll, checked.

    Args:
        layouts: the first one begins at the roll's cut end, each next one the gap behind.
        stock: the roll.
        gap_mm: what keeps sections apart where their ends do not.
        max_section_mm: no section is longer.
    """
    spacing = max(0.0, gap_mm - 2 * stock.end_margin_mm)
    placements: list[Placement] = []
    sections: list[Section] = []
    copies: dict[tuple[int, bool], int] = {}
    at = 0.0
    for layout in layouts:
        for placement in layout.placements:
            key = (id(placement.pattern), placement.mirrored)
            copies[key] = copies.get(key, 0) + 1
            placements.append(
                replace(
                    placement,
                    number=len(placements) + 1,
                    copy=copies[key],
                    section=placement.section + len(sections),
                    x_mm=placement.x_mm + at,
                )
            )
        sections += [
            Section(start_mm=section.start_mm + at, end_mm=section.end_mm + at)
            for section in layout.sections
        ]
        at = sections[-1].end_mm + spacing
    requests = tuple(request for layout in layouts for request in layout.requests)
    whole = replace(
        layouts[0],
        stock=stock,
        placements=tuple(placements),
        sections=tuple(sections),
        length_mm=sections[-1].end_mm,
        piece_area_mm2=sum(layout.piece_area_mm2 for layout in layouts),
        # What a rest's pieces need behind its faults, they need not where the roll begins.
        lower_bound_mm=least_length_mm(
            requests, stock, gap_mm=gap_mm, max_section_mm=max_section_mm
        ),
        requests=requests,
        notes=tuple(dict.fromkeys(note for layout in layouts for note in layout.notes)),
    )
    check_layout(whole)
    return whole


def notes_of(uses: Sequence[Use]) -> tuple[str, ...]:
    """What layouts have to say, with the supply's name, and jobs whose lots are mixed."""
    notes = [f"{use.supply.name}: {note}" for use in uses for note in use.layout.notes]
    found: dict[tuple[str, str], set[str]] = {}
    for use in uses:
        for job in set(use.jobs):
            found.setdefault((job, use.supply.film), set()).add(use.supply.lot)
    notes += [
        f"{job} has {film} of {len(mixed)} lots ({', '.join(sorted(mixed))}); its passport says so."
        for (job, film), mixed in sorted(found.items())
        if len(mixed) > 1
    ]
    return tuple(notes)
