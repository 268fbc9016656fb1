"""Making a scan ready for people and computations."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from layflat.base import CheckError, FloatArray, InputError, Progress, part_of
from layflat.papers import panel_title
from layflat.surface import BodyInfo, Mended, Mesh, Prepared, ReadMesh, cut_region, mend, prepare
from layflat.surface import read_mesh as read_scan
from layflat.web.bodies.contents import named, panels_of
from layflat.web.bodies.drawn import DrawnEdge, DrawnKeepOut, DrawnPanel, draw_panels
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.bodies.light import deviation_mm, light_mesh
from layflat.web.bodies.mended import keep_mended
from layflat.web.bodies.picture import body_picture
from layflat.web.bodies.words import EDGE_WORDS, KEEP_OUT_WORDS
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.work.tasks import task

_MOST_BYTES = 200_000_000


@task("bodies.prepare")
def prepare_body(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Preparing a body.

    The scan is read and mended, its panels are drawn on it, and what the browser shows is made.

    Args:
        inputs: `scan`, the SHA-256 of a kept file; `unit`, or "" where the file fixes it;
            `panels`, the SHA-256 of a kept file, or "".
        progress: told what is being done.

    Returns:
        `light`, `lines` and `picture`, the SHA-256 of a GLB, a JSON and a PNG file that are kept;
        `mended`, that of the mended scan (see `layflat.web.bodies.mended`); `mending`, what there
        is to say (see `report`).

    Raises:
        LayflatError: the scan or the panels cannot be used; the sentence says why.
    """
    scan = StoredFile.objects.get(sha256=inputs["scan"])
    info = BodyInfo(scan.name)
    if inputs["panels"]:
        info = panels_of(StoredFile.objects.get(sha256=inputs["panels"]))
    progress("reading the scan", 0.0)
    with named(scan) as place:
        read = read_scan(place, unit=inputs["unit"] or None)
    mended = mend(read.mesh, progress=part_of(progress, start=0.05, end=0.2))
    fine = prepare(mended.mesh)
    found = list(_measured(fine, info, part_of(progress, start=0.2, end=0.5)))
    progress("making a lighter mesh for the browser", 0.5)
    light = light_mesh(mended.mesh)
    drawn = draw_panels(prepare(light), info, progress=part_of(progress, start=0.7, end=0.85))
    progress("taking a picture", 0.85)
    picture = body_picture(light, drawn, info)
    progress("keeping what was made", 0.95)
    surfaces = glb_bytes(_shapes(light, drawn), forward=info.forward, up=info.up)
    lines = json.dumps(viewer_lines(light, drawn, info), separators=(",", ":")).encode()
    return {
        "light": _kept(surfaces, f"{info.name}.glb", "model/gltf-binary"),
        "lines": _kept(lines, f"{info.name}.json", "application/json"),
        "picture": _kept(picture, f"{info.name}.png", "image/png"),
        "mended": keep_mended(read, mended),
        "mending": report(read, mended, light, info, found),
    }


def report(
    read: ReadMesh,
    mended: Mended,
    light: Mesh,
    info: BodyInfo,
    panels: Iterable[Mapping[str, Any]],
) -> dict[str, Any]:
    """What reading and mending a scan said, as JSON.

    Returns:
        `unit` and `unit_source`; `notes`, sentences of the reader; `mends`, each with `kind`,
        `count` and `sentence`; `size_mm`, along, across and up; the counts of triangles
        `scan_triangles`, `triangles` and `light_triangles`; `light_deviation_mm`; `panels`, each
        with `name`, `area_mm2` (None where it cannot be cut out) and `fault`.
    """
    mesh = mended.mesh
    ahead, above = np.asarray(info.forward), np.asarray(info.up)
    frame = np.stack([ahead, np.cross(above, ahead), above])
    return {
        "unit": read.unit,
        "unit_source": read.unit_source,
        "notes": list(read.notes),
        "mends": [
            {"kind": item.kind, "count": item.count, "sentence": item.sentence}
            for item in mended.mends
        ],
        "size_mm": np.ptp(np.einsum("ij,kj->ki", frame, mesh.vertices_mm), axis=0)
        .round(1)
        .tolist(),
        "scan_triangles": len(read.mesh.faces),
        "triangles": len(mesh.faces),
        "light_triangles": len(light.faces),
        "light_deviation_mm": round(deviation_mm(mesh, light), 2),
        "panels": list(panels),
    }


def viewer_lines(mesh: Mesh, panels: Iterable[DrawnPanel], info: BodyInfo) -> dict[str, Any]:
    """What the viewer draws over the surfaces, as JSON.

    Points are flat lists [x, y, z, x, …] in body millimetres, rounded to a hundredth. `mesh` names
    a surface of the GLB file, or is "" where there is none.
    """
    return {
        "unit": "mm",
        "forward": list(info.forward),
        "up": list(info.up),
        "least": mesh.vertices_mm.min(axis=0).round(1).tolist(),
        "most": mesh.vertices_mm.max(axis=0).round(1).tolist(),
        "panels": [
            {
                "name": drawn.panel.name,
                "title": panel_title(drawn.panel.name),
                "mesh": f"panel-{i}" if drawn.mesh is not None else "",
                "middle": _flat(_middle(drawn)),
                "edges": [_edge_json(edge) for edge in drawn.edges],
                "keep_outs": [
                    _keep_out_json(item, f"keep-out-{i}-{k}")
                    for k, item in enumerate(drawn.keep_outs)
                ],
            }
            for i, drawn in enumerate(panels)
        ],
    }


def _middle(drawn: DrawnPanel) -> FloatArray:
    """A place on the panel for whoever names it without pointing."""
    outline = np.concatenate([edge.points_mm for edge in drawn.edges if not edge.is_opening])
    places = outline if drawn.mesh is None else drawn.mesh.vertices_mm
    middle = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    nearest: FloatArray = places[np.linalg.norm(places - middle, axis=1).argmin()]
    return nearest


def _edge_json(drawn: DrawnEdge) -> dict[str, Any]:
    return {
        "name": drawn.edge.name,
        "kind": drawn.edge.kind.value,
        "word": EDGE_WORDS[drawn.edge.kind],
        "opening": drawn.is_opening,
        "points": _flat(drawn.points_mm),
    }


def _keep_out_json(drawn: DrawnKeepOut, mesh: str) -> dict[str, Any]:
    return {
        "name": drawn.keep_out.name,
        "kind": drawn.keep_out.kind.value,
        "word": KEEP_OUT_WORDS[drawn.keep_out.kind],
        "clearance_mm": drawn.keep_out.clearance_mm,
        "mesh": mesh if drawn.mesh is not None else "",
        "points": _flat(drawn.points_mm),
    }


def _flat(points: Any) -> list[float]:
    rounded: list[float] = np.asarray(points).round(2).reshape(-1).tolist()
    return rounded


def _shapes(light: Mesh, panels: Iterable[DrawnPanel]) -> dict[str, Shape]:
    shapes = {"body": Shape(mesh=light)}
    for i, drawn in enumerate(panels):
        if drawn.mesh is not None:
            shapes[f"panel-{i}"] = Shape(mesh=drawn.mesh)
        for k, item in enumerate(drawn.keep_outs):
            if item.mesh is not None:
                shapes[f"keep-out-{i}-{k}"] = Shape(mesh=item.mesh)
    return shapes


def _measured(body: Prepared, info: BodyInfo, progress: Progress) -> Iterable[dict[str, Any]]:
    """Whether each panel can be cut out of the scan, and how large it then is."""
    for i, panel in enumerate(info.panels):
        progress(f"cutting out {panel.name}", i / len(info.panels))
        try:
            area: float | None = round(cut_region(body, panel).mesh.area_mm2, 1)
            fault = ""
        except (InputError, CheckError) as error:
            area, fault = None, str(error)
        yield {"name": panel.name, "area_mm2": area, "fault": fault}


def _kept(data: bytes, name: str, media_type: str) -> str:
    stored = keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)
    return stored.sha256
