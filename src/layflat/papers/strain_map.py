r"""The strain map: colour, contour lines and pencil hatching over the flat pattern.

Stretch and compression are each measured by the film's own limit, so that the limit has the
same colour for every film. A map can be read without its colours: thin contour lines stand at
half a limit and at one and a half, a strong one at the limit, full for stretch and broken for
compression; places beyond the stretch limit are hatched like this ////, places beyond the
finger limit like this \\\\.
"""

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from layflat.base import FloatArray
from layflat.film import Film, Flat
from layflat.papers.canvas import Frame
from layflat.papers.look import INK, strain_colours
from layflat.papers.raster import rasterise
from layflat.papers.strain import at_vertices

LIMIT_AT = 0.5
"""Where on the colour scale (0 to 1) a limit of the film lies."""

_FINE = 2
_PER_MM = 6.0
_DARK_FROM = 0.66
_HATCH_MM = 1.8
_DASH_MM = 1.6
_INK = np.array([int(INK[i : i + 2], 16) for i in (1, 3, 5)])


def strain_picture(flat: Flat, *, width_px: int = 1200) -> Image.Image:
    """The strain of *flat* as a picture of its own, without legend.

    Args:
        flat: the flattened region.
        width_px: of the picture; its height follows the shape.

    Returns:
        An RGBA picture, clear where no film lies.
    """
    x0, y0 = (float(value) for value in flat.points_mm.min(axis=0))
    x1, y1 = (float(value) for value in flat.points_mm.max(axis=0))
    height_px = max(1, int(np.ceil(width_px * (y1 - y0) / (x1 - x0))))
    frame = Frame.fit((x0, y0, x1, y1), width_mm=width_px, height_mm=height_px)
    # Line widths as on a sheet, whose width a map fills.
    return _paint(flat, frame, width_px, height_px, per_mm=width_px / 180.0)


def strain_png(flat: Flat, *, frame: Frame, width_mm: float, height_mm: float) -> bytes:
    """The strain map as PNG bytes, for a place on paper of the given size (frame in mm)."""
    scaled = Frame(
        frame.scale * _PER_MM, frame.quarter_turn, frame.x_mm * _PER_MM, frame.y_mm * _PER_MM
    )
    width_px, height_px = round(width_mm * _PER_MM), round(height_mm * _PER_MM)
    stream = io.BytesIO()
    _paint(flat, scaled, width_px, height_px, per_mm=_PER_MM).save(stream, format="PNG")
    return stream.getvalue()


def scale_position(strain: float, film: Film) -> float:
    """Where a strain (a fraction, compression negative) lies on the colour scale, -1 to 1."""
    limit = film.stretch_limit if strain >= 0 else film.finger_limit
    return float(np.clip(LIMIT_AT * strain / limit, -1.0, 1.0))


def _paint(
    flat: Flat, frame: Frame, width_px: int, height_px: int, *, per_mm: float
) -> Image.Image:
    """The map on a grid of its own; *frame* in pixels, *per_mm* pixels for a mm of line width."""
    values = rasterise(
        _FINE * frame.on_paper(flat.points_mm),
        flat.mesh.faces,
        at_vertices(flat) / [flat.film.stretch_limit, flat.film.finger_limit],
        width=_FINE * width_px,
        height=_FINE * height_px,
    )
    inside = np.isfinite(values[..., 0])
    stretch, compression = np.moveaxis(np.nan_to_num(values), -1, 0)
    position = LIMIT_AT * np.where(stretch >= compression, stretch, -compression)
    strokes = np.maximum(
        _strokes(stretch, inside, _FINE * per_mm, leaning_right=True),
        _strokes(compression, inside, _FINE * per_mm, leaning_right=False),
    )[..., None]
    # Lines are dark on light film and light on dark film.
    ink = np.where(np.abs(position)[..., None] > _DARK_FROM, 255.0, _INK)
    drawn = strain_colours(position) * (1.0 - strokes) + ink * strokes
    rgba = np.dstack((drawn, np.where(inside, 255.0, 0.0))).round().astype(np.uint8)
    return Image.fromarray(rgba).resize((width_px, height_px), Image.Resampling.BOX)


def _strokes(
    ratio: FloatArray, inside: NDArray[np.bool_], per_mm: float, *, leaning_right: bool
) -> FloatArray:
    """Ink (0 to 1) of the contours of one field at parts of its limit, and of its hatching."""
    rows = np.arange(ratio.shape[0])[:, None]
    columns = np.arange(ratio.shape[1])[None, :]
    diagonal = columns + rows if leaning_right else columns - rows
    ink = np.zeros(ratio.shape)
    beyond = (ratio > 1.0) & inside
    line = np.mod(diagonal, _HATCH_MM * per_mm * np.sqrt(2)) < 0.26 * per_mm * np.sqrt(2)
    ink[beyond & line] = 0.62
    for level, strength, width_mm in ((0.5, 0.45, 0.16), (1.5, 0.7, 0.2), (1.0, 1.0, 0.42)):
        above = ratio > level
        half = max(1, round(0.5 * width_mm * per_mm))
        near = ndimage.binary_dilation(above, iterations=half) & ~ndimage.binary_erosion(
            above, iterations=half, border_value=1
        )
        if not leaning_right:
            dash = np.mod(columns + rows, 2 * _DASH_MM * per_mm) < _DASH_MM * per_mm
            dash |= np.mod(columns - rows, 2 * _DASH_MM * per_mm) < 0.2 * _DASH_MM * per_mm
            near &= dash
        # The rim of the film is no contour.
        near &= ndimage.binary_erosion(inside, iterations=half + 1)
        ink[near] = np.maximum(ink[near], strength)
    return ink
