"""Layouts as JSON and back, exactly: what was kept is never computed again.

Pieces bear the numbers that they have in the whole job, on labels and maps too, not their order
along the roll. What was asked for may stand beside: `lay`, turns in laying by number, and
`turns_deg`, see `layflat.web.cutting.turns`.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from layflat.base import CheckError, InputError
from layflat.nest import Layout, Placement, Request, Section, Stock, Stretch, check_layout
from layflat.pattern import Pattern, pattern_area_mm2

FORM: Final = "layflat layout 1"


def layout_json(layout: Layout, numbers: Mapping[str, int]) -> dict[str, Any]:
    """A layout as plain values for JSON.

    Args:
        layout: of patterns whose names are unique.
        numbers: of the pieces, by the names of their patterns.

    Returns:
        `form`; `stock` as `stock_json` writes it; `gap_mm`;
        `placements`, in the order of cutting, with `piece`, `section` (from 0), `turn_deg`, `x_mm`,
        `y_mm`; `sections`, each its start and end in mm; `length_mm`, `area_mm2`, `bound_mm`,
        `seed`, `seconds`, `notes`.
    """
    return {
        "form": FORM,
        "stock": stock_json(layout.stock),
        "gap_mm": layout.gap_mm,
        "placements": [
            {
                "piece": numbers[item.pattern.name],
                "section": item.section,
                "turn_deg": item.turn_deg,
                "x_mm": item.x_mm,
                "y_mm": item.y_mm,
            }
            for item in layout.placements
        ],
        "sections": [[section.start_mm, section.end_mm] for section in layout.sections],
        "length_mm": layout.length_mm,
        "area_mm2": layout.piece_area_mm2,
        "bound_mm": layout.lower_bound_mm,
        "seed": layout.seed,
        "seconds": layout.seconds,
        "notes": list(layout.notes),
    }


def stock_json(stock: Stock) -> dict[str, Any]:
    """Stock as plain values for JSON.

    Returns:
        `width_mm`, `edge_margin_mm`, `end_margin_mm`, `length_mm`, and `faults`, each with
        `start_mm`, `end_mm`, `reason`.
    """
    return {
        "width_mm": stock.width_mm,
        "edge_margin_mm": stock.edge_margin_mm,
        "end_margin_mm": stock.end_margin_mm,
        "length_mm": stock.length_mm,
        "faults": [
            {"start_mm": one.start_mm, "end_mm": one.end_mm, "reason": one.reason}
            for one in stock.faults
        ],
    }


def stock_of(data: Mapping[str, Any]) -> Stock:
    """The stock that `stock_json` wrote; without `faults` it is of before there were any."""
    faults = tuple(Stretch(**one) for one in data.get("faults", ()))
    return Stock(**{**data, "faults": faults})


def layout_of(data: Mapping[str, Any], patterns: Mapping[int, Pattern]) -> Layout:
    """The layout that `layout_json` wrote, its pieces with their numbers in the job.

    Args:
        data: as it was kept.
        patterns: of the pieces, by number.

    Raises:
        InputError: it is of another form, or names a piece that is not among *patterns*.
    """
    if data.get("form") != FORM:
        raise InputError(
            "The layout was kept in a form that is not known; lay the pieces out anew."
        )
    missing = {item["piece"] for item in data["placements"]} - set(patterns)
    if missing:
        raise InputError(f"The layout names piece {min(missing)}, which has no pattern.")
    return Layout(
        stock=stock_of(data["stock"]),
        gap_mm=data["gap_mm"],
        placements=tuple(
            Placement(
                pattern=patterns[item["piece"]],
                number=item["piece"],
                copy=1,
                section=item["section"],
                turn_deg=item["turn_deg"],
                x_mm=item["x_mm"],
                y_mm=item["y_mm"],
            )
            for item in data["placements"]
        ),
        sections=tuple(Section(start_mm=start, end_mm=end) for start, end in data["sections"]),
        length_mm=data["length_mm"],
        piece_area_mm2=data["area_mm2"],
        lower_bound_mm=data["bound_mm"],
        seed=data["seed"],
        seconds=data["seconds"],
        notes=tuple(data["notes"]),
    )


def check_stored(
    layout: Layout, patterns: Mapping[int, Pattern], *, turns_deg: Mapping[int, tuple[float, ...]]
) -> None:
    """Refuse a layout from `layout_of` that is not one of every pattern, as it was asked for.

    Args:
        layout: its pieces with their numbers.
        patterns: of all pieces that it must hold, by number.
        turns_deg: how each of them may be turned.

    Raises:
        CheckError: it fails the check that every layout must pass; the sentence says where.
    """
    in_order = tuple(
        replace(item, number=place) for place, item in enumerate(layout.placements, start=1)
    )
    requests = tuple(
        Request(pattern=one, turns_deg=turns_deg.get(number)) for number, one in patterns.items()
    )
    check_layout(replace(layout, placements=in_order, requests=requests))
    area_mm2 = sum(pattern_area_mm2(one) for one in patterns.values())
    if abs(area_mm2 - layout.piece_area_mm2) > 1e-6 * area_mm2:
        raise CheckError("The layout is refused: its pieces are not as large as their patterns.")
