"""The strain map of a piece as shapes: bands of colour, lines at the film's limits, a legend."""

from collections.abc import Callable, Iterator

import contourpy
import numpy as np
import shapely
from matplotlib.tri import LinearTriInterpolator, Triangulation
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from figures.svg import INK, PAPER, PENCIL, Picture
from layflat.base import FloatArray
from layflat.film import Flat
from layflat.job import Piece
from layflat.papers import strain_colours
from layflat.pattern import coarse_polygon

_BANDS = 8
_WIDTH_MM, _EDGE_MM = 240.0, 4.0
_CELL_MM = 0.25
Placer = Callable[[FloatArray], FloatArray]


def strain_picture(piece: Piece) -> str:
    """The strain of laying *piece*, over its flat pattern."""
    shape = coarse_polygon(piece.pattern, deviation_mm=0.2)
    x0, y0, x1, y1 = shape.union(shapely.MultiPoint(piece.flat.points_mm).envelope).bounds
    scale = (_WIDTH_MM - 2 * _EDGE_MM) / (x1 - x0)
    height = scale * (y1 - y0)
    picture = Picture(_WIDTH_MM, height + 2 * _EDGE_MM + 26.0)

    def on_paper(points: FloatArray) -> FloatArray:
        return np.column_stack(
            (_EDGE_MM + scale * (points[:, 0] - x0), _EDGE_MM + scale * (y1 - points[:, 1]))
        )

    film = shapely.transform(shape, on_paper)
    picture.shape(_loops(film), fill="#F7F5F1")
    _draw_bands(picture, piece.flat, on_paper)
    picture.shape(_loops(film), pen=INK, width=0.35)
    _draw_rule(picture, scale, y=height + 2 * _EDGE_MM + 3.0)
    _draw_legend(picture, piece.flat, y=height + 2 * _EDGE_MM + 10.0)
    return picture.svg()


def _draw_bands(picture: Picture, flat: Flat, place: Placer) -> None:
    """Stretch where it is the greater part of its limit, compression where that is."""
    film = flat.film
    parts = (
        np.maximum(flat.strain.greatest - 1.0, 0.0) / film.stretch_limit,
        np.maximum(1.0 - flat.strain.least, 0.0) / film.finger_limit,
    )
    stretch, press = _on_grid(flat, np.stack(parts, axis=1), place, picture)
    whole = shapely.union_all(
        [shapely.Polygon(triangle) for triangle in place(flat.points_mm)[flat.mesh.faces]]
    )
    stretched = _above(stretch - press, 0.0)
    fields = ((1.0, stretch, whole & stretched), (-1.0, press, whole - stretched))
    for sign, values, own in fields:
        for step in range(_BANDS):
            band = _above(values, 2.0 * step / _BANDS) & own if step else own
            picture.shape(_loops(band), fill=_colour(sign * (step + 0.5) / _BANDS))
    for sign, values, _ in fields:
        beyond = _above(values, 1.0) & whole
        fill = picture.hatching(f"beyond{sign:g}", leaning_right=sign > 0, colour=PAPER)
        picture.shape(_loops(beyond), fill=fill, opacity=0.75)
        lines = shapely.get_parts(beyond.boundary - whole.boundary.buffer(0.3))
        dashes = () if sign > 0 else (1.6, 1.0)
        merged = shapely.get_parts(shapely.line_merge(shapely.union_all(lines)))
        strokes = [shapely.get_coordinates(part) for part in merged if part.length > 3.0]
        picture.lines(strokes, pen=INK, width=0.45, dashes=dashes)


def _on_grid(
    flat: Flat, per_face: FloatArray, place: Placer, picture: Picture
) -> tuple[FloatArray, ...]:
    """Each column of *per_face*, smooth, on a grid over the paper; outside as nearby inside."""
    areas = np.repeat(flat.mesh.face_areas_mm2, 3)
    faces, count = flat.mesh.faces.ravel(), len(flat.points_mm)
    total = np.bincount(faces, areas, minlength=count)
    points = place(flat.points_mm)
    across = np.arange(0.0, picture.width, _CELL_MM)
    down = np.arange(0.0, picture.height, _CELL_MM)
    grid = Triangulation(points[:, 0], points[:, 1], flat.mesh.faces)
    found = []
    for column in per_face.T:
        means = np.bincount(faces, np.repeat(column, 3) * areas, minlength=count) / total
        values = LinearTriInterpolator(grid, means)(*np.meshgrid(across, down))
        outside = np.ma.getmaskarray(values)
        rows, columns = ndimage.distance_transform_edt(
            outside, return_distances=False, return_indices=True
        )
        found.append(np.asarray(values.filled(0.0))[rows, columns])
    return tuple(found)


def _above(values: FloatArray, level: float) -> BaseGeometry:
    """Where the grid's *values* are above a level, on paper."""
    padded = np.pad(values, 1, constant_values=float(values.min()) - 1.0)
    shape: BaseGeometry = shapely.Polygon()
    for line in contourpy.contour_generator(z=padded).lines(level):
        if len(line) > 3:
            loop = shapely.Polygon((line - 1.0) * _CELL_MM).simplify(0.06)
            shape = shape.symmetric_difference(shapely.make_valid(loop))
    return shape


def _loops(shape: BaseGeometry) -> Iterator[FloatArray]:
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and part.area > 0.8:
            for ring in (part.exterior, *part.interiors):
                yield shapely.get_coordinates(ring)[:-1]


def _colour(position: float) -> str:
    return "#" + "".join(f"{int(part):02X}" for part in strain_colours(np.array(position)))


def _draw_rule(picture: Picture, scale: float, *, y: float) -> None:
    length = 500.0 * scale
    x = _EDGE_MM
    for i in range(5):
        step = [(x + i * length / 5, y), (x + (i + 1) * length / 5, y)]
        box = [*step, (step[1][0], y + 1.6), (step[0][0], y + 1.6)]
        picture.shape([box], fill=INK if i % 2 == 0 else PAPER, pen=INK, width=0.25)
    picture.words(x + length + 2.5, y + 2.0, "500 mm", size=4.0, colour=PENCIL)


def _draw_legend(picture: Picture, flat: Flat, *, y: float) -> None:
    film = flat.film
    left, right, high = 40.0, _WIDTH_MM - 40.0, 5.0
    each = (right - left) / (2 * _BANDS)
    for i in range(2 * _BANDS):
        x = left + i * each
        box = [(x, y), (x + each, y), (x + each, y + high), (x, y + high)]
        picture.shape([box], fill=_colour((i - _BANDS + 0.5) / _BANDS))
    quarter = (right - left) / 4
    for x, leaning in ((left, False), (left + 3 * quarter, True)):
        box = [(x, y), (x + quarter, y), (x + quarter, y + high), (x, y + high)]
        fill = picture.hatching(f"key{leaning:d}", leaning_right=leaning, colour=PAPER)
        picture.shape([box], fill=fill, opacity=0.75)
    frame = [(left, y), (right, y), (right, y + high), (left, y + high)]
    picture.shape([frame], pen=INK, width=0.25)
    picture.words(left - 2.5, y + 3.8, "compressed", anchor="end")
    picture.words(right + 2.5, y + 3.8, "stretched")
    for x, text, dashes in (
        (left + quarter, f"finger limit −{100 * film.finger_limit:g} %", (1.6, 1.0)),
        (left + 2 * quarter, "as on the roll", ()),
        (left + 3 * quarter, f"stretch limit +{100 * film.stretch_limit:g} %", ()),
    ):
        picture.lines([[(x, y - 0.8), (x, y + high + 1.2)]], pen=INK, width=0.45, dashes=dashes)
        picture.words(x, y + high + 5.4, text, anchor="middle")
