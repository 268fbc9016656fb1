"""Pieces as they are drawn on the roll, made once: coarse outlines and the place of the number.

JSON: {"pieces": {number: {"d": path data in the pattern's millimetres, "x", "y": where the number
stands, "r": how much room it has}}}; y runs upwards, as in patterns.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

import shapely

from layflat.papers import panel_title
from layflat.pattern import Pattern, coarse_polygon
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file

_DRAWN_MM: Final = 1.0
"""A pixel on a screen is some millimetres of the roll."""
_MOST_BYTES: Final = 20_000_000


def shapes_json(patterns: Mapping[int, Pattern] | Mapping[str, Pattern]) -> bytes:
    """The drawn shapes of pieces by number, or name, as the JSON above, and their titles."""
    pieces = {str(number): _shape(pattern) for number, pattern in patterns.items()}
    return json.dumps({"pieces": pieces}, separators=(",", ":")).encode()


def kept_shapes(patterns: Mapping[int, Pattern]) -> StoredFile:
    """The drawn shapes of pieces as a kept file."""
    return keep_file(
        [shapes_json(patterns)],
        name="shapes.json",
        media_type="application/json",
        most_bytes=_MOST_BYTES,
        who=None,
    )


def _shape(pattern: Pattern) -> dict[str, Any]:
    polygon = coarse_polygon(pattern, deviation_mm=_DRAWN_MM)
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=2.0)
    x, y = shapely.get_coordinates(circle)[0]
    return {
        "d": "".join(_ring(shapely.get_coordinates(ring)) for ring in shapely.get_rings(polygon)),
        "x": round(float(x), 1),
        "y": round(float(y), 1),
        "r": round(float(circle.length), 1),
        "title": panel_title(pattern.name),
    }


def _ring(points: Any) -> str:
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in points[:-1]) + "Z"
