"""What the bench computes long: putting a scan upright, and making panels of what was traced."""

from typing import Any

import numpy as np

from layflat.base import InputError, Progress, part_of
from layflat.papers import strain_colours
from layflat.surface import (
    Aligned,
    BodyInfo,
    Mesh,
    MirrorCheck,
    Plane,
    align,
    cut_floor,
    faced_outward,
    features,
    mirror_check,
    panels_json,
    ply_bytes,
    prepare,
)
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.bodies.light import light_mesh
from layflat.web.bodies.mended import mended_scan
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.scanning.panels import kept_panels, panel_on
from layflat.web.scanning.standing import earlier_cut, mesh_bytes, mesh_in
from layflat.web.scanning.state import State, from_json
from layflat.web.work.tasks import task

MAP_MM = 4.0
"""The colours left against right end at this distance."""

_MOST_BYTES = 2_000_000_000


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
    light, lightened = _lightened(inputs, scan.mesh, plane, progress)
    progress("comparing left with right", 0.8)
    check = mirror_check(light, aligned.mirror.plane)
    ahead, _, up = aligned.rotation
    progress("keeping what was made", 0.95)
    shapes = {
        "plain": Shape(mesh=light),
        "map": Shape(mesh=light, colours=_map_colours(check)),
    }
    return {
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
        **lightened,
    }


def _lightened(
    inputs: dict[str, Any], scan: Mesh, plane: Plane | None, progress: Progress
) -> tuple[Mesh, dict[str, Any]]:
    """The light mesh without its floor, and what is to be said of it.

    What was made before of the same scan and floor is taken as it is: how the vehicle is turned
    changes nothing of it.
    """
    before = earlier_cut(inputs, plane)
    if before is not None:
        try:
            return mesh_in(before["mesh"]), before
        except InputError:
            pass  # It can be made again.
    progress("cutting the floor", 0.5)
    cut = cut_floor(scan, plane, within_mm=inputs["within_mm"])
    progress("making a lighter mesh for the browser", 0.6)
    light = light_mesh(cut.mesh)
    return light, {
        "mesh": _kept(mesh_bytes(light), "bench.npz", "application/octet-stream"),
        "triangles": len(cut.mesh.faces),
        "light_triangles": len(light.faces),
        "removed_mm2": cut.removed_mm2,
        "pieces": cut.pieces,
        "removed": [
            {"kind": item.kind, "area_mm2": item.area_mm2, "size_mm": list(item.size_mm)}
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
            `shift_mm`, the floor's `plane`, [normal, offset] or None, and `panels`, the SHA-256 of
            the file of panels that the revision has, or "".
        progress: told what is being done.

    Returns:
        `scan` and `panels`, the SHA-256 of a PLY file in millimetres, upright and without its
        floor, and of a file of panels on it; `notes`, sentences on what was left out of outlines.

    Raises:
        LayflatError: a panel cannot be made; the sentence says which and why.
    """
    scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.1))
    plane = (
        None if inputs["plane"] is None else Plane(np.array(inputs["plane"][0]), inputs["plane"][1])
    )
    cut = cut_floor(scan.mesh, plane, within_mm=inputs["within_mm"])
    rotation, shift = np.array(inputs["rotation"]), np.array(inputs["shift_mm"])
    # What is kept must read again as it is: reading turns shells that face inward.
    upright = faced_outward(Mesh(cut.mesh.vertices_mm @ rotation.T + shift, cut.mesh.faces))
    progress("looking for creases", 0.2)
    fine = features(prepare(upright))
    state = _of_inputs(inputs)
    panels = []
    notes: list[str] = []
    for i, draft in enumerate(state.drafts):
        if draft.is_panel:
            progress(f"tracing {draft.name}", 0.25 + 0.6 * i / len(state.drafts))
            panel, said = panel_on(fine, draft, state, rotation=rotation, shift_mm=shift)
            panels.append(panel)
            notes += said
    if inputs["panels"]:
        before = panels_of(StoredFile.objects.get(sha256=inputs["panels"])).panels
        panels += kept_panels(before, state, rotation=rotation, shift_mm=shift)
    progress("keeping what was made", 0.9)
    info = BodyInfo(inputs["name"], panels=tuple(panels))
    return {
        "scan": _kept(ply_bytes(upright), "bench.ply", "model/x-ply"),
        "panels": _kept(panels_json(info).encode(), "bench.json", "application/json"),
        "notes": notes,
    }


def _kept(data: bytes, name: str, media_type: str) -> str:
    stored = keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)
    return stored.sha256
