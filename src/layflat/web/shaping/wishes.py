"""What is asked of a kept pattern's edges, as JSON.

    {"corners": [[x, y], …],
     "edges": [{"name": "front", "kind": "gap", "mm": 8.0}, …],
     "places": [{"name": "eye", "kind": "sensor", "shape": "circle",
                 "x": 60.0, "y": 100.0, "wide": 30.0, "high": 30.0}, …],
     "marks": [{"kind": "align", "text": "seam", "points": [x, y, x, y]}, …]}

Lengths are mm in the pattern's own x and y. An edge begins at the corner of its place in the list
and runs counter-clockwise; without corners there is one edge.
"""

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from layflat.base import InputError
from layflat.pattern import (
    EdgeWish,
    FreePlace,
    Mark,
    MarkKind,
    Pattern,
    Reshaped,
    ordered_corners,
    reshape,
)
from layflat.surface import EdgeKind, KeepOutKind

Wishes = dict[str, Any]
MOST_EDGES: Final = 60
MOST_PLACES: Final = 40
MOST_MARKS: Final = 200
_LONGEST: Final = 40
_MOST_MM: Final = 100_000.0


def wishes_of(pattern: Pattern) -> Wishes:
    """The edges and marks that a pattern has, as they are first shown."""
    from layflat.revise import Outline, sides_of

    outline = Outline(pattern.outline, pattern.outline_corners)
    sides = sides_of(pattern, outline)
    corners: list[list[float]] = []
    if len(outline.corners) or len(sides) > 1:
        starts = np.array([side.start_mm for side in sides])
        corners = outline.points(starts).round(6).tolist()
    known = {edge.name: edge for edge in pattern.edges if edge.name}
    edges = [
        {
            "name": side.name if side.name in known or not side.name.startswith("side ") else "",
            "kind": known[side.name].kind.value if side.name in known else EdgeKind.OPEN.value,
            "mm": 0.0,
        }
        for side in sides
    ]
    order = sorted(range(len(corners)), key=lambda i: sides[i].start_mm)
    if corners:
        corners, edges = [corners[i] for i in order], [edges[i] for i in order]
    if len(corners) > MOST_EDGES:
        corners, edges = [], [{"name": "", "kind": EdgeKind.OPEN.value, "mm": 0.0}]
    names = {edge["name"] for edge in edges}
    marks = [
        {"kind": mark.kind.value, "text": mark.text, "points": mark.points_mm.ravel().tolist()}
        for mark in pattern.marks
        if mark.kind is not MarkKind.NUMBER and mark.text not in names
    ]
    return {"corners": corners, "edges": edges, "places": [], "marks": marks[:MOST_MARKS]}


def shaped(net: Pattern, wishes: Mapping[str, Any]) -> Reshaped:
    """The pattern as it is asked for.

    Raises:
        InputError: what is asked cannot be; says why.
        CheckError: the result failed its own check.
    """
    marks = [
        Mark(MarkKind(item["kind"]), np.array(item["points"]).reshape(-1, 2), item["text"])
        for item in wishes["marks"]
    ]
    number = [mark for mark in net.marks if mark.kind is MarkKind.NUMBER]
    return reshape(
        net,
        corners=[(x, y) for x, y in wishes["corners"]],
        edges=[EdgeWish(e["name"], EdgeKind(e["kind"]), e["mm"]) for e in wishes["edges"]],
        places=[
            FreePlace(p["name"], p["shape"], p["x"], p["y"], p["wide"], p["high"])
            for p in wishes["places"]
        ],
        marks=[*marks, *number],
    )


def described(wishes: Mapping[str, Any], fields: Mapping[str, str]) -> Wishes:
    """The wishes with the edges as a form describes them.

    Raises:
        InputError: a kind or a number is none.
    """
    edges = []
    for number, edge in enumerate(wishes["edges"], 1):
        kind = fields.get(f"kind-{number}", edge["kind"])
        if kind not in set(EdgeKind):
            raise InputError("Choose what edges are from the list.")
        name = _name(fields.get(f"name-{number}", edge["name"]))
        mm = number_of(fields.get(f"mm-{number}", str(edge["mm"])) or "0", "An allowance")
        edges.append({"name": name, "kind": kind, "mm": mm})
    return {**wishes, "edges": edges}


def with_corner(net: Pattern, wishes: Mapping[str, Any], x: float, y: float) -> Wishes:
    """One more corner, at the outline's place nearest to a point; its edge becomes two.

    Raises:
        InputError: there are too many.
    """
    corners = [tuple(corner) for corner in wishes["corners"]]
    if len(corners) >= MOST_EDGES:
        raise InputError(f"A pattern has {MOST_EDGES} edges at most.")
    (new,) = ordered_corners(net, [(x, y)])
    order = ordered_corners(net, [*corners, new])
    at = order.index(min(order, key=lambda c: math.dist(c, new)))
    edges = [dict(edge) for edge in wishes["edges"]]
    if corners:
        # The new edge runs on from the one before; of both the first keeps its name.
        edges.insert(at, {**edges[at - 1], "name": ""})
    return {**wishes, "corners": [list(corner) for corner in order], "edges": edges}


def without_corner(wishes: Mapping[str, Any], which: int) -> Wishes:
    """The edges joined at a corner; the joint edge is as the one before.

    Raises:
        InputError: there is no such corner.
    """
    corners, edges = list(wishes["corners"]), list(wishes["edges"])
    if not 0 <= which < len(corners):
        raise InputError("That corner is not there any more.")
    del corners[which]
    if corners:
        del edges[which]
    return {**wishes, "corners": corners, "edges": edges}


def with_place(wishes: Mapping[str, Any], fields: Mapping[str, str]) -> Wishes:
    """One more place that stays free.

    Raises:
        InputError: a field is missing or out of range.
    """
    if len(wishes["places"]) >= MOST_PLACES:
        raise InputError(f"A pattern has {MOST_PLACES} such places at most.")
    kind, shape = fields.get("place_kind", ""), fields.get("place_shape", "")
    if kind not in set(KeepOutKind) or shape not in ("circle", "rectangle"):
        raise InputError("Choose what the place is, and its shape, from the lists.")
    wide = number_of(fields.get("place_wide", ""), "The width of the place")
    high = wide
    if shape == "rectangle":
        high = number_of(fields.get("place_high", ""), "The height of the place")
    place = {
        "name": _name(fields.get("place_name", "")) or kind,
        "kind": kind,
        "shape": shape,
        "x": number_of(fields.get("x", ""), "The point's x"),
        "y": number_of(fields.get("y", ""), "The point's y"),
        "wide": wide,
        "high": high,
    }
    return {**wishes, "places": [*wishes["places"], place]}


def with_mark(wishes: Mapping[str, Any], fields: Mapping[str, str]) -> Wishes:
    """One more mark, a line between two points.

    Raises:
        InputError: a field is missing or out of range.
    """
    if len(wishes["marks"]) >= MOST_MARKS:
        raise InputError(f"A pattern has {MOST_MARKS} marks at most.")
    words = {"x": "The point's x", "y": "The point's y", "x2": "The other point's x"}
    words["y2"] = "The other point's y"
    points = [number_of(fields.get(key, ""), word) for key, word in words.items()]
    if math.dist(points[:2], points[2:]) < 1.0:
        raise InputError("A mark must be 1 mm long at least; tap two points apart.")
    mark = {
        "kind": MarkKind.ALIGN.value,
        "text": _name(fields.get("mark_text", "")),
        "points": points,
    }
    return {**wishes, "marks": [*wishes["marks"], mark]}


def without(wishes: Mapping[str, Any], key: str, which: int) -> Wishes:
    """One place or mark less.

    Raises:
        InputError: it is not there.
    """
    rows = list(wishes[key])
    if not 0 <= which < len(rows):
        raise InputError("That is not there any more.")
    del rows[which]
    return {**wishes, key: rows}


def number_of(text: str, what: str) -> float:
    """A length in mm as a person types it.

    Raises:
        InputError: it is no number, or beyond 100 m.
    """
    try:
        found = float(text.strip().replace(",", "."))
    except ValueError:
        raise InputError(f"{what} is no number; write millimetres, or tap the picture.") from None
    if not (math.isfinite(found) and abs(found) <= _MOST_MM):
        raise InputError(f"{what} is out of range; write millimetres.")
    return found


def _name(text: str) -> str:
    name = " ".join(text.split())
    if len(name) > _LONGEST:
        raise InputError(f"“{name[:20]}…” is longer than {_LONGEST} signs.")
    return name
