"""A small picture of a body for the library, and for browsers that cannot show it in 3D."""

import io
from collections.abc import Sequence

import numpy as np

from layflat.papers import Colour, Line, Mark, View, render
from layflat.surface import BodyInfo, Mesh
from layflat.web.bodies.drawn import DrawnPanel

SIZE_PX = (960, 600)
_VIEW = View(name="front-left", azimuth_deg=40, elevation_deg=16)
_LEAST_SIDE = 0.05
"""Surfaces that face a side by less than that share of their area face both alike."""
_PANEL: Colour = (176, 170, 160)
_KEEP_OUT: Colour = (255, 255, 255)


def body_picture(
    mesh: Mesh,
    panels: Sequence[DrawnPanel],
    info: BodyInfo,
    *,
    colour: Colour = _PANEL,
    facing: bool = False,
) -> bytes:
    """A PNG of *mesh* from before its left front corner, with its panels in a tone of their own.

    Args:
        mesh: the body.
        panels: drawn on that body.
        info: which way is forward and up.
        colour: of the panels; a tone darker than the body if not given.
        facing: from the corner that sees most of the panels instead (see `corner_view`).
    """
    # The camera looks at vehicles that face along x and stand along z.
    ahead, above = np.asarray(info.forward), np.asarray(info.up)
    turn = np.stack([ahead, np.cross(above, ahead), above])

    def turned(part: Mesh) -> Mesh:
        return Mesh(np.einsum("ij,kj->ki", turn, part.vertices_mm), part.faces)

    marks = [Mark(turned(panel.mesh), colour) for panel in panels if panel.mesh is not None]
    view = corner_view([mark.mesh for mark in marks]) if facing else _VIEW
    rims = [np.einsum("ij,kj->ki", turn, edge.points_mm) for p in panels for edge in p.edges]
    for panel in panels:
        for item in panel.keep_outs:
            rim = np.concatenate([item.points_mm, item.points_mm[:1]])
            rims.append(np.einsum("ij,kj->ki", turn, rim))
            if item.mesh is not None:
                marks.append(Mark(turned(item.mesh), _KEEP_OUT))
    picture = render(
        turned(mesh),
        view=view,
        size_px=SIZE_PX,
        lines=[Line(points_mm=rim, width_px=1.3) for rim in rims],
        marks=marks,
        ground=True,
    )
    held = io.BytesIO()
    picture.save(held, "PNG", optimize=True)
    return held.getvalue()


def corner_view(surfaces: Sequence[Mesh]) -> View:
    """The corner of a vehicle that sees most of *surfaces*, as the viewer in the browser looks.

    Args:
        surfaces: of a vehicle that faces along x and stands along z.

    Returns:
        The left front corner, unless the surfaces on the whole face backwards or to the right.
    """
    sums = [np.zeros(3)]
    for mesh in surfaces:
        corners = mesh.vertices_mm[mesh.faces]
        sums.append(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
        )
    least = -_LEAST_SIDE * float(np.linalg.norm(sums, axis=1).sum())
    ahead, left, _ = np.sum(sums, axis=0)
    across = -_VIEW.azimuth_deg if left < least else _VIEW.azimuth_deg
    name = f"{'rear' if ahead < least else 'front'}-{'right' if left < least else 'left'}"
    return View(
        name=name,
        azimuth_deg=180.0 - across if ahead < least else across,
        elevation_deg=_VIEW.elevation_deg,
    )
