"""Panels of what was traced, on the fine scan put upright."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.surface import (
    Edge,
    FeaturePath,
    Features,
    KeepOut,
    Node,
    Panel,
    Untangled,
    cut_region,
    feature_path,
    outline_edges,
    snapped,
    untangled,
)
from layflat.web.scanning.state import Draft, State

_FINE_SNAP_MM = 4.0

_PLAIN = 0.5
"""How much of the normals along an outline must face as it does, 0 to 1, for it to be plain."""


def panel_on(
    fine: Features, draft: Draft, state: State, *, rotation: FloatArray, shift_mm: FloatArray
) -> tuple[Panel, tuple[str, ...]]:
    """The panel of a draft with the openings and keep-outs that lie on it, its lines traced anew.

    With it come sentences on what was left out or guessed.

    Args:
        fine: the scan, upright.
        draft: of a panel.
        state: that it belongs to.
        rotation: (3, 3), with *shift_mm* (3,) from the scan's coordinates to the upright ones.
        shift_mm: see *rotation*.

    Raises:
        LayflatError: it cannot be cut out; the sentence says why.
    """
    notes: list[str] = []

    def on_fine(item: Draft) -> Untangled:
        found = _on_fine(fine, item, rotation, shift_mm)
        notes.extend(f"“{item.name}”: {note}" for note in found.notes)
        return found

    lying = [item for item in state.drafts if item.on == draft.name]
    openings = []
    for item in lying:
        if item.is_opening:
            found = on_fine(item)
            # Openings run the other way round.
            away = -_outward(fine, found.paths)
            openings.append(outline_edges(found.outline, found.paths, outward=away))
    keep_outs = tuple(
        KeepOut(item.keep_out, _rim(on_fine(item).paths), item.name)
        for item in lying
        if item.keep_out is not None
    )
    found = on_fine(draft)
    outward = _outward(fine, found.paths)
    edges = outline_edges(found.outline, found.paths, outward=outward)
    panel, is_guess = _cut(fine, Panel(draft.name, edges, tuple(openings), keep_outs), outward)
    if is_guess:
        notes.append(
            f"“{draft.name}”: Its outline bends so far over that both its sides could be meant; "
            "the smaller one was taken."
        )
    return panel, tuple(notes)


def _cut(fine: Features, panel: Panel, outward: FloatArray) -> tuple[Panel, bool]:
    """The panel with its outline the way round that can be cut out, and whether both ways can.

    A panel that is bent far over does not say which side of its outline is its inside.
    """
    other = replace(panel, outline=tuple(_turned(panel.outline)))
    area, fault = _area_mm2(fine, panel)
    if fault is None and _faces(panel, outward):
        return panel, False
    other_area, _ = _area_mm2(fine, other)
    if fault is not None and other_area == np.inf:
        raise fault
    is_guess = fault is None and other_area < np.inf
    return (panel if area <= other_area else other), is_guess


def _area_mm2(fine: Features, panel: Panel) -> tuple[float, InputError | None]:
    """The area of a panel, or infinity and why it cannot be cut out."""
    try:
        return cut_region(fine.body, panel).mesh.area_mm2, None
    except InputError as error:
        return np.inf, error


def _faces(panel: Panel, outward: FloatArray) -> bool:
    """Whether an outline plainly faces the way that the surface along it does."""
    points = np.concatenate([edge.points_mm for edge in panel.outline])
    around = points - points.mean(axis=0)
    facing = np.cross(around, np.roll(around, -1, axis=0)).sum(axis=0)
    return float(facing @ outward) >= _PLAIN * float(np.linalg.norm(facing))


def kept_panels(
    panels: Iterable[Panel], state: State, *, rotation: FloatArray, shift_mm: FloatArray
) -> Iterator[Panel]:
    """Panels that the revision had, moved with its scan, but for those traced anew by their name.

    Args:
        panels: in the scan's coordinates.
        state: what is traced.
        rotation: see `panel_on`.
        shift_mm: see `panel_on`.
    """
    traced = {item.name.casefold() for item in state.drafts if item.is_panel}

    def loop(edges: Iterable[Edge]) -> tuple[Edge, ...]:
        return tuple(replace(e, points_mm=e.points_mm @ rotation.T + shift_mm) for e in edges)

    for panel in panels:
        if panel.name.casefold() not in traced:
            yield Panel(
                panel.name,
                loop(panel.outline),
                tuple(loop(opening) for opening in panel.openings),
                tuple(
                    replace(item, points_mm=item.points_mm @ rotation.T + shift_mm)
                    for item in panel.keep_outs
                ),
            )


def _outward(fine: Features, paths: Sequence[FeaturePath]) -> FloatArray:
    """The mean of the normals along an outline; short where they face all ways."""
    points = np.concatenate([path.points_mm[:-1] for path in paths])
    faces = fine.body.mesh.faces[fine.body.locate(points).faces]
    a, b, c = (fine.body.mesh.vertices_mm[faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    outward: FloatArray = normals.mean(axis=0)
    return outward


def _turned(edges: Sequence[Edge]) -> Iterator[Edge]:
    """The edges of an outline run backwards."""
    for i in reversed(range(len(edges))):
        end = edges[(i + 1) % len(edges)].points_mm[:1]
        yield replace(edges[i], points_mm=np.concatenate([edges[i].points_mm, end])[::-1][:-1])


def _rim(paths: Iterable[FeaturePath]) -> FloatArray:
    return np.concatenate([path.points_mm[path.kept[:-1]] for path in paths])


def _on_fine(fine: Features, draft: Draft, rotation: FloatArray, shift_mm: FloatArray) -> Untangled:
    """An outline with its points carried to the fine scan, and its lines there."""
    if not draft.outline.closed:
        raise InputError(f"The outline of “{draft.name}” is not closed; close it, or drop it.")

    def carried(node: Node) -> Node:
        at = np.array(node.at_mm) @ rotation.T + shift_mm
        x, y, z = snapped(fine, at, snap_mm=_FINE_SNAP_MM).tolist()
        return replace(node, at_mm=(x, y, z))

    def line(start: Node, end: Node) -> FeaturePath:
        places = np.array(start.at_mm), np.array(end.at_mm)
        return feature_path(fine, *places, straight=start.straight)

    try:
        nodes = tuple(carried(node) for node in draft.outline.nodes)
        return untangled(replace(draft.outline, nodes=nodes), line)
    except InputError as error:
        raise InputError(f"“{draft.name}”: {error}") from error
