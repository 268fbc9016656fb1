"""The cut of a section as it will go, to be played: the way of the blade's tip, line by line.

It is made from the program's text, read back, not from what wrote it. JSON: {"seconds", "width_mm",
"length_mm", "lines": [{"down": bool, "seconds": float, "piece": number or 0, "points": [x, y, …]}]}
in the section's millimetres, y across the roll upwards; with the knife up a line is the way of the
head, with the knife down that of the tip. Points are left out where the line stays within 0.1 mm.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from layflat.base import FloatArray
from layflat.cut import Machine, SectionProgram, landed, read_hpgl, simulate, stroke_seconds

_DRAWN_MM: Final = 0.1


def simulated_json(
    section: SectionProgram,
    machine: Machine,
    *,
    width_mm: float,
    pieces: Mapping[int, Polygon],
) -> bytes:
    """The simulated cut of a section as the JSON above.

    Args:
        section: its program.
        machine: that it was made for.
        width_mm: of the roll.
        pieces: where they lie in the section, by number.
    """
    told = read_hpgl(section.hpgl, units_per_mm=machine.units_per_mm)
    strokes = landed(told, machine)
    path = simulate(strokes, knife_offset_mm=machine.knife_offset_mm)
    tips = dict(zip(path.strokes, path.cuts, strict=True))
    lines = []
    for i, stroke in enumerate(strokes):
        lines.append(
            {
                "down": stroke.down,
                "seconds": round(stroke_seconds(stroke, machine), 3),
                "piece": _piece(tips[i], pieces) if stroke.down else 0,
                "points": _thinned(tips[i] if stroke.down else stroke.points_mm),
            }
        )
    whole = {
        "seconds": round(section.seconds, 1),
        "width_mm": width_mm,
        "length_mm": round(section.end_mm - section.start_mm, 2),
        "lines": lines,
    }
    return json.dumps(whole, separators=(",", ":")).encode()


def _piece(tip: FloatArray, pieces: Mapping[int, Polygon]) -> int:
    """The piece whose rim most of a cut follows; 0 for the short cut that turns the blade."""
    middle: Any = shapely.points(tip[len(tip) // 4 :: max(1, len(tip) // 8)])
    for number, polygon in pieces.items():
        near = np.count_nonzero(shapely.distance(polygon.boundary, middle) < 1.0)
        if near * 2 > len(middle):
            return number
    return 0


def _thinned(points: FloatArray) -> list[float]:
    kept: Any = points
    if len(points) > 2:
        kept = shapely.get_coordinates(LineString(points).simplify(_DRAWN_MM))
    flat: list[float] = np.round(kept, 2).ravel().tolist()
    return flat
