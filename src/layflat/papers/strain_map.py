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
from layflat.papers.canvas import PNG_LEVEL, Frame
from layflat.papers.look import INK, strain_colours
from layflat.papers.raster import rasterise
from layflat.papers.strain import at_vertices

LIMIT_AT = 0.5
"""Where on the colour scale (0 to 1) a limit of the film lies."""

_PER_MM = 7.0
_DARK_FROM = 0.66
_HATCH_MM = 1.8
_DASH_MM = 1.6
_CONTOURS = ((0.5, 0.45, 0.16), (1.5, 0.7, 0.2), (1.0, 1.0, 0.42))
"""Parts of a limit, with the strength and width in mm of their lines."""
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
    _paint(flat, scaled, width_px, height_px, per_mm=_PER_MM).save(
        stream, format="PNG", compress_level=PNG_LEVEL
    )
    return stream.getvalue()


def scale_position(strain: float, film: Film) -> float:
    """Where a strain (a fraction, compression negative) lies on the colour scale, -1 to 1."""
    limit = film.stretch_limit if strain >= 0 else film.finger_limit
    return float(np.clip(LIMIT_AT * strain / limit, -1.0, 1.0))


def _paint(
    flat: Flat, frame: Frame, width_px: int, height_px: int, *, per_mm: float
) -> Image.Image:
    """The map; *frame* in pixels, *per_mm* pixels for a mm of line width."""
    values = rasterise(
        frame.on_paper(flat.points_mm),
        flat.mesh.faces,
        at_vertices(flat) / [flat.film.stretch_limit, flat.film.finger_limit],
        width=width_px,
        height=height_px,
    )
    inside = np.isfinite(values[..., 0])
    stretch, compression = np.moveaxis(np.nan_to_num(values), -1, 0)
    position = LIMIT_AT * np.where(stretch >= compression, stretch, -compression)
    strokes = np.maximum(
        _strokes(stretch, inside, per_mm, leaning_right=True),
        _strokes(compression, inside, per_mm, leaning_right=False),
    )[..., None]
    # Lines are dark on light film and light on dark film.
    ink = np.where(np.abs(position)[..., None] > _DARK_FROM, 255.0, _INK)
    drawn = strain_colours(position) * (1.0 - strokes) + ink * strokes
    rgba = np.dstack((drawn, np.where(inside, 255.0, 0.0))).round().astype(np.uint8)
    return Image.fromarray(rgba)


def _strokes(
    ratio: FloatArray, inside: NDArray[np.bool_], per_mm: float, *, leaning_right: bool
) -> FloatArray:
    """Ink (0 to 1) of the contours of one field at parts of its limit, and of its hatching.

    A pixel's distance from a line is taken from the field's value and slope there; ink fades
    over one pixel at a line's sides, so that lines are smooth without finer pixels.
    """
    if not (ratio[inside] > _CONTOURS[0][0]).any():
        return np.zeros(ratio.shape)
    rows = np.arange(float(ratio.shape[0]))[:, None]
    columns = np.arange(float(ratio.shape[1]))[None, :]
    rising, falling = (columns + rows) / np.sqrt(2.0), (columns - rows) / np.sqrt(2.0)
    across = rising if leaning_right else falling
    hatching = _line(_from_multiples(across, _HATCH_MM * per_mm), 0.26 * per_mm)
    ink = np.where((ratio > 1.0) & inside, 0.62 * hatching, 0.0)
    slope = np.maximum(np.hypot(*np.gradient(ratio)), 1e-12)
    # The rim of the film is no contour.
    inland = ndimage.binary_erosion(inside, structure=np.ones((3, 3), dtype=bool), iterations=2)
    for level, strength, width_mm in _CONTOURS:
        near = strength * _line(np.abs(ratio - level) / slope, width_mm * per_mm)
        if not leaning_right:
            period = _DASH_MM * np.sqrt(2.0) * per_mm
            near *= np.maximum(
                _line(_from_multiples(rising, period), 0.5 * period),
                _line(_from_multiples(falling, period), 0.1 * period),
            )
        ink = np.maximum(ink, np.where(inland, near, 0.0))
    return ink


def _from_multiples(values: FloatArray, step: float) -> FloatArray:
    """How far values are from the nearest multiple of *step*."""
    distance: FloatArray = np.abs(values - step * np.rint(values / step))
    return distance


def _line(distance_px: FloatArray, width_px: float) -> FloatArray:
    """Ink (0 to 1) of a line, by the distance of pixels from its middle."""
    ink: FloatArray = np.clip(0.5 * (max(width_px, 1.0) + 1.0) - distance_px, 0.0, 1.0)
    return ink
