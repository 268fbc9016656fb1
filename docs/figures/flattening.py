"""A panel and its flat piece, with the same squares on both."""

import numpy as np
import shapely

from figures.svg import CHALK, GROUND, INK, PENCIL, Picture
from layflat.base import FloatArray, IntArray
from layflat.film import to_surface
from layflat.job import Piece
from layflat.surface import Mesh

_WIDTH, _HEIGHT = 240.0, 88.0
_MIDDLE = 0.5 * (_HEIGHT - 10.0)
_SQUARE_MM = 50.0
_FINE_MM = 5.0


def flattening_picture(piece: Piece) -> str:
    """*piece*'s panel, seen square to it, and its flat shape beside it, turned alike."""
    picture = Picture(_WIDTH, _HEIGHT)
    flat, region = piece.flat, piece.region
    rings = [loop.vertices for loop in region.loops]
    film = shapely.Polygon(flat.points_mm[rings[0]], [flat.points_mm[r] for r in rings[1:]])
    lines = _squares(film)
    axes = _axes(region.mesh)
    seen = region.mesh.vertices_mm @ axes.T
    turn = _turn(flat.points_mm, seen)
    on_car = [to_surface(flat, line) @ axes.T for line in lines]
    scale = min(_draw_scale(seen, rings[0]), _draw_scale(flat.points_mm @ turn, rings[0]))
    for points, grid, x in (
        (seen, on_car, 61.0),
        (flat.points_mm @ turn, [line @ turn for line in lines], 179.0),
    ):
        _draw(picture, [points[ring] for ring in rings], grid, x=x, scale=scale)
    picture.lines([[(114.5, _MIDDLE), (123, _MIDDLE)]], pen=CHALK, width=0.8)
    tip = [(123, _MIDDLE - 1.8), (127, _MIDDLE), (123, _MIDDLE + 1.8)]
    picture.shape([tip], fill=CHALK)
    picture.words(61, _HEIGHT - 4, "on the car", anchor="middle")
    picture.words(179, _HEIGHT - 4, f"flat, in squares of {_SQUARE_MM:g} mm", anchor="middle")
    return picture.svg()


def _axes(mesh: Mesh) -> FloatArray:
    """Right and up as rows, for an eye that looks square at most of the panel."""
    corners = mesh.vertices_mm[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    right = np.cross([0.0, 0.0, 1.0], normal)
    up = np.cross(normal, right)
    return np.stack([right / np.linalg.norm(right), up / np.linalg.norm(up)])


def _turn(flat: FloatArray, seen: FloatArray) -> FloatArray:
    """The rotation that brings *flat* to lie as *seen* (G. H. Golub, C. F. Van Loan, 6.4.1)."""
    left, _, right = np.linalg.svd((flat - flat.mean(axis=0)).T @ (seen - seen.mean(axis=0)))
    turn: FloatArray = left @ right
    return turn


def _draw_scale(points: FloatArray, rim: IntArray) -> float:
    width, height = np.ptp(points[rim], axis=0)
    return float(min(104.0 / width, (_HEIGHT - 20.0) / height))


def _squares(film: shapely.Polygon) -> list[FloatArray]:
    """The lines of a grid of squares within *film*, finely divided."""
    x0, y0, x1, y1 = film.bounds
    found: list[FloatArray] = []
    for low, high, far0, far1, along in ((x0, x1, y0, y1, 1), (y0, y1, x0, x1, 0)):
        for at in np.arange(np.ceil(low / _SQUARE_MM), high / _SQUARE_MM) * _SQUARE_MM:
            ends = [(at, far0), (at, far1)] if along else [(far0, at), (far1, at)]
            cut = shapely.intersection(shapely.LineString(ends), film)
            parts = shapely.get_parts(shapely.segmentize(cut, _FINE_MM))
            found += [shapely.get_coordinates(part) for part in parts]
    return found


def _draw(
    picture: Picture, loops: list[FloatArray], lines: list[FloatArray], *, x: float, scale: float
) -> None:
    """Loops and lines about the place *x* on paper."""
    middle = 0.5 * (loops[0].min(axis=0) + loops[0].max(axis=0))

    def on_paper(points: FloatArray) -> FloatArray:
        placed: FloatArray = np.array([x, _MIDDLE]) + scale * (points - middle) * [1.0, -1.0]
        return placed

    picture.shape([on_paper(loop) for loop in loops], fill=GROUND)
    picture.lines([on_paper(line) for line in lines], pen=PENCIL, width=0.25)
    picture.shape([on_paper(loop) for loop in loops], pen=INK, width=0.5)
