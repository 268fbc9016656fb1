"""The coupe's layout, from stored places: a search ends by the clock and is never repeated."""

import json
from dataclasses import replace
from pathlib import Path

from figures.jobs import demo_order, pieces
from layflat.base import write_text
from layflat.job import lay_out
from layflat.nest import Layout, Placement, Section, check_layout
from layflat.papers import layout_picture as drawn

PLACES = Path(__file__).parent / "layout-places.json"


def laid_out_picture() -> str:
    """The stored layout, checked as any other, and drawn.

    Raises:
        CheckError: the pieces have changed and do not lie as stored any more; search anew.
    """
    layout = _stored()
    check_layout(layout)
    return drawn(layout, width_mm=240, height_mm=120)


def search_anew(*, seconds: float) -> None:
    """Search for a layout and store its places."""
    order = demo_order("coupe")
    layout = lay_out(replace(order, layout=replace(order.layout, seconds=seconds)), pieces("coupe"))
    places = {
        "length_mm": round(layout.length_mm + 0.005, 2),
        "sections_mm": [[item.start_mm, item.end_mm] for item in layout.sections],
        "pieces": [
            {
                "panel": item.pattern.name,
                "number": item.number,
                "section": item.section,
                "turn_deg": item.turn_deg,
                "x_mm": round(item.x_mm, 3),
                "y_mm": round(item.y_mm, 3),
            }
            for item in layout.placements
        ],
    }
    write_text(PLACES, json.dumps(places, indent=1) + "\n")


def _stored() -> Layout:
    places = json.loads(PLACES.read_text(encoding="utf-8"))
    order = demo_order("coupe")
    patterns = {piece.name: piece.pattern for piece in pieces("coupe")}
    return Layout(
        stock=order.layout.stock,
        gap_mm=order.layout.gap_mm,
        placements=tuple(
            Placement(
                pattern=patterns[item["panel"]],
                number=item["number"],
                copy=1,
                section=item["section"],
                turn_deg=item["turn_deg"],
                x_mm=item["x_mm"],
                y_mm=item["y_mm"],
            )
            for item in places["pieces"]
        ),
        sections=tuple(Section(start_mm=a, end_mm=b) for a, b in places["sections_mm"]),
        length_mm=places["length_mm"],
        piece_area_mm2=0.0,
        lower_bound_mm=0.0,
        seed=0,
        seconds=0.0,
    )
