"""The lines of what is being traced, on the light scan that the browser shows."""

import functools
from typing import Any

import numpy as np

from layflat.base import LayflatError
from layflat.surface import FeaturePath, feature_path, snapped
from layflat.web.scanning.standing import features_in
from layflat.web.scanning.state import Draft, Point, State, node_values

LEAST_SNAP_MM, MOST_SNAP_MM = 3.0, 25.0
_REMEMBERED = 4096


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


def lines_of(mesh: str, draft: Draft) -> tuple[list[list[list[float]]], str]:
    """The lines of a draft, one for each stretch, and what is wrong with one of them, or "".

    A stretch that cannot be traced is drawn straight through space.
    """
    nodes, fault = draft.outline.nodes, ""
    lines = []
    for i, j in draft.outline.spans():
        found = _path(mesh, nodes[i].at_mm, nodes[j].at_mm, nodes[i].straight)
        if isinstance(found, str):
            fault = fault or found
            lines.append([list(nodes[i].at_mm), list(nodes[j].at_mm)])
        else:
            lines.append(found.points_mm.round(2).tolist())
    return lines, fault


def drawn(mesh: str, state: State) -> list[dict[str, Any]]:
    """All drafts of a state with their lines, as the page draws them."""
    found = []
    for draft in state.drafts:
        lines, fault = lines_of(mesh, draft)
        found.append(
            {
                "name": draft.name,
                "keep_out": draft.keep_out.value if draft.keep_out else "",
                "on": draft.on,
                "closed": draft.outline.closed,
                "fault": fault,
                "lines": lines,
                "nodes": node_values(draft.outline),
            }
        )
    return found
