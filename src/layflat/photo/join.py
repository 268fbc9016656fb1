"""Pictures straightened and joined: the true-to-scale picture of the table's plane."""

from collections.abc import Sequence

import numpy as np
import shapely

from layflat.base import FloatArray, Progress, silent
from layflat.photo.ground import Ground, doubt_of
from layflat.photo.load import Photo
from layflat.photo.records import Frame, Grey, Mask, Plane

_CELL_PX = 16
"""Between these the way into a picture is taken as straight: off by a thousandth of a pixel."""
_MOST_PIXELS = 20_000_000
_MARGIN_MM = 2.0
_NODES = 16
_POWER = 4
"""How much more a picture counts where it has more detail: its pixels for each mm to this."""
_PAPER_MM = 1.0
"""By how much more a sheet hides than its paper."""
_FLAT_MM = 0.02
"""What paper leaves unsure that is not quite flat. From own trials."""


def join(
    ground: Ground,
    photos: Sequence[Photo],
    frame: Frame,
    *,
    scale_doubt: float,
    spread_px: FloatArray,
    noise: float,
    progress: Progress = silent,
) -> Plane:
    """The picture of the plane from all photographs, each weighed by its detail there.

    Args:
        ground: the solution.
        photos: in the order of the solution's pictures.
        frame: the sheets.
        scale_doubt: of the scale, as a fraction.
        spread_px: (p,) float64: how far each picture spreads light.
        noise: of the light.
        progress: told now and then.
    """
    low = ground.hull_mm.min(axis=0) - _MARGIN_MM
    high = ground.hull_mm.max(axis=0) + _MARGIN_MM
    step = _pixel_mm(ground, len(photos), low, high)
    width, height = (int(np.ceil(each)) + 1 for each in (high - low) / step)
    origin = np.array([low[0], high[1]])

    nodes_x = _CELL_PX * (np.arange(-(-width // _CELL_PX) + 2) - 0.5) - 0.5
    nodes_y = _CELL_PX * (np.arange(-(-height // _CELL_PX) + 2) - 0.5) - 0.5
    x, y = np.meshgrid(nodes_x, nodes_y)
    nodes = origin + step * np.column_stack((x.ravel(), -y.ravel()))
    total = np.zeros((height, width), dtype=np.float32)
    grey = np.zeros((height, width), dtype=np.float32)
    before = None
    for picture, photo in enumerate(photos):
        progress("joining pictures", picture / len(photos))
        detail = ground.detail(picture, nodes) * step
        weight = _between((detail**_POWER).reshape(x.shape), (height, width))
        part = _straightened(ground, picture, photo, nodes, x.shape, (height, width))
        if len(photos) == 1:
            grey, total = part, weight
            break
        if before is not None:
            part *= _gain(grey, total, part, weight)
        grey += part * weight
        total += weight
        before = picture
    if len(photos) > 1:
        np.divide(grey, total, out=grey, where=total > 0)
    np.clip(grey, 0.0, 1.0, out=grey)
    seen = (total > 0) & ~_hidden(ground, frame, origin, step, (height, width))

    spacing = float(max(high - low)) / _NODES
    columns, rows = (int(np.ceil(each)) + 1 for each in (high - low) / spacing)
    gx, gy = np.meshgrid(np.arange(columns), np.arange(rows))
    places = origin + spacing * np.column_stack((gx.ravel(), -gy.ravel()))
    weights = np.stack([ground.detail(each, places) ** _POWER for each in range(len(photos))])
    inside = shapely.contains_xy(shapely.Polygon(ground.hull_mm).buffer(1.0), places)
    doubt = doubt_of(ground, places, weights * inside)
    finest = [float(np.median(each[each > 0])) for each in weights if np.any(each > 0)]
    sharp = float(np.mean(spread_px)) / np.mean(finest) ** (1.0 / _POWER)
    return Plane(
        grey=grey,
        mm_per_px=step,
        origin_mm=origin,
        seen=seen,
        doubt_mm=np.hypot(doubt, _FLAT_MM).reshape(rows, columns).astype(np.float32),
        doubt_spacing_mm=spacing,
        scale_doubt=scale_doubt,
        inside_mm=ground.hull_mm,
        sharp_mm=float(sharp),
        noise=noise,
    )


def _pixel_mm(ground: Ground, count: int, low: FloatArray, high: FloatArray) -> float:
    """The side of a pixel: that of the finest picture where the plane is seen well."""
    x, y = np.meshgrid(np.linspace(low[0], high[0], 12), np.linspace(low[1], high[1], 12))
    places = np.column_stack((x.ravel(), y.ravel()))
    best = np.max([ground.detail(picture, places) for picture in range(count)], axis=0)
    finest = float(np.percentile(best[best > 0], 75))
    area = float(np.prod(high - low))
    return max(1.0 / finest, float(np.sqrt(area / _MOST_PIXELS)))


def _between(nodes: FloatArray, shape: tuple[int, int]) -> Grey:
    """(H, W) float32 from the nodes' grid, which reaches half a cell beyond the picture."""
    import cv2

    rows, columns = nodes.shape
    whole = cv2.resize(
        nodes.astype(np.float32),
        (columns * _CELL_PX, rows * _CELL_PX),
        interpolation=cv2.INTER_LINEAR,
    )
    part = whole[_CELL_PX : _CELL_PX + shape[0], _CELL_PX : _CELL_PX + shape[1]]
    return np.ascontiguousarray(part, dtype=np.float32)


def _straightened(
    ground: Ground,
    picture: int,
    photo: Photo,
    nodes: FloatArray,
    grid: tuple[int, ...],
    shape: tuple[int, int],
) -> Grey:
    """(H, W) float32: one picture's light on the plane."""
    import cv2

    pixels = np.nan_to_num(ground.to_picture(picture, nodes), nan=-1e4)
    columns = _between(pixels[:, 0].reshape(grid), shape)
    rows = _between(pixels[:, 1].reshape(grid), shape)
    light = cv2.remap(photo.light, columns, rows, cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(light, dtype=np.float32)


def _gain(grey: Grey, total: Grey, part: Grey, weight: Grey) -> float:
    """By how much a picture is to be made lighter to go with those before it."""
    coarse = (slice(None, None, 8), slice(None, None, 8))
    both = (total[coarse] > 0) & (weight[coarse] > 0) & (part[coarse] > 0.02)
    if np.count_nonzero(both) < 200:
        return 1.0
    ratio = grey[coarse][both] / total[coarse][both] / part[coarse][both]
    return float(np.clip(np.median(ratio), 0.25, 4.0))


def _hidden(
    ground: Ground, frame: Frame, origin: FloatArray, step: float, shape: tuple[int, int]
) -> Mask:
    """(H, W) bool: what lies under the frame's sheets."""
    import cv2

    hidden = np.zeros(shape, dtype=np.uint8)
    for sheet in frame.sheets:
        if sheet.number not in ground.solved.sheets:
            continue
        x0, y0, x1, y1 = sheet.paper_mm
        x0, y0, x1, y1 = x0 - _PAPER_MM, y0 - _PAPER_MM, x1 + _PAPER_MM, y1 + _PAPER_MM
        paper = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        corners = ground.to_plane(ground.solved.on_plane(sheet.number, paper))
        pixels = (corners - origin) / (step * np.array([1.0, -1.0]))
        cv2.fillConvexPoly(hidden, np.rint(pixels).astype(np.int32), 1)
    return hidden.astype(np.bool_)
