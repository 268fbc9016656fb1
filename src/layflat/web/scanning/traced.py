"""The lines of what is being traced, on the light scan that the browser shows."""

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np

from layflat.base import InputError, LayflatError
from layflat.surface import (
    FeaturePath,
    Node,
    Outline,
    Untangled,
    feature_path,
    snapped,
    untangled,
)
from layflat.web.scanning.standing import features_in
from layflat.web.scanning.state import Draft, Point, State, node_values

LEAST_SNAP_MM, MOST_SNAP_MM = 3.0, 25.0
_REMEMBERED = 4096
_OUTLINES = 256


def put_on(mesh: str, point: Point, *, snap_mm: float) -> Point:
    """A tapped point drawn to the nearest feature, or to the surface.

    Args:
        mesh: the SHA-256 of the bench's mesh.
        point: where was tapped.
        snap_mm: how far it may be drawn; 0 draws it nowhere.

    Raises:
        InputError: it is too far from the surface.
    """
    reach = 0.0 if snap_mm <= 0 else min(max(snap_mm, LEAST_SNAP_MM), MOST_SNAP_MM)
    x, y, z = snapped(features_in(mesh), np.array(point), snap_mm=reach).round(3).tolist()
    return x, y, z


@functools.lru_cache(maxsize=_REMEMBERED)
def _path(mesh: str, start: Point, end: Point, straight: bool) -> FeaturePath | str:
    """The line between two points, or why there is none."""
    try:
        return feature_path(features_in(mesh), np.array(start), np.array(end), straight=straight)
    except LayflatError as error:
        return str(error)


@dataclass(frozen=True)
class Traced:
    """The lines of a draft.

    Attributes:
        lines: for each stretch its points.
        fault: what is wrong with one of them, or "".
        notes: what will be left out or drawn otherwise when its panel is made.
    """

    lines: tuple[list[list[float]], ...]
    fault: str = ""
    notes: tuple[str, ...] = ()


def traced(mesh: str, draft: Draft) -> Traced:
    """The lines of a draft. A stretch that cannot be traced is drawn straight through space."""
    return _traced(mesh, draft.outline)


@functools.lru_cache(maxsize=_OUTLINES)
def _traced(mesh: str, outline: Outline) -> Traced:
    nodes = outline.nodes
    freed, fault = _freed(mesh, outline)
    straight = freed.straight if freed else ()
    lines = []
    for i, j in outline.spans():
        found = _path(mesh, nodes[i].at_mm, nodes[j].at_mm, nodes[i].straight or i in straight)
        if isinstance(found, str):
            # Of a closed outline points at one place are left out, and said.
            fault = fault or ("" if freed else found)
            lines.append([list(nodes[i].at_mm), list(nodes[j].at_mm)])
        else:
            lines.append(found.points_mm.round(2).tolist())
    return Traced(tuple(lines), fault, freed.notes if freed else ())


def _freed(mesh: str, outline: Outline) -> tuple[Untangled | None, str]:
    """A closed outline freed of spurs as it will be on the fine scan, or why it cannot be."""
    if not outline.closed:
        return None, ""

    def line(start: Node, end: Node) -> FeaturePath:
        found = _path(mesh, start.at_mm, end.at_mm, start.straight)
        if isinstance(found, str):
            raise InputError(found)
        return found

    try:
        return untangled(outline, line), ""
    except LayflatError as error:
        return None, str(error)


def drawn(mesh: str, state: State) -> list[dict[str, Any]]:
    """All drafts of a state with their lines, as the page draws them."""
    found = []
    for draft in state.drafts:
        shown = traced(mesh, draft)
        found.append(
            {
                "name": draft.name,
                "keep_out": draft.keep_out.value if draft.keep_out else "",
                "on": draft.on,
                "closed": draft.outline.closed,
                "fault": shown.fault,
                "notes": list(shown.notes),
                "lines": list(shown.lines),
                "nodes": node_values(draft.outline),
            }
        )
    return found
