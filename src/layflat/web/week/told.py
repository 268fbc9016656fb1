"""A week's plan as JSON: what comes from what, what it costs, and each job's part as a layout.

`uses` has a row for each roll or offcut that is used: `roll`, its key, `name`, `lot`,
`is_offcut`, `width_mm`, `length_mm` that is used of it, `account` in mm, `film`, `cuts`,
`handling`, `age`, `offcuts` and `cost` in money, `yield`, `kept`, the offcuts that pay for a
shelf, `picture`, as `layflat.web.cutting.drawn` draws it, and `parts`, in order along the roll:
sections of the same jobs as `layout`, as `layflat.web.cutting.stored` keeps layouts, with
`members`, a row for each job: `job`, its key, `letter`, and `pieces`, their numbers. Plans of
before jobs' sections could be kept have parts with `job`, `letter` and `pieces` of one job, and
perhaps no `layout`.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from layflat.nest import Layout, Placement, Section, Stretch
from layflat.pattern import Pattern, pattern_area_mm2
from layflat.plan import KeptOffcut, Use, WeekPlan
from layflat.web.cutting.models import number_in_layout
from layflat.web.cutting.stored import layout_json


@dataclass(frozen=True, kw_only=True, eq=False)
class Whose:
    """A piece of the plan.

    Attributes:
        job: key of its job.
        letter: of the job, within the plan.
        number: of the piece, within the job.
        pattern: as its file has it.
    """

    job: int
    letter: str
    number: int
    pattern: Pattern

    @property
    def called(self) -> str:
        """What it is called on the plan's pictures."""
        return f"{self.letter}{self.number}"


def plan_json(
    plan: WeekPlan,
    whose: Mapping[str, Whose],
    asked: Mapping[str, Any],
    *,
    together: float | None = None,
) -> dict[str, Any]:
    """A plan as plain values for JSON.

    Args:
        plan: of patterns that *whose* knows.
        whose: piece each pattern is, by the name that it has in the plan.
        asked: see `layflat.web.week.asking`.
        together: what the cheapest plan with shared sections costs, if that is known.

    Returns:
        `uses` as above, `cost`, `film`, `bound`, `alone` (None if a job by itself found no roll),
        `together`, `length_mm` of all film that is used, `notes`.
    """
    rows = {row["name"]: row for row in asked["stock"]}
    return {
        "uses": [_use(use, whose, rows[use.supply.name]) for use in plan.uses],
        "cost": plan.cost,
        "film": plan.film,
        "bound": plan.bound,
        "alone": plan.alone if math.isfinite(plan.alone) else None,
        "together": together,
        "length_mm": sum(use.layout.length_mm for use in plan.uses),
        "notes": [*plan.notes, *_other_lots(plan, asked)],
    }


def _other_lots(plan: WeekPlan, asked: Mapping[str, Any]) -> Iterator[str]:
    """Sentences on jobs that get film of another lot than their pieces have already."""
    for row in asked["jobs"]:
        own = row.get("lot")
        lots = plan.lots_of(row["number"]).get(asked["film"], ())
        if own and (others := [lot for lot in lots if lot != own]):
            yield (
                f"{row['number']} gets film of lot {', '.join(others)}, while its other pieces are "
                f"of lot {own}; its passport says so."
            )


def _use(use: Use, whose: Mapping[str, Whose], row: Mapping[str, Any]) -> dict[str, Any]:
    layout = use.layout
    return {
        "roll": row["roll"],
        "name": row["name"],
        "lot": row["lot"],
        "is_offcut": row["is_offcut"],
        "width_mm": row["width_mm"],
        "length_mm": layout.length_mm,
        "account": dict(vars(use.account)),
        "film": use.film,
        "cuts": use.cuts,
        "handling": use.handling,
        "age": use.age,
        "offcuts": use.offcuts,
        "cost": use.cost,
        "yield": layout.yield_,
        "kept": [_kept(one) for one in use.kept],
        "thrown": use.thrown,
        "picture": _picture(layout, whose),
        "parts": _parts(use, whose),
    }


def _kept(one: KeptOffcut) -> dict[str, Any]:
    return {
        "length_mm": one.offcut.length_mm,
        "width_mm": one.offcut.width_mm,
        "worth": one.worth,
        "chance": one.chance.chance,
        "fitting": one.chance.fitting,
        "jobs": one.chance.jobs,
    }


def _picture(layout: Layout, whose: Mapping[str, Whose]) -> dict[str, Any]:
    return {
        "stock": {
            "width_mm": layout.stock.width_mm,
            "edge_margin_mm": layout.stock.edge_margin_mm,
        },
        "placements": [
            {
                "piece": whose[item.pattern.name].called,
                "section": item.section,
                "turn_deg": item.turn_deg,
                "x_mm": item.x_mm,
                "y_mm": item.y_mm,
            }
            for item in layout.placements
        ],
        "sections": [[section.start_mm, section.end_mm] for section in layout.sections],
        "length_mm": layout.length_mm,
    }


def _parts(use: Use, whose: Mapping[str, Whose]) -> list[dict[str, Any]]:
    layout = use.layout
    found = []
    for sections in _together(layout, whose):
        own = [item for item in layout.placements if item.section in sections]
        part = part_of_layout(layout, sections, own)
        jobs: dict[int, list[Whose]] = {}
        for item in own:
            one = whose[item.pattern.name]
            jobs.setdefault(one.job, []).append(one)
        numbers = {
            item.pattern.name: _in_layout(whose[item.pattern.name], is_shared=len(jobs) > 1)
            for item in own
        }
        members = [
            {
                "job": job,
                "letter": pieces[0].letter,
                "pieces": sorted(one.number for one in pieces),
            }
            for job, pieces in jobs.items()
        ]
        members.sort(key=lambda one: str(one["letter"]))
        found.append({"members": members, "layout": layout_json(part, numbers)})
    return found


def _in_layout(one: Whose, *, is_shared: bool) -> int:
    return number_in_layout(one.letter, one.number) if is_shared else one.number


def _together(layout: Layout, whose: Mapping[str, Whose]) -> list[list[int]]:
    """Sections that are kept as one layout: those of the same jobs, in order along the roll.

    On a roll with faults only those that follow each other: closed up they would lie elsewhere.
    """
    jobs: list[set[int]] = [set() for _ in layout.sections]
    for item in layout.placements:
        jobs[item.section].add(whose[item.pattern.name].job)
    found: list[list[int]] = []
    for index, held in enumerate(jobs):
        before = found[-1:] if layout.stock.faults else found
        same = next((one for one in before if jobs[one[0]] == held), None)
        if same is None:
            found.append([index])
        else:
            same.append(index)
    return found


def part_of_layout(layout: Layout, sections: Sequence[int], own: Sequence[Placement]) -> Layout:
    """Some sections of a layout as a layout of their own, that begins behind those before them.

    Args:
        layout: that they are part of.
        sections: their indices, in order; they hold no other pieces. On a roll with faults they
            follow each other.
        own: the pieces that they hold.
    """
    first, stock = sections[0], layout.stock
    follow = list(sections) == list(range(first, first + len(sections)))
    spacing = max(0.0, layout.gap_mm - 2 * stock.end_margin_mm)
    front = layout.sections[first - 1].end_mm + spacing if first else 0.0
    moved: list[Section] = []
    shifts: dict[int, float] = {}
    for index in sections:
        section = layout.sections[index]
        # Where others' sections lie between, theirs close up; else gaps at faults stay.
        shift = front if follow or not moved else section.start_mm - moved[-1].end_mm - spacing
        shifts[index] = shift
        moved.append(Section(start_mm=section.start_mm - shift, end_mm=section.end_mm - shift))
    area = sum(pattern_area_mm2(item.pattern) for item in own)
    return replace(
        layout,
        stock=replace(stock, faults=tuple(_shifted(stock.faults, front))),
        placements=tuple(
            replace(
                item,
                number=number,
                copy=1,
                section=sections.index(item.section),
                x_mm=item.x_mm - shifts[item.section],
            )
            for number, item in enumerate(own, start=1)
        ),
        sections=tuple(moved),
        length_mm=moved[-1].end_mm,
        piece_area_mm2=area,
        lower_bound_mm=_bound_mm(layout, own, area),
        requests=(),
        notes=(),
    )


def _shifted(faults: Sequence[Stretch], by_mm: float) -> Iterator[Stretch]:
    for fault in faults:
        if fault.end_mm > by_mm:
            start = max(0.0, fault.start_mm - by_mm)
            yield replace(fault, start_mm=start, end_mm=fault.end_mm - by_mm)


def _bound_mm(layout: Layout, own: Sequence[Placement], area_mm2: float) -> float:
    """Of a part only this is known: its pieces' area, over the width that can be used."""
    if len(own) == len(layout.placements):
        return layout.lower_bound_mm
    stock = layout.stock
    return area_mm2 / (stock.width_mm - 2 * stock.edge_margin_mm) + 2 * stock.end_margin_mm
