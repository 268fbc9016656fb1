"""What the page shows on which a person arranges pieces on the roll."""

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from layflat.nest import Stretch
from layflat.pattern import Pattern, sample
from layflat.web.cover.order import MAX_SECTION_MM
from layflat.web.cutting.along import stretches
from layflat.web.cutting.by_hand import why_not_by_hand
from layflat.web.cutting.drawn import drawn, shapes_of
from layflat.web.cutting.models import Layout, called
from layflat.web.cutting.reserved import available_for
from layflat.web.cutting.search import TASK
from layflat.web.cutting.sharing import jobs_of
from layflat.web.cutting.standing import figures_of
from layflat.web.cutting.starting import SECONDS
from layflat.web.cutting.turns import shows_direction, turns_json, turns_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_fine_length

_STEPS_MM: Final = (1, 10, 100)
_CHORD_MM: Final = 0.01
_DIGITS: Final = 3
_SPARE_PART: Final = 0.1
_SPARE_MM: Final = 300.0
"""How much more of the roll is drawn than is used, for pieces that are put aside."""


def by_hand_context(job: Job, layout: Layout, shop: Shop) -> dict[str, Any]:
    """What the page shows; *layout* with its roll, computation and shapes."""
    sections = list(layout.sections.all())
    context = {
        "part": "job",
        "job": job,
        "shop": shop,
        "layout": layout,
        "title": f"Layout {layout.number} by hand",
        "refused": why_not_by_hand(layout, sections),
    }
    data = layout.found or layout.so_far
    shapes = shapes_of(layout)
    if context["refused"] or data is None:
        return context
    kept_mm = sum(one.film_mm for one in sections)
    free_mm = available_for(layout.roll, jobs_of(layout)) + kept_mm
    picture = drawn(data, shapes)
    shown_mm = round(picture.length_mm * (1 + _SPARE_PART) + _SPARE_MM)
    faults = stretches(layout.roll, length_mm=free_mm, instead_of=layout)
    pinned = _pinned(layout)
    return context | {
        "picture": replace(picture, length_mm=shown_mm),
        "figures": figures_of(data, shop),
        "seconds": SECONDS,
        "is_directed": shows_direction(turns_of(data)),
        "steps": [(mm, shown_fine_length(mm, shop)) for mm in _STEPS_MM] + [("gap", "to the gap")],
        "pieces": [
            {
                "number": item["piece"],
                "called": called(item["piece"]),
                "title": shapes[str(item["piece"])]["title"],
            }
            for item in sorted(data["placements"], key=lambda item: item["piece"])
            if str(item["piece"]) in shapes
        ],
        "film_json": json.dumps(_film(data, free_mm, faults, shop)),
        "lies_json": json.dumps(
            [
                [
                    item["piece"],
                    item["turn_deg"],
                    item["x_mm"],
                    item["y_mm"],
                    item["piece"] in pinned,
                ]
                for item in data["placements"]
            ]
        ),
    }


def _pinned(layout: Layout) -> set[int]:
    """Pieces that the search was asked to leave where they are."""
    made = layout.computation
    return set(made.inputs.get("pinned", ())) if made is not None and made.task == TASK else set()


def _film(
    data: dict[str, Any], free_mm: int, faults: Sequence[Stretch], shop: Shop
) -> dict[str, Any]:
    stock = data["stock"]
    return {
        "width": stock["width_mm"],
        "edge": stock["edge_margin_mm"],
        "end": stock["end_margin_mm"],
        "gap": data["gap_mm"],
        "longest": MAX_SECTION_MM - 2 * stock["end_margin_mm"],
        "length": free_mm,
        "faults": [[one.start_mm, one.end_mm, one.reason] for one in faults],
        "ends": [end for _, end in data["sections"][:-1]],
        "used": data["length_mm"],
        "turns": turns_json(turns_of(data)),
        "inches": shop.inches,
    }


def outlines(patterns: dict[int, Pattern]) -> dict[str, Any]:
    """Outlines for the page's own judgement, as chords of a hundredth of a millimetre.

    Returns:
        `pieces`: by number a list of rings, the outline first, each x and y in turn.
    """
    return {
        "pieces": {
            str(number): [
                [
                    round(float(value), _DIGITS)
                    for value in sample(curve, deviation_mm=_CHORD_MM).flat
                ]
                for curve in (pattern.outline, *pattern.cut_outs)
            ]
            for number, pattern in patterns.items()
        }
    }
