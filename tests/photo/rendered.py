"""Photographs with known truth: flat scenes of vectors seen by a camera with a lens, by own code.

A scene is a list of polygons with reflectances, painted one over the other on a table, in mm, x
to the right, y up. Every point is sent through the pinhole and Brown's lens model (D. C. Brown,
*Close-range camera calibration*, 1971), both in closed form; the polygon that results in the
picture is filled with its exact share of every pixel (a box filter: as supersampling without end).
Light, shadow, the lens's blur, sharpening, the sensor's noise, the sRGB curve and JPEG follow. No
function of OpenCV takes part in the geometry.

Pixels: the centre of the first is (0, 0); x to the right, y down.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import groupby

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
Colour = tuple[float, float, float]
"""Red, green, blue: shares of light given back, linear, 0 to 1."""

PAPER: Colour = (0.80, 0.79, 0.76)
TABLE: Colour = (0.22, 0.15, 0.10)
BLACK: Colour = (0.03, 0.03, 0.03)
BLUE_PEN: Colour = (0.04, 0.05, 0.22)
WHITE: Colour = (0.86, 0.86, 0.86)
DARK_FILM: Colour = (0.05, 0.05, 0.05)

LENSES = {
    "ideal": (0.0, 0.0, 0.0, 0.0, 0.0),
    "main": (0.085, -0.21, 0.0004, -0.0003, 0.14),
    "wide": (-0.16, 0.045, -0.0007, 0.0005, -0.006),
    "old": (-0.24, 0.11, 0.0011, 0.0009, -0.03),
}
"""k1, k2, p1, p2, k3 in OpenCV's order; invented, of the size that calibrations of phones give."""
FOCAL = {"ideal": 0.8, "main": 0.78, "wide": 0.62, "old": 0.85}
"""Focal length as a share of the picture's long side."""


@dataclass(frozen=True)
class Paint:
    """A polygon of one colour; `lifted` ones lie on the sheet that curls."""

    shape: BaseGeometry
    colour: Colour
    lifted: bool = False


@dataclass(frozen=True)
class Shadow:
    """Less light inside a shape: the share that is left, and how soft its edge is."""

    shape: BaseGeometry
    share: float = 0.5
    soft_mm: float = 15.0


@dataclass(frozen=True)
class Curl:
    """A corner that rolls up: what lies beyond a line bends onto a cylinder of this radius."""

    start_mm: tuple[float, float]
    direction_deg: float
    radius_mm: float = 60.0


@dataclass(frozen=True)
class Scene:
    """What lies on the table."""

    paints: tuple[Paint, ...] = ()
    shadows: tuple[Shadow, ...] = ()
    table: Colour = TABLE
    curl: Curl | None = None

    def with_paints(self, *paints: Paint) -> "Scene":
        return replace(self, paints=(*self.paints, *paints))


@dataclass(frozen=True)
class Light:
    """Level at the middle, its slope (share per metre along x and y), and loss to the corners."""

    level: float = 0.9
    slope: tuple[float, float] = (0.0, 0.0)
    vignette: float = 0.15
    tint: Colour = (1.0, 0.97, 0.92)


UNEVEN = Light(slope=(0.35, -0.2), vignette=0.3)


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole with Brown's lens; `turn` takes mm on the table to the camera's axes."""

    size: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    lens: tuple[float, float, float, float, float]
    turn: Floats = field(repr=False)
    place_mm: Floats = field(repr=False)

    def project(self, points_mm: Floats) -> Floats:
        """(n, 2) pixels of (n, 2) or (n, 3) points in mm, z up from the table."""
        points = np.asarray(points_mm, dtype=np.float64)
        if points.shape[1] == 2:
            points = np.column_stack((points, np.zeros(len(points))))
        x, y, z = self.turn @ (points - self.place_mm).T
        if not (z > 0).all():
            raise ValueError("A part of the scene lies behind the camera.")
        x, y = distort(x / z, y / z, self.lens)
        return self.focal_px * np.column_stack((x, y)) + self.centre_px

    def on_table(self, pixels: Floats) -> Floats:
        """(n, 2) mm where the rays of (n, 2) pixels meet the table: exact ray and plane."""
        px = np.asarray(pixels, dtype=np.float64)
        xd, yd = (px - self.centre_px).T / self.focal_px
        x, y = undistort(xd, yd, self.lens)
        rays = np.column_stack((x, y, np.ones_like(x))) @ self.turn
        along = -self.place_mm[2] / rays[:, 2]
        return self.place_mm[:2] + along[:, None] * rays[:, :2]


def distort(x: Floats, y: Floats, lens: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Brown's model: radial k1 k2 k3 and decentring p1 p2."""
    k1, k2, p1, p2, k3 = lens
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return (
        x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
        y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
    )


def undistort(xd: Floats, yd: Floats, lens: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Its inverse by Newton's steps with a Jacobian of differences."""
    x, y, h = np.array(xd), np.array(yd), 1e-7
    for _ in range(12):
        ex, ey = distort(x, y, lens)
        ex, ey = ex - xd, ey - yd
        ax, ay = distort(x + h, y, lens)
        bx, by = distort(x, y + h, lens)
        a, c = (ax - ex - xd) / h, (ay - ey - yd) / h
        b, d = (bx - ex - xd) / h, (by - ey - yd) / h
        det = a * d - b * c
        x, y = x - (d * ex - b * ey) / det, y - (a * ey - c * ex) / det
    return x, y


def camera(
    size: tuple[int, int] = (1600, 1200),
    *,
    over_mm: tuple[float, float] = (1600.0, 1100.0),
    middle_mm: tuple[float, float] = (0.0, 0.0),
    tilt_deg: float = 0.0,
    towards_deg: float = -90.0,
    roll_deg: float = 0.0,
    lens: str = "ideal",
    margin: float = 1.04,
) -> Camera:
    """A camera that looks at the middle of the table and has a rectangle in view.

    Args:
        size: of the picture, px.
        over_mm: the rectangle about `middle_mm` that is to be seen whole, with a margin.
        tilt_deg: of its axis from the table's normal.
        towards_deg: on which side of the middle it stands, from the x axis.
        roll_deg: about its axis.
        lens: one of `LENSES`.
    """
    tilt, side, roll = (math.radians(v) for v in (tilt_deg, towards_deg, roll_deg))
    out = np.array(
        [math.sin(tilt) * math.cos(side), math.sin(tilt) * math.sin(side), math.cos(tilt)]
    )
    forward = -out
    up = (
        np.array([-math.cos(side), -math.sin(side), 0.0]) if tilt_deg else np.array([0.0, 1.0, 0.0])
    )
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    cos, sin = math.cos(roll), math.sin(roll)
    turn = np.stack((cos * right + sin * down, cos * down - sin * right, forward))
    focal = FOCAL[lens] * max(size)
    centre = (0.5 * (size[0] - 1) + 0.003 * size[0], 0.5 * (size[1] - 1) - 0.002 * size[1])
    target = np.array([*middle_mm, 0.0])
    w, h = over_mm
    corner = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2.0 + middle_mm
    low, high = 100.0, 20_000.0
    for _ in range(40):  # The nearest place from which the rectangle is seen whole.
        away = 0.5 * (low + high)
        place = target + away * out
        seen = Camera(size, focal, centre, LENSES[lens], turn, place)
        depth = (turn @ (np.column_stack((corner, np.zeros(4))) - place).T)[2]
        fits = bool((depth > 50.0).all())
        if fits:
            px = (seen.project(corner) - centre) * margin + centre
            fits = bool((px >= 0).all() and (px <= np.array(size) - 1).all())
        low, high = (low, away) if fits else (away, high)
    return Camera(size, focal, centre, LENSES[lens], turn, target + high * out)


def render(
    scene: Scene,
    seen_by: Camera,
    *,
    light: Light = UNEVEN,
    noise: float = 0.006,
    jpeg: int | None = 80,
    blur_px: float = 0.7,
    sharpen: float = 0.0,
    smear_px: float = 0.0,
    seed: int = 1,
) -> NDArray[np.uint8]:
    """The photograph: (H, W, 3) uint8, red, green, blue.

    Args:
        scene, seen_by: what lies there and who looks.
        light: the lamp.
        noise: standard deviation at full light as a share of it; falls with the root of the light.
        jpeg: quality; None leaves the picture as it is.
        blur_px: standard deviation of the lens's blur, px.
        sharpen: how much of the difference to a picture blurred by 1.5 px is added, as phones do.
        smear_px: length of a smear by a moved hand, px.
        seed: of the noise.
    """
    width, height = seen_by.size
    picture = np.empty((height, width, 3), dtype=np.float32)
    picture[:] = scene.table
    for paint in _together(scene.paints):
        filled = _coverage(_outline_px(paint, scene.curl, seen_by), width, height)
        if filled is None:
            continue
        (x, y), share = filled
        part = picture[y : y + share.shape[0], x : x + share.shape[1]]
        part += share[:, :, None] * (np.array(paint.colour, np.float32) - part)
    picture *= _lamp(seen_by, light)[:, :, None] * np.array(light.tint, np.float32)
    for shadow in scene.shadows:
        picture *= _shade(shadow, seen_by)[:, :, None]
    return _sensor(picture, noise, jpeg, blur_px, sharpen, smear_px, seed)


def _together(paints: Iterable[Paint]) -> Iterable[Paint]:
    """Paints that follow each other in one colour as one: a board has a hundred."""
    for (colour, lifted), some in groupby(paints, key=lambda paint: (paint.colour, paint.lifted)):
        parts = [part for paint in some for part in shapely.get_parts(paint.shape)]
        yield Paint(shapely.multipolygons(parts), colour, lifted)


def _outline_px(paint: Paint, curl: Curl | None, seen_by: Camera) -> BaseGeometry:
    """The polygon in the picture: cut into short chords first, so that the lens may bend it."""
    shape = shapely.segmentize(shapely.orient_polygons(paint.shape), 5.0)
    lifted = curl if paint.lifted else None
    return shapely.transform(shape, lambda points: seen_by.project(_curled(points, lifted)))


def _curled(points: Floats, curl: Curl | None) -> Floats:
    if curl is None:
        return points
    angle = math.radians(curl.direction_deg)
    way = np.array([math.cos(angle), math.sin(angle)])
    beyond = np.maximum((points - curl.start_mm) @ way, 0.0)
    turned = beyond / curl.radius_mm
    shift = curl.radius_mm * np.sin(turned) - beyond
    lift = curl.radius_mm * (1.0 - np.cos(turned))
    return np.column_stack((points + shift[:, None] * way, lift))


def _coverage(
    shape: BaseGeometry, width: int, height: int
) -> tuple[tuple[int, int], NDArray[np.float32]] | None:
    """The exact share of every pixel inside a polygon: signed areas beside its edges, summed up.

    Each edge is cut at all pixel borders; a cut piece of height dy in a pixel adds dy times the
    share of the pixel to its right there, and dy to all pixels on the right (the way in which
    letters are filled on screens).
    """
    x0, y0, x1, y1 = shape.bounds
    left, top = max(0, math.floor(x0 + 0.5)), max(0, math.floor(y0 + 0.5))
    right, foot = min(width, math.ceil(x1 + 1.5)), min(height, math.ceil(y1 + 1.5))
    if right <= left or foot <= top:
        return None
    w, h = right - left, foot - top
    parts = [np.asarray(ring.coords) for ring in _rings(shape)]
    a = np.vstack([part[:-1] for part in parts]) + 0.5 - (left, top)
    b = np.vstack([part[1:] for part in parts]) + 0.5 - (left, top)
    edge, low, high = _cut_at_pixels(a, b)
    start = a[edge] + low[:, None] * (b - a)[edge]
    end = a[edge] + high[:, None] * (b - a)[edge]
    middle, dy = 0.5 * (start + end), end[:, 1] - start[:, 1]
    row = np.floor(middle[:, 1]).astype(np.int64)
    keep = (row >= 0) & (row < h) & (middle[:, 0] < w)
    row, dy, x = row[keep], dy[keep], np.maximum(middle[keep, 0], 0.0)
    column = np.floor(x).astype(np.int64)
    rest = x - column
    flat = row * (w + 1) + column
    sums = np.bincount(flat, dy * (1.0 - rest), minlength=h * (w + 1))
    sums += np.bincount(flat + 1, dy * rest, minlength=h * (w + 1) + 1)[: h * (w + 1)]
    share = np.abs(np.cumsum(sums.reshape(h, w + 1).astype(np.float64), axis=1)[:, :w])
    return (left, top), np.clip(share, 0.0, 1.0).astype(np.float32)


def _rings(shape: BaseGeometry) -> Iterable[BaseGeometry]:
    for part in shapely.get_parts(shape):
        yield part.exterior
        yield from part.interiors


def _cut_at_pixels(a: Floats, b: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
    """For edges a to b cut where x or y is whole: the edge, and from which part to which."""
    edges, parts = [np.arange(len(a)), np.arange(len(a))], [np.zeros(len(a)), np.ones(len(a))]
    for axis in range(2):
        one, two = a[:, axis], b[:, axis]
        first = np.ceil(np.minimum(one, two)).astype(np.int64)
        counts = np.maximum(np.floor(np.maximum(one, two)).astype(np.int64) - first + 1, 0)
        edge = np.repeat(np.arange(len(a)), counts)
        number = np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)
        with np.errstate(divide="ignore", invalid="ignore"):
            part = (first[edge] + number - one[edge]) / (two - one)[edge]
        edges.append(edge)
        parts.append(np.nan_to_num(np.clip(part, 0.0, 1.0)))
    edge, part = np.concatenate(edges), np.concatenate(parts)
    order = np.lexsort((part, edge))
    edge, part = edge[order], part[order]
    same = np.flatnonzero((edge[1:] == edge[:-1]) & (part[1:] > part[:-1]))
    return edge[same], part[same], part[same + 1]


_GRID = 24


def _lamp(seen_by: Camera, light: Light) -> NDArray[np.float32]:
    """(H, W) the light that falls, from a grid of rays that meet the table."""
    width, height = seen_by.size
    x, y = np.meshgrid(np.linspace(0, width - 1, _GRID), np.linspace(0, height - 1, _GRID))
    pixels = np.column_stack((x.ravel(), y.ravel()))
    mm = seen_by.on_table(pixels)
    away = np.hypot(*((pixels - seen_by.centre_px) / (0.5 * math.hypot(width, height))).T)
    level = light.level * (1.0 + mm @ light.slope / 1000.0) * (1.0 - light.vignette * away**2)
    grid = np.clip(level, 0.02, 1.5).reshape(_GRID, _GRID).astype(np.float32)
    return cv2.resize(grid, (width, height), interpolation=cv2.INTER_LINEAR)


def _shade(shadow: Shadow, seen_by: Camera) -> NDArray[np.float32]:
    width, height = seen_by.size
    whole = np.ones((height, width), dtype=np.float32)
    filled = _coverage(_outline_px(Paint(shadow.shape, BLACK), None, seen_by), width, height)
    if filled is not None:
        (x, y), share = filled
        whole[y : y + share.shape[0], x : x + share.shape[1]] -= (1.0 - shadow.share) * share
    sigma = shadow.soft_mm * seen_by.focal_px / seen_by.place_mm[2]
    if sigma <= 0.3:
        return whole
    small = 2 ** max(0, math.floor(math.log2(sigma / 4.0)))  # A wide blur is done on fewer pixels.
    blurred = cv2.resize(whole, (width // small, height // small), interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(blurred, (0, 0), sigma / small)
    return cv2.resize(blurred, (width, height), interpolation=cv2.INTER_LINEAR)


def _sensor(
    picture: NDArray[np.float32],
    noise: float,
    jpeg: int | None,
    blur_px: float,
    sharpen: float,
    smear_px: float,
    seed: int,
) -> NDArray[np.uint8]:
    """Lens, sensor and file: linear light to sRGB bytes."""
    if blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    if smear_px > 1:
        kernel = np.full((1, round(smear_px)), 1.0 / round(smear_px), dtype=np.float32)
        picture = cv2.filter2D(picture, -1, kernel)
    if noise > 0:
        rng = np.random.default_rng(seed)
        grain = rng.standard_normal(picture.shape, dtype=np.float32)
        picture = picture + noise * np.sqrt(np.maximum(picture, 0.01)) * grain
    coded = srgb(np.clip(picture, 0.0, 1.0))
    if sharpen > 0:
        coded = coded + sharpen * (coded - cv2.GaussianBlur(coded, (0, 0), 1.5))
    bytes_ = (np.clip(coded, 0.0, 1.0) * 255.0 + 0.5).astype(np.uint8)
    if jpeg is None:
        return bytes_
    done, data = cv2.imencode(".jpg", bytes_[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, jpeg])
    assert done
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1])


_CODES = np.linspace(0.0, 1.0, 4097)
_SRGB = np.where(
    _CODES <= 0.0031308, 12.92 * _CODES, 1.055 * np.maximum(_CODES, 1e-9) ** (1 / 2.4) - 0.055
).astype(np.float32)


def srgb(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """The curve of IEC 61966-2-1, by a table."""
    place = linear * np.float32(4096.0)
    low = np.minimum(place.astype(np.int32), 4095)
    return _SRGB[low] + (place - low) * (_SRGB[low + 1] - _SRGB[low])
