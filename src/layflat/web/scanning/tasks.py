"""What the bench computes long: putting a scan upright, and making panels of what was traced."""

from dataclasses import replace
from typing import Any

import numpy as np

from layflat.base import InputError, Progress, part_of
from layflat.papers import strain_colours
from layflat.surface import (
    Aligned,
    BodyInfo,
    FeaturePath,
    Features,
    KeepOut,
    Mesh,
    MirrorCheck,
    Panel,
    Plane,
    align,
    cut_floor,
    cut_region,
    feature_path,
    features,
    mend,
    mirror_check,
    outline_edges,
    panels_json,
    ply_bytes,
    prepare,
    snapped,
)
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.bodies.light import light_mesh
from layflat.web.bodies.mended import mended_scan
from layflat.web.files.store import keep
from layflat.web.scanning.standing import mesh_bytes
from layflat.web.scanning.state import Draft, State, from_json
from layflat.web.work.tasks import task

MAP_MM = 4.0
"""The colours left against right end at this distance."""

_MOST_BYTES = 2_000_000_000
_FINE_SNAP_MM = 4.0


@task("scanning.stand", comes_first=True)
def stand(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Putting a scan upright.

    Args:
        inputs: as `layflat.web.scanning.standing.standing_inputs` gives them.
        progress: told what is being done.

    Returns:
        `mesh`, the SHA-256 of the light mesh without its floor; `plain` and `map`, those of GLB
        files of it, the second in colours by how far left and right differ; `forward`, `up`,
        `rotation`, `shift_mm`; `floor`, `mirror` and `check`, figures; `removed`, what was cut.

    Raises:
        LayflatError: the scan cannot be put upright; the sentence says why.
    """
    scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.2))
    state = _of_inputs(inputs)
    aligned = align(scan.mesh, state.corrections, progress=part_of(progress, start=0.2, end=0.5))
    plane = aligned.floor.plane if aligned.floor else None
    progress("cutting the floor", 0.5)
    cut = cut_floor(scan.mesh, plane, within_mm=inputs["within_mm"])
    progress("making a lighter mesh for the browser", 0.6)
    light = light_mesh(cut.mesh)
    progress("comparing left with right", 0.8)
    check = mirror_check(light, aligned.mirror.plane)
    ahead, _, up = aligned.rotation
    progress("keeping what was made", 0.95)
    shapes = {
        "plain": Shape(mesh=light),
        "map": Shape(mesh=light, colours=_map_colours(check)),
    }
    return {
        "mesh": _kept(mesh_bytes(light), "bench.npz", "application/octet-stream"),
        **{
            name: _kept(
                glb_bytes({"body": shape}, forward=ahead.tolist(), up=up.tolist()),
                f"bench-{name}.glb",
                "model/gltf-binary",
            )
            for name, shape in shapes.items()
        },
        **_figures(aligned, check),
        "within_mm": inputs["within_mm"],
        "triangles": len(cut.mesh.faces),
        "light_triangles": len(light.faces),
        "removed_mm2": cut.removed_mm2,
        "pieces": cut.pieces,
        "removed": [
            {
                "kind": item.kind,
                "area_mm2": item.area_mm2,
                "size_mm": list(item.size_mm),
                "at_mm": aligned.to_vehicle(np.array([item.at_mm]))[0].round(1).tolist(),
            }
            for item in cut.removed
        ],
    }


def _figures(aligned: Aligned, check: MirrorCheck) -> dict[str, Any]:
    floor = aligned.floor
    return {
        "forward": aligned.rotation[0].tolist(),
        "up": aligned.rotation[2].tolist(),
        "rotation": aligned.rotation.tolist(),
        "shift_mm": aligned.shift_mm.tolist(),
        "is_sure": aligned.is_sure,
        "floor": {
            "from": aligned.floor_from,
            "share": floor.share if floor else 0.0,
            "rms_mm": floor.rms_mm if floor else None,
            "normal": floor.plane.normal.tolist() if floor else None,
            "offset_mm": floor.plane.offset_mm if floor else None,
        },
        "mirror": {
            "from": aligned.mirror_from,
            "share": aligned.mirror.share,
            "rms_mm": aligned.mirror.rms_mm,
            "next_share": aligned.next_share,
            "lean_deg": aligned.lean_deg,
        },
        "front": aligned.front_from,
        "check": {
            "share": check.share,
            "rms_mm": check.rms_mm,
            "worst_mm": check.worst_mm,
            "at_mm": aligned.to_vehicle(np.array([check.worst_at_mm]))[0].round(0).tolist(),
            "at_scan": list(check.worst_at_mm),
        },
    }


def _map_colours(check: MirrorCheck) -> Any:
    """(n, 3) uint8: ochre where a side stands out, violet where it lies low, grey without match."""
    known = ~np.isnan(check.off_mm)
    colours = strain_colours(np.clip(np.where(known, check.off_mm, 0.0) / MAP_MM, -1.0, 1.0))
    colours[~known] = (150, 150, 150)
    return colours


def _of_inputs(inputs: dict[str, Any]) -> State:
    return from_json({**inputs, "drafts": inputs.get("drafts", [])})


@task("scanning.make", comes_first=True)
def make(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Making panels of what was traced.

    Every line is traced anew on the fine scan, and each panel is cut out once to see that it can
    be.

    Args:
        inputs: those of "scanning.stand" with the `drafts`, `name` of the body, `rotation`,
            `shift_mm` and the floor's `plane`, [normal, offset] or None.
        progress: told what is being done.

    Returns:
        `scan` and `panels`, the SHA-256 of a PLY file in millimetres, upright and without its
        floor, and of a file of panels on it.

    Raises:
        LayflatError: a panel cannot be made; the sentence says which and why.
    """
    scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.1))
    plane = (
        None if inputs["plane"] is None else Plane(np.array(inputs["plane"][0]), inputs["plane"][1])
    )
    cut = cut_floor(scan.mesh, plane, within_mm=inputs["within_mm"])
    # Cutting can leave fans that touch at a point; what is kept must read again as it is.
    mesh = mend(cut.mesh, fill_mm=0.0, stray_share=0.0).mesh
    rotation, shift = np.array(inputs["rotation"]), np.array(inputs["shift_mm"])
    upright = Mesh(mesh.vertices_mm @ rotation.T + shift, mesh.faces)
    progress("looking for creases", 0.2)
    fine = features(prepare(upright))
    state = _of_inputs(inputs)
    panels = []
    for i, draft in enumerate(state.drafts):
        if draft.keep_out is None:
            progress(f"tracing {draft.name}", 0.25 + 0.6 * i / len(state.drafts))
            panels.append(_panel(fine, draft, state, rotation, shift))
    progress("keeping what was made", 0.9)
    info = BodyInfo(inputs["name"], panels=tuple(panels))
    return {
        "scan": _kept(ply_bytes(upright), "bench.ply", "model/x-ply"),
        "panels": _kept(panels_json(info).encode(), "bench.json", "application/json"),
    }


def _panel(fine: Features, draft: Draft, state: State, rotation: Any, shift: Any) -> Panel:
    keep_outs = tuple(
        _keep_out(fine, item, rotation, shift)
        for item in state.drafts
        if item.keep_out is not None and item.on == draft.name
    )
    outline, paths = _on_fine(fine, draft, rotation, shift)
    inside = fine.body.locate(np.mean([node.at_mm for node in outline.nodes], axis=0)[None])
    face = fine.body.mesh.faces[inside.faces[0]]
    a, b, c = fine.body.mesh.vertices_mm[face]
    edges = outline_edges(outline, paths, outward=np.cross(b - a, c - a))
    panel = Panel(draft.name, edges, keep_outs=keep_outs)
    try:
        cut_region(fine.body, panel)
    except InputError as error:
        # A panel that is bent far over does not say which side is its inside: the other way round.
        turned = tuple(
            replace(edge, points_mm=points)
            for edge, points in zip(reversed(edges), _reversed(panel), strict=True)
        )
        other = Panel(draft.name, turned, keep_outs=keep_outs)
        try:
            cut_region(fine.body, other)
        except InputError:
            raise error from None
        return other
    return panel


def _reversed(panel: Panel) -> list[Any]:
    """The points of each edge of a panel's outline, run backwards."""
    edges = panel.outline
    found = []
    for i in reversed(range(len(edges))):
        end = edges[(i + 1) % len(edges)].points_mm[:1]
        found.append(np.concatenate([edges[i].points_mm, end])[::-1][:-1])
    return found


def _keep_out(fine: Features, draft: Draft, rotation: Any, shift: Any) -> KeepOut:
    _, paths = _on_fine(fine, draft, rotation, shift)
    rim = np.concatenate([path.points_mm[path.kept[:-1]] for path in paths])
    if draft.keep_out is None:
        raise InputError(f"“{draft.name}” is no keep-out.")
    return KeepOut(draft.keep_out, rim, draft.name)


def _on_fine(
    fine: Features, draft: Draft, rotation: Any, shift: Any
) -> tuple[Any, list[FeaturePath]]:
    """An outline with its points carried to the fine scan, and its lines there."""
    moved = [
        snapped(fine, np.array(node.at_mm) @ rotation.T + shift, snap_mm=_FINE_SNAP_MM)
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


def _kept(data: bytes, name: str, media_type: str) -> str:
    stored = keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)
    return stored.sha256
