"""Scenes with the frame's sheets round a table, and where a solution puts places of it."""

import numpy as np
import shapely
from numpy.typing import NDArray

from layflat.photo.measure import Measured, rigid
from layflat.photo.sheet import MARGIN_MM, black_loops, board_sheet
from layflat.photo.solved import on_plane
from photo.rendered import BLACK, PAPER, WHITE, Camera, Paint, Scene

Floats = NDArray[np.float64]


def around(wide: float, high: float, *, sheets: int = 6) -> Floats:
    """(s, 3) places of sheets whose upper edges look at a rectangle about the origin."""
    out, away = [], MARGIN_MM + 100.0
    for x in (-0.3, 0.3):
        out += [(x * wide - 125, -high / 2 - away, 0.0), (x * wide + 125, high / 2 + away, np.pi)]
    for y in (-0.25, 0.25) if sheets >= 8 else (0.0,):
        out.append((wide / 2 + away, y * high - 125, np.pi / 2))
        out.append((-wide / 2 - away, y * high + 125, -np.pi / 2))
    return np.array(out)


def sheet_paints(places: Floats, *, first: int = 1, size: float = 1.0) -> tuple[Paint, ...]:
    """The sheets as they lie; only the upper part of the paper, as if the rest was cut off."""
    paints = []
    for number, place in enumerate(places, start=first):
        x0, _, x1, y1 = board_sheet(number).paper_mm
        paper = np.array([(x0, -30.0), (x1, -30.0), (x1, y1), (x0, y1)])
        paints.append(Paint(shapely.Polygon(on_plane(place, 0.0, size * paper)), PAPER))
        paints += [
            Paint(shapely.Polygon(on_plane(place, 0.0, size * loop)), BLACK)
            for loop in black_loops(number)
        ]
    return tuple(paints)


def table(places: Floats, **how: float) -> Scene:
    """A sheet of white paper with the frame round it."""
    return Scene(
        paints=(Paint(shapely.box(-200, -120, 200, 120), WHITE), *sheet_paints(places, **how))
    )


def errors_mm(measured: Measured, cameras: list[Camera]) -> tuple[Floats, Floats]:
    """How far places inside the frame are off, and the doubt that is stated there, both (n,).

    A place of the plane's picture shows what lies where the true cameras put its pixels.
    """
    ground = measured.ground
    low, high = ground.hull_mm.min(axis=0), ground.hull_mm.max(axis=0)
    x, y = np.meshgrid(*(np.linspace(low[i], high[i], 13) for i in (0, 1)))
    places = np.column_stack((x.ravel(), y.ravel()))
    inside = shapely.contains_xy(shapely.Polygon(ground.hull_mm), places)
    places = places[inside & (ground.detail(0, places) > 0)]
    weights = np.stack([ground.detail(each, places) ** 4 for each in range(len(cameras))])
    true = sum(
        weight[:, None] * camera.on_table(np.nan_to_num(ground.to_picture(each, places)))
        for each, (weight, camera) in enumerate(zip(weights, cameras, strict=True))
    )
    true = true / weights.sum(axis=0)[:, None]
    return np.hypot(*(rigid(places, true) - true).T), measured.plane.doubt_at(places)
