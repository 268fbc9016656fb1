"""Pictures of the invented vehicles: painted, with glass, wheels, shut lines and panels."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layflat.base import FloatArray
from layflat.demo.body import Design, Patch, body_mesh, half_skin, mirror_skin
from layflat.demo.drawing import FRONT, LEFT, distance_to, evened
from layflat.demo.parts import Part, parts_of
from layflat.demo.skin import mirrored
from layflat.demo.trim import Level, split
from layflat.papers import INK, Colour, Line, View, render, vertex_normals
from layflat.surface import KeepOutKind, Mesh, Panel, cut_region, prepare

FILM: Colour = (120, 178, 214)
"""The colour of panels that are pointed out."""

_FILM_SPACING_MM = 19.0
"""Films are cut from a body no finer than this."""


@dataclass(frozen=True, eq=False)
class Model:
    """A vehicle ready to be pictured.

    Attributes:
        mesh: everything that is seen.
        colours: (m, 3) uint8.
        gloss: (m,) float64.
        lines: shut lines and rims.
    """

    mesh: Mesh
    colours: NDArray[np.uint8]
    gloss: FloatArray
    lines: tuple[Line, ...]


def model_of(design: Design, *, spacing_mm: float = 16.0, marked: Sequence[str] = ()) -> Model:
    """The vehicle with its glass and lamps coloured, and the panels named in *marked* in blue."""
    points, faces = half_skin(design, spacing_mm=spacing_mm)
    parts = parts_of(design, *mirrored(points, faces))
    patches = [*design.patches, *_panel_patches(design)]
    for patch in patches:
        points, faces, _ = split(points, faces, _level(patch), design.skin)
    middle = points[faces].mean(axis=1)
    colours = np.tile(np.array(design.paint, dtype=np.uint8), (len(faces), 1))
    gloss = np.ones(len(faces))
    for patch in patches:
        inside = _level(patch)(middle) < 0
        colours[inside], gloss[inside] = patch.colour, patch.gloss
    body, body_faces = mirrored(points, faces)
    cap, cap_faces = mirror_skin(design, spacing_mm=6.0)
    shells = [
        Part(cap, cap_faces, design.paint, 1.0),
        Part(cap * np.array([1.0, -1.0, 1.0]), cap_faces[:, ::-1], design.paint, 1.0),
        *parts,
        *_films(design, marked, spacing_mm),
    ]
    starts = np.cumsum([len(body), *(len(part.points) for part in shells)])
    mesh = Mesh(
        np.vstack([body, *(part.points for part in shells)]),
        np.vstack(
            [body_faces, *(part.faces + n for part, n in zip(shells, starts[:-1], strict=True))]
        ),
    )
    shell_colours = [
        np.tile(np.array(part.colour, dtype=np.uint8), (len(part.faces), 1)) for part in shells
    ]
    return Model(
        mesh=mesh,
        colours=np.vstack([colours, colours, *shell_colours]),
        gloss=np.concatenate(
            [gloss, gloss, *(np.full(len(part.faces), part.gloss) for part in shells)]
        ),
        lines=(*_seals(design), *_seams(design), *shut_lines(design)),
    )


def _panel_patches(design: Design) -> list[Patch]:
    """Lamp covers, the emblem, handles and sensors, from the panels."""
    patches = []
    for panel in design.info.panels:
        if panel.name == "lamp-left":
            ring = np.vstack([edge.points_mm for edge in panel.outline])
            patches.append(_front_patch("lamp", ring, (214, 222, 224), 1.6))
        for item in panel.keep_outs:
            middle = item.points_mm.mean(axis=0)
            if item.kind is KeepOutKind.EMBLEM:
                patches.append(_front_patch("emblem", item.points_mm, (70, 72, 76), 1.6))
            elif item.kind is KeepOutKind.OTHER and middle[1] > 0:
                ring = LEFT.flat(item.points_mm)
                patches.append(
                    Patch(item.name, LEFT, ring, (58, 60, 62), 0.8, lambda p: p[:, 1] > 0)
                )
    return patches


def _front_patch(name: str, points: FloatArray, colour: Colour, gloss: float) -> Patch:
    return Patch(name, FRONT, FRONT.flat(points), colour, gloss, lambda p: p[:, 0] > 0)


def _seals(design: Design) -> list[Line]:
    """A dark line round each pane, on both sides."""
    lines = []
    for patch in design.patches:
        ring = evened(patch.ring, 20.0, closed=True)
        rim = patch.sheet.lay(design.skin, np.vstack([ring, ring[:1]]))
        for image in (1.0, -1.0):
            points = rim * np.array([1.0, image, 1.0])
            lines.append(Line(points_mm=points, colour=(20, 21, 22), width_px=2.4))
    return lines


def _seams(design: Design) -> list[Line]:
    """The shut lines that belong to no panel."""
    lines = []
    for seam in design.seams:
        drawn = seam.sheet.lay(design.skin, evened(seam.line, 15.0))
        for side in seam.sides:
            points = drawn * np.array([1.0, side, 1.0])
            lines.append(Line(points_mm=points, colour=INK, width_px=1.3))
    return lines


def _films(design: Design, names: Sequence[str], spacing_mm: float) -> list[Part]:
    """Panels lifted off the skin by a hair, in blue."""
    panels = []
    for name in names:
        panel = design.info.panel(name)
        if panel is None:
            raise ValueError(f"{design.info.name} has no panel {name!r}")
        panels.append(panel)
    if not panels:
        return []
    clean = prepare(body_mesh(design, spacing_mm=max(spacing_mm, _FILM_SPACING_MM)))
    films = []
    for panel in panels:
        region = cut_region(clean, panel).mesh
        lifted = region.vertices_mm + 1.5 * vertex_normals(region)
        films.append(Part(lifted, np.array(region.faces), FILM, 1.2))
    return films


def shut_lines(design: Design) -> list[Line]:
    """The outlines of all panels and keep-outs as thin lines."""
    lines = []
    for panel in design.info.panels:
        lines += outline_lines(panel, width_px=1.3)
        for item in panel.keep_outs:
            ring = np.vstack([item.points_mm, item.points_mm[:1]])
            lines.append(Line(points_mm=ring, colour=(70, 70, 70), width_px=1.2))
    return lines


def outline_lines(panel: Panel, *, colour: Colour = INK, width_px: float = 2.0) -> list[Line]:
    """The outline of a panel and its openings as lines."""
    lines = []
    for loop in (panel.outline, *panel.openings):
        ring = np.vstack([edge.points_mm for edge in loop])
        lines.append(Line(points_mm=np.vstack([ring, ring[:1]]), colour=colour, width_px=width_px))
    return lines


def picture(model: Model, *, view: View, size_px: tuple[int, int] = (1600, 1000)) -> Image.Image:
    """A picture of a vehicle on paper."""
    return render(
        model.mesh,
        view=view,
        size_px=size_px,
        face_colours=model.colours,
        face_gloss=model.gloss,
        lines=model.lines,
        ground=True,
    )


def _level(patch: Patch) -> Level:
    def level(points: FloatArray) -> FloatArray:
        value = np.full(len(points), 1e3)
        front = patch.where(points)
        value[front] = distance_to(patch.ring, patch.sheet.flat(points[front]))
        return value

    return level
