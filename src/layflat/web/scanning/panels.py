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
    Outline,
    Panel,
    cut_region,
    feature_path,
    outline_edges,
    snapped,
)
from layflat.web.scanning.state import Draft, State

_FINE_SNAP_MM = 4.0


def panel_on(
    fine: Features, draft: Draft, state: State, *, rotation: FloatArray, shift_mm: FloatArray
) -> Panel:
    """The panel of a draft with the openings and keep-outs that lie on it, its lines traced anew.

    Args:
        fine: the scan, upright.
        draft: of a panel.
        state: that it belongs to.
        rotation: (3, 3), with *shift_mm* (3,) from the scan's coordinates to the upright ones.
        shift_mm: see *rotation*.

    Raises:
        LayflatError: it cannot be cut out; the sentence says why.
    """

    def on_fine(item: Draft) -> tuple[Outline, list[FeaturePath]]:
        return _on_fine(fine, item, rotation, shift_mm)

    lying = [item for item in state.drafts if item.on == draft.name]
    openings = []
    for item in lying:
        if item.is_opening:
            outline, paths = on_fine(item)
            # Openings run the other way round.
            openings.append(outline_edges(outline, paths, outward=-_outward(fine, outline)))
    keep_outs = tuple(
        KeepOut(item.keep_out, _rim(on_fine(item)[1]), item.name)
        for item in lying
        if item.keep_out is not None
    )
    outline, paths = on_fine(draft)
    edges = outline_edges(outline, paths, outward=_outward(fine, outline))
    panel = Panel(draft.name, edges, tuple(openings), keep_outs)
    try:
        cut_region(fine.body, panel)
    except InputError as error:
        # A panel that is bent far over does not say which side is its inside: the other way round.
        other = replace(panel, outline=tuple(_turned(edges)))
        try:
            cut_region(fine.body, other)
        except InputError:
            raise error from None
        return other
    return panel


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


def _outward(fine: Features, outline: Outline) -> FloatArray:
    """The normal of the surface in the middle of an outline."""
    middle = np.mean([node.at_mm for node in outline.nodes], axis=0)
    face = fine.body.mesh.faces[fine.body.locate(middle[None]).faces[0]]
    a, b, c = fine.body.mesh.vertices_mm[face]
    normal: FloatArray = np.cross(b - a, c - a)
    return normal


def _turned(edges: Sequence[Edge]) -> Iterator[Edge]:
    """The edges of an outline run backwards."""
    for i in reversed(range(len(edges))):
        end = edges[(i + 1) % len(edges)].points_mm[:1]
        yield replace(edges[i], points_mm=np.concatenate([edges[i].points_mm, end])[::-1][:-1])


def _rim(paths: Iterable[FeaturePath]) -> FloatArray:
    return np.concatenate([path.points_mm[path.kept[:-1]] for path in paths])


def _on_fine(
    fine: Features, draft: Draft, rotation: FloatArray, shift_mm: FloatArray
) -> tuple[Outline, list[FeaturePath]]:
    """An outline with its points carried to the fine scan, and its lines there."""
    moved = [
        snapped(fine, np.array(node.at_mm) @ rotation.T + shift_mm, snap_mm=_FINE_SNAP_MM)
        for node in draft.outline.nodes
    ]
    outline = replace(
        draft.outline,
        nodes=tuple(
            replace(node, at_mm=tuple(at.tolist()))
            for node, at in zip(draft.outline.nodes, moved, strict=True)
        ),
    )
    if not outline.closed:
        raise InputError(f"The outline of “{draft.name}” is not closed; close it, or drop it.")
    paths = [
        feature_path(fine, moved[i], moved[j], straight=outline.nodes[i].straight)
        for i, j in outline.spans()
    ]
    return outline, paths
