"""The two invented vehicles, as prints in a few tones: what is covered stands in blue.

The rendered picture is cut into bands of lightness. Each band's rim becomes a smooth shape, so
that a vehicle is text of some tens of kilobytes.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from figures.svg import CHALK, GROUND, Picture
from layflat.base import FloatArray
from layflat.demo import Design
from layflat.demo.picture import model_of
from layflat.papers import VIEWS, Line, render

_PX = (2400, 1400)
_WIDTH_MM = 240.0
_TONES = 17
_PAINT = (196, 200, 202)
_RING = (230, 0, 0)
_DARK, _LIGHT = (33, 31, 28), (246, 243, 236)


def body_picture(design: Design, *, view: str, covered: tuple[str, ...]) -> str:
    """The body of *design* with the panels in *covered* under blue film."""
    bare, filmed = (_render(design, view, marked) for marked in ((), covered))
    free = _left_free(filmed)
    scale = _WIDTH_MM / _PX[0]
    picture = Picture(_WIDTH_MM, scale * _PX[1], ground=GROUND)
    light = ndimage.gaussian_filter(bare.mean(axis=2), 0.8)
    ground = float(light[0, 0])
    levels = np.linspace(light.min(), ground, _TONES + 1)
    for darker, level in reversed(list(pairwise(levels))):
        limit = level - 0.25 * (level - darker) if level >= ground else level
        share = (0.5 * (darker + level) - levels[0]) / (ground - levels[0])
        picture.shape(_rims(-light, -limit, scale), fill=_tone(share))
    lighter = ground + 0.35 * (light.max() - ground)
    picture.shape(_rims(light, lighter, scale), fill="#FFFFFF")
    film = ndimage.gaussian_filter((filmed[..., 2] - filmed[..., 0]) * 1.0, 0.8)
    film -= ndimage.gaussian_filter(bare[..., 2] - bare[..., 0], 0.8)
    picture.shape(_rims(np.where(free, 0.0, film), 22.0, scale), fill=CHALK, opacity=0.36)
    return picture.svg()


def _render(design: Design, view: str, marked: tuple[str, ...]) -> FloatArray:
    """The vehicle with panels under film; places left free then have a red ring round them."""
    model = model_of(replace(design, paint=_PAINT), marked=marked)
    rings = [
        Line(points_mm=np.vstack([item.points_mm, item.points_mm[:1]]), colour=_RING, width_px=3)
        for panel in design.info.panels
        if panel.name in marked
        for item in panel.keep_outs
    ]
    image: Image.Image = render(
        model.mesh,
        view=VIEWS[view],
        size_px=_PX,
        face_colours=model.colours,
        face_gloss=model.gloss,
        lines=rings or model.lines,
        ground=True,
        margin=0.06,
    )
    return np.asarray(image, dtype=np.float64)


def _left_free(picture: FloatArray) -> NDArray[np.bool_]:
    """The places within red rings."""
    red, green, _ = np.moveaxis(picture, -1, 0)
    found: NDArray[np.bool_] = ndimage.binary_fill_holes((red > 150) & (green < 0.6 * red))
    return found


def _rims(values: FloatArray, limit: float, scale: float) -> Iterator[FloatArray]:
    """The loops, in mm of paper, round where *values* are above *limit*; specks left out."""
    padded = np.pad(values, 1, constant_values=values.min() - 1.0)
    lines = contourpy.contour_generator(z=padded).lines(limit)
    for line in lines:
        loop = shapely.Polygon(line) if len(line) > 3 else shapely.Polygon()
        if loop.area > 12.0:
            yield shapely.get_coordinates(loop.exterior.simplify(0.45))[:-1] * scale


def _tone(share: float) -> str:
    mixed = np.array(_DARK) + share * (np.array(_LIGHT) - _DARK)
    return "#" + "".join(f"{round(part):02X}" for part in mixed)
