"""A vehicle with its film on, for the viewer and as a picture."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

from layflat.base import CheckError, InputError
from layflat.job import Piece
from layflat.papers import Colour
from layflat.surface import BodyInfo, Mesh, Prepared, clip_region, cut_region, prepare
from layflat.web.bodies.drawn import DrawnPanel, draw_panels, traced_edges
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.bodies.picture import body_picture
from layflat.web.bodies.tasks import viewer_lines

_FILM: Colour = (86, 150, 194)
"""Chalk, lightened as on the cards of covers."""


@dataclass(frozen=True)
class Filmed:
    """The files that show a vehicle with its film.

    Attributes:
        surfaces: GLB with "body", "piece-<number>", and "keep-out-<i>-<k>" for what stays free.
        lines: JSON as a revision's, an entry for each piece.
        picture: PNG.
    """

    surfaces: bytes
    lines: bytes
    picture: bytes


def filmed_files(body: Mesh, pieces: Sequence[tuple[int, Piece]], info: BodyInfo) -> Filmed:
    """The files for *pieces* with their numbers, on the light surface of their body."""
    ready = prepare(body)
    drawn = [_drawn(ready, piece) for _, piece in pieces]
    shapes = {"body": Shape(mesh=body)}
    lines = viewer_lines(body, drawn, info)
    for i, ((number, _), panel, entry) in enumerate(
        zip(pieces, drawn, lines["panels"], strict=True)
    ):
        entry["mesh"] = f"piece-{number}"
        if panel.mesh is not None:
            shapes[entry["mesh"]] = Shape(mesh=panel.mesh)
        for k, item in enumerate(panel.keep_outs):
            if item.mesh is not None:
                shapes[f"keep-out-{i}-{k}"] = Shape(mesh=item.mesh)
    return Filmed(
        surfaces=glb_bytes(shapes, forward=info.forward, up=info.up),
        lines=json.dumps(lines, separators=(",", ":")).encode(),
        picture=body_picture(body, drawn, info, colour=_FILM, facing=True),
    )


def _drawn(body: Prepared, piece: Piece) -> DrawnPanel:
    """The covered part of the piece's panel on the light surface, with what stays free in it."""
    panel = replace(piece.panel, keep_outs=piece.keep_outs)
    (whole,) = draw_panels(body, BodyInfo("", panels=(panel,)))
    if piece.cover.line_mm is None and whole.mesh is not None:
        return whole
    try:
        region = cut_region(body, panel)
        if piece.cover.line_mm is not None and piece.cover.keep_mm is not None:
            region = clip_region(region, line_mm=piece.cover.line_mm, keep_mm=piece.cover.keep_mm)
    except (InputError, CheckError):
        # The fine surface shows the same, with more triangles.
        region = piece.region
    return replace(whole, mesh=region.mesh, edges=tuple(traced_edges(region)), fault="")
