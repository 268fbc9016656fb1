"""Where on the vehicle a piece goes, as a picture: near enough to see it, far enough to know it."""

import math

import numpy as np
from PIL import Image

from layflat.base import FloatArray
from layflat.job.pieces import Piece
from layflat.papers import VIEWS, Colour, Line, Mark, Stage, View, render
from layflat.surface import Mesh

_PLACE_PX = (432, 288)
_WHITE: Colour = (255, 255, 255)
_BODY: Colour = (226, 223, 216)
_MARKED: Colour = (90, 85, 78)
_QUARTERS = ("front-left", "front-right", "rear-left", "rear-right")
_SHARE = 0.6
"""How much of the picture a large panel fills."""
_LEAST_SHOWN = 0.36
"""At least this share of the vehicle's length is shown, however small the panel."""


def place_picture(stage: Stage, piece: Piece) -> Image.Image:
    """The part of the body about the piece's panel, the panel marked.

    Args:
        stage: the body, made ready once for all its pieces.
        piece: its covered region is marked; places left free in it stay as the body.
    """
    covered = piece.region.mesh
    body = stage.mesh
    rims = [
        Line(points_mm=covered.vertices_mm[np.append(loop.vertices, loop.vertices[0])])
        for loop in piece.region.loops
    ]
    return render(
        stage,
        view=best_view(covered),
        size_px=_PLACE_PX,
        face_colours=np.full((len(body.faces), 3), _BODY, dtype=np.uint8),
        marks=[Mark(covered, _MARKED)],
        lines=rims,
        focus=surroundings(body.vertices_mm, covered.vertices_mm),
        margin=0.03,
        paper=_WHITE,
    )


def surroundings(body: FloatArray, panel: FloatArray) -> FloatArray:
    """(k, 3) the points of *body* about *panel* that a picture of its place shows.

    They lie in a box that the panel fills for the greater part, unless it is so small that
    nobody would know the vehicle again. The box stays within the vehicle's, so that it holds
    as much of the vehicle as it can.
    """
    low, high = body.min(axis=0), body.max(axis=0)
    least, most = panel.min(axis=0), panel.max(axis=0)
    middle, half = 0.5 * (least + most), 0.5 * float((most - least).max())
    reach = max(half / _SHARE, 0.5 * _LEAST_SHOWN * float((high - low).max()))
    box_low = np.clip(middle - reach, low, np.maximum(high - 2.0 * reach, low))
    within = ((body >= box_low) & (body <= box_low + 2.0 * reach)).all(axis=1)
    return np.vstack((body[within], panel))


def best_view(mesh: Mesh) -> View:
    """Of the views from the four quarters, the one that sees most of *mesh*; higher for a deck."""
    corners = mesh.vertices_mm[mesh.faces]
    normals = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = normals.sum(axis=0)
    upward = max(float(total[2]) / max(float(np.linalg.norm(total)), 1e-30), 0.0)

    def seen(view: View) -> float:
        azimuth, height = math.radians(view.azimuth_deg), math.radians(view.elevation_deg)
        level = math.cos(height)
        eye = np.array([level * math.cos(azimuth), level * math.sin(azimuth), math.sin(height)])
        return float(np.clip(normals @ eye, 0.0, None).sum())

    best = max((VIEWS[name] for name in _QUARTERS), key=seen)
    return View(
        name=best.name,
        azimuth_deg=best.azimuth_deg,
        elevation_deg=best.elevation_deg + 20.0 * upward,
    )
