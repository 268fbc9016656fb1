"""Pictures of surfaces: a drawn look on paper, with lines that hide behind the surface.

Rays are cast with Embree through an orthographic or perspective camera. What each ray meets
(triangle, depth, smooth normal) is shaded, inked where depth or normal jumps, and averaged
down; lines on the surface are drawn on top where nothing lies before them. The same input
gives the same picture.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from layflat.base import FloatArray, IntArray, frozen
from layflat.papers.shading import Shading, shade, to_linear, to_srgb
from layflat.surface import Mesh

Colour = tuple[int, int, int]

PAPER: Colour = (246, 243, 236)
INK: Colour = (33, 31, 28)
CLAY: Colour = (206, 202, 194)

_RAYS = 1 << 19
_FINE = 4


@dataclass(frozen=True, kw_only=True)
class View:
    """Where the eye is.

    Attributes:
        name: what people call it.
        azimuth_deg: where it stands, counter-clockwise seen from above; 0 is before the nose
            (+x), 90 is to the left (+y).
        elevation_deg: how high it stands, -90 to 90.
        distance: from the middle of what is seen, in half diagonals of its box; 0 means
            parallel rays.
    """

    name: str
    azimuth_deg: float
    elevation_deg: float
    distance: float = 5.0


VIEWS: Mapping[str, View] = MappingProxyType(
    {
        view.name: view
        for view in (
            View(name="front-left", azimuth_deg=36, elevation_deg=14),
            View(name="front-right", azimuth_deg=-36, elevation_deg=14),
            View(name="rear-left", azimuth_deg=146, elevation_deg=16),
            View(name="rear-right", azimuth_deg=-146, elevation_deg=16),
            View(name="front", azimuth_deg=0, elevation_deg=6),
            View(name="rear", azimuth_deg=180, elevation_deg=6),
            View(name="left", azimuth_deg=90, elevation_deg=0, distance=0),
            View(name="right", azimuth_deg=-90, elevation_deg=0, distance=0),
            View(name="top", azimuth_deg=180, elevation_deg=90, distance=0),
        )
    }
)
"""The views that papers use, by name."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """A polyline on the surface.

    Attributes:
        points_mm: (k, 3) float64, k >= 2.
        colour: of the line.
        width_px: in pixels of the finished picture.
    """

    points_mm: FloatArray
    colour: Colour = INK
    width_px: float = 1.6

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))


def render(
    mesh: Mesh,
    *,
    view: View,
    size_px: tuple[int, int],
    face_colours: NDArray[np.uint8] | None = None,
    face_gloss: FloatArray | None = None,
    lines: Sequence[Line] = (),
    shading: Shading = Shading.STUDIO,
    ink: float = 1.0,
    ground: bool = False,
    focus: Mesh | None = None,
    margin: float = 0.06,
    paper: Colour = PAPER,
    supersample: int = 2,
) -> Image.Image:
    """A picture of *mesh*.

    Args:
        mesh: what is seen; faces counter-clockwise from outside. A vertex that is shared is
            smooth; double it where an edge is to look sharp.
        view: where the eye is; see `VIEWS`.
        size_px: width and height of the picture.
        face_colours: (m, 3) uint8 sRGB, one per face; light clay if not given.
        face_gloss: (m,) float64, 0 matt, 1 clear coat, more is glass; 1 if not given.
        lines: drawn on the surface, the later over the earlier.
        shading: the manner; `PLAIN` keeps colours that carry numbers.
        ink: strength of the drawn contours, 0 to 1.
        ground: whether a soft shadow lies on the ground below.
        focus: the part that fills the picture, if it is not the whole mesh.
        margin: free paper at the tighter pair of sides, as a fraction of the picture.
        paper: colour of the ground.
        supersample: rays per pixel along each side, 1 to 4.

    Returns:
        an RGB picture.

    Raises:
        ValueError: an array does not go with the mesh, or the mesh or the size is empty.
    """
    colours, gloss = _checked(mesh, size_px, face_colours, face_gloss)
    camera = _Camera(focus or mesh, view=view, size_px=size_px, margin=margin)
    light = np.ones((size_px[1], size_px[0], 3)) * to_linear(np.array(paper) / 255.0)
    if ground:
        light *= _ground_light(mesh, camera)[..., None]
    window = camera.window(mesh.vertices_mm)
    openness = _openness(mesh) if shading is Shading.STUDIO else np.ones(len(mesh.vertices_mm))
    seen = _cast(mesh, openness, camera, window, supersample)
    picture = light[window].repeat(supersample, axis=0).repeat(supersample, axis=1)
    hit = seen.face >= 0
    inside = np.where(seen.inside[hit], 0.35, 1.0)
    picture[hit] = shade(
        shading,
        normals=seen.normal[hit],
        to_eye=seen.to_eye[hit],
        colours=to_linear(colours / 255.0)[seen.face[hit]] * inside[:, None],
        gloss=gloss[seen.face[hit]] * inside,
        openness=seen.openness[hit],
        camera=camera.axes,
    )
    if ink > 0:
        stroke = ink * _contours(seen, camera.scale * supersample)[..., None]
        picture = picture * (1 - stroke) + to_linear(np.array(INK) / 255.0) * stroke
    height, width = (side // supersample for side in picture.shape[:2])
    picture = picture.reshape(height, supersample, width, supersample, 3)
    light[window] = picture.mean(axis=(1, 3))
    image = Image.fromarray(np.round(to_srgb(light) * 255).astype(np.uint8))
    for line in lines:
        _draw(image, line, seen, camera)
    return image


class _Camera:
    """Maps points to pixels (x right, y down) and pixels to rays; depth grows away from the eye."""

    def __init__(self, mesh: Mesh, *, view: View, size_px: tuple[int, int], margin: float) -> None:
        points = mesh.vertices_mm[np.unique(mesh.faces)]
        low, high = points.min(axis=0), points.max(axis=0)
        self.target = 0.5 * (low + high)
        radius = max(0.5 * float(np.linalg.norm(high - low)), 1e-9)
        azimuth, elevation = np.radians([view.azimuth_deg, view.elevation_deg])
        near = np.array(
            [
                np.cos(elevation) * np.cos(azimuth),
                np.cos(elevation) * np.sin(azimuth),
                np.sin(elevation),
            ]
        )
        right = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
        self.axes: FloatArray = np.stack([right, np.cross(near, right), near])
        self.distance = view.distance * radius
        self.size_px = size_px
        self.scale, self.centre = 1.0, np.zeros(2)
        flat = self._plane(points)[0]
        span = np.maximum(np.ptp(flat, axis=0), 1e-9)
        free = (1 - 2 * margin) * np.array(size_px)
        self.scale = float((free / span).min())
        self.centre = 0.5 * (flat.min(axis=0) + flat.max(axis=0))

    def _plane(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Coordinates in the picture plane through the target, in mm, and depths."""
        local = (points - self.target) @ self.axes.T
        if self.distance:
            factor = self.distance / np.maximum(self.distance - local[:, 2], 1e-3 * self.distance)
            return local[:, :2] * factor[:, None], self.distance - local[:, 2]
        return local[:, :2], -local[:, 2]

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Pixels (k, 2) and depths (k,) of points (k, 3)."""
        flat, depth = self._plane(points)
        pixels = (flat - self.centre) * self.scale * np.array([1, -1])
        return pixels + 0.5 * np.array(self.size_px), depth

    def window(self, points: FloatArray) -> tuple[slice, slice]:
        """The rows and columns of the picture that *points* span."""
        pixels, _ = self.project(points)
        low = np.clip(np.floor(pixels.min(axis=0)) - 2, 0, self.size_px).astype(int)
        high = np.clip(np.ceil(pixels.max(axis=0)) + 2, 0, self.size_px).astype(int)
        return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))

    def rays(self, pixels: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Origins about the target, and unit directions, of rays through pixels (k, 2)."""
        flat = (pixels - 0.5 * np.array(self.size_px)) / self.scale * np.array([1, -1])
        plane = (flat + self.centre) @ self.axes[:2]
        if self.distance:
            eye = self.distance * self.axes[2]
            direction = plane - eye
            direction /= np.linalg.norm(direction, axis=1, keepdims=True)
            return np.broadcast_to(eye, plane.shape), direction
        far = 1e4 / min(self.scale, 1.0) + np.abs(plane).max(initial=0.0)
        return plane + far * self.axes[2], np.broadcast_to(-self.axes[2], plane.shape)


@dataclass(eq=False)
class _Seen:
    """What each ray of a window met: face -1 and infinite depth where nothing."""

    corner: IntArray
    supersample: int
    face: IntArray
    depth: FloatArray
    normal: FloatArray
    to_eye: FloatArray
    openness: FloatArray
    inside: NDArray[np.bool_]


def _checked(
    mesh: Mesh,
    size_px: tuple[int, int],
    face_colours: NDArray[np.uint8] | None,
    face_gloss: FloatArray | None,
) -> tuple[NDArray[np.uint8], FloatArray]:
    count = len(mesh.faces)
    if count == 0 or min(size_px) < 1:
        raise ValueError("a picture needs at least one face and one pixel")
    if face_colours is None:
        face_colours = np.full((count, 3), CLAY, dtype=np.uint8)
    if face_gloss is None:
        face_gloss = np.ones(count)
    if face_colours.shape != (count, 3) or face_gloss.shape != (count,):
        raise ValueError(f"face colours must be ({count}, 3) and face gloss ({count},)")
    return face_colours, face_gloss


def vertex_normals(mesh: Mesh) -> FloatArray:
    """(n, 3) float64: unit normals, the mean of the faces' normals by area."""
    corners = mesh.vertices_mm[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    ids = mesh.faces.T.ravel()
    total = np.stack(
        [
            np.bincount(ids, np.tile(normals[:, axis], 3), minlength=len(mesh.vertices_mm))
            for axis in range(3)
        ],
        axis=1,
    )
    unit: FloatArray = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-30)
    return unit


def _scene(local: FloatArray, faces: IntArray) -> rtcore_scene.EmbreeScene:
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, local[faces].astype(np.float32))
    return scene


def _cast(
    mesh: Mesh,
    openness: FloatArray,
    camera: _Camera,
    window: tuple[slice, slice],
    supersample: int,
) -> _Seen:
    corner = np.array([window[1].start, window[0].start])
    shape = tuple(supersample * (part.stop - part.start) for part in window)
    seen = _Seen(
        corner=corner,
        supersample=supersample,
        face=np.full(shape, -1, dtype=np.int64),
        depth=np.full(shape, np.inf),
        normal=np.zeros((*shape, 3)),
        to_eye=np.zeros((*shape, 3)),
        openness=np.ones(shape),
        inside=np.zeros(shape, dtype=bool),
    )
    local = mesh.vertices_mm - camera.target
    scene = _scene(local, mesh.faces)
    smooth = np.column_stack([vertex_normals(mesh), openness])
    band = max(1, _RAYS // max(1, shape[1]))
    for top in range(0, shape[0], band):
        rows = np.arange(top, min(top + band, shape[0]))
        grid = np.stack(np.meshgrid(np.arange(shape[1]), rows), axis=-1).reshape(-1, 2)
        origins, directions = camera.rays((grid + 0.5) / supersample + corner)
        found = scene.run(
            np.ascontiguousarray(origins, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            output=True,
        )
        hit = found["primID"] >= 0
        face = found["primID"][hit].astype(np.int64)
        corners = mesh.faces[face]
        v, w = found["u"][hit].astype(np.float64), found["v"][hit].astype(np.float64)
        weights = np.stack([1 - v - w, v, w], axis=1)
        triangle = local[corners]
        values = np.einsum("ij,ijk->ik", weights, smooth[corners])
        normal = values[:, :3]
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
        to_eye = -directions[hit]
        flat = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
        inside = np.einsum("ij,ij->i", flat, to_eye) < 0
        normal[inside] *= -1
        at = (grid[hit, 1], grid[hit, 0])
        points = np.einsum("ij,ijk->ik", weights, triangle)
        seen.depth[at] = camera.distance - points @ camera.axes[2]
        seen.face[at], seen.inside[at] = face, inside
        seen.normal[at], seen.to_eye[at], seen.openness[at] = normal, to_eye, values[:, 3]
    return seen


def _openness(mesh: Mesh, *, directions: int = 40, reach: float = 0.20) -> FloatArray:
    """How much of the sky each vertex sees, 0 to 1, over obstacles nearer than *reach* sizes.

    Rays go to fixed directions over the sphere (a Fibonacci lattice), weighted by the cosine.
    """
    points = mesh.vertices_mm - mesh.vertices_mm.mean(axis=0)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    normals = vertex_normals(mesh)
    scene = _scene(points, mesh.faces)
    step = np.arange(directions) + 0.5
    height = 1.0 - 1.25 * step / directions
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    across = np.sqrt(np.clip(1 - height**2, 0, None))
    sky = np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)
    free, total = np.zeros(len(points)), np.full(len(points), 1e-9)
    start = (points + 1e-3 * size * normals).astype(np.float32)
    for direction in sky:
        cosine = normals @ direction
        above = np.flatnonzero(cosine > 0.05)
        rays = np.ascontiguousarray(np.broadcast_to(direction, (len(above), 3)), dtype=np.float32)
        limit = np.full(len(above), reach * size, dtype=np.float32)
        found = scene.run(start[above], rays, dists=limit, query="OCCLUDED")
        total[above] += cosine[above]
        free[above] += np.where(found < 0, cosine[above], 0.0)
    openness = np.where(total > 1e-6, free / total, 1.0)
    for _ in range(2):
        openness = _smoothed(mesh, openness)
    return openness


def _smoothed(mesh: Mesh, values: FloatArray) -> FloatArray:
    """Each vertex's value averaged over the triangles about it."""
    mean = values[mesh.faces].mean(axis=1)
    ids, count = mesh.faces.T.ravel(), len(values)
    total = np.bincount(ids, np.tile(mean, 3), minlength=count)
    around = np.bincount(ids, minlength=count)
    result: FloatArray = np.where(around > 0, total / np.maximum(around, 1), values)
    return result


def _contours(seen: _Seen, scale: float) -> FloatArray:
    """Ink, 0 to 1: where depth jumps by more than the slope explains, or the normal turns."""
    hit = seen.face >= 0
    depth = scale * np.where(hit, seen.depth, seen.depth[hit].max(initial=0.0) + 1e5 / scale)
    ink = np.zeros(depth.shape)
    for axis in (0, 1):
        before = np.roll(depth, 1, axis=axis) - depth
        after = np.roll(depth, -1, axis=axis) - depth
        jump = np.maximum(before, after) - np.minimum(np.abs(before), np.abs(after))
        ink = np.maximum(ink, np.clip(jump / 8.0 - 0.5, 0.0, 1.0))
        turned = 1 - np.einsum("ijk,ijk->ij", seen.normal, np.roll(seen.normal, -1, axis=axis))
        both = hit & np.roll(hit, -1, axis=axis)
        ink = np.maximum(ink, np.where(both, 0.7 * np.clip(turned / 0.25 - 0.25, 0, 1), 0.0))
    return np.where(hit, 0.85 * ink, 0.0)


def _ground_light(mesh: Mesh, camera: _Camera) -> FloatArray:
    """How much light the ground sends: dark below low parts of the mesh, softer further out."""
    width, height = camera.size_px
    light = np.ones(width * height)
    floor = float(mesh.vertices_mm[:, 2].min())
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2)
    origins, directions = camera.rays(grid.astype(np.float64) + 0.5)
    down = directions[:, 2] < -1e-3
    reach = (floor - camera.target[2] - origins[down, 2]) / directions[down, 2]
    places = origins[down, :2] + reach[:, None] * directions[down, :2] + camera.target[:2]
    low = mesh.vertices_mm[:, :2].min(axis=0)
    span = float(np.ptp(mesh.vertices_mm[:, :2], axis=0).max())
    cell = span / 160.0
    centres = mesh.vertices_mm[mesh.faces].mean(axis=1)
    shadow = np.zeros((320, 320))
    index = ((centres[:, :2] - low) / cell).astype(int) + 80
    nearness = np.exp(-(centres[:, 2] - floor) / (0.10 * span))
    np.maximum.at(shadow, (index[:, 0], index[:, 1]), nearness)
    shadow = ndimage.grey_closing(shadow, size=(75, 75))
    shadow = 0.55 * ndimage.gaussian_filter(shadow, 2.0) + 0.45 * ndimage.gaussian_filter(shadow, 8)
    at = ((places - low) / cell + 79.5).T
    dark = ndimage.map_coordinates(shadow, at, order=1, mode="constant")
    light[down] -= 0.72 * np.clip(dark, 0.0, 1.0)
    return light.reshape(height, width)


def _draw(image: Image.Image, line: Line, seen: _Seen, camera: _Camera) -> None:
    """Draw the parts of *line* that nothing hides, anti-aliased."""
    pixels, _ = camera.project(line.points_mm)
    steps = np.ceil(2.0 * np.linalg.norm(np.diff(pixels, axis=0), axis=1)).astype(int)
    steps = np.clip(steps, 1, 4000)
    place = np.concatenate(
        [k + np.arange(count) / count for k, count in enumerate(steps)] + [[float(len(steps))]]
    )
    knots = np.arange(len(line.points_mm))
    dense = np.stack([np.interp(place, knots, line.points_mm[:, i]) for i in range(3)], axis=1)
    pixels, depth = camera.project(dense)
    places = (pixels - seen.corner) * seen.supersample
    shown = depth <= _depth_near(seen, places) + 4.0 / camera.scale
    _stroke(image, pixels, shown, line)


def _depth_near(seen: _Seen, places: FloatArray) -> FloatArray:
    """The greatest depth that the 3 by 3 rays about each place met; infinite where none did."""
    height, width = seen.depth.shape
    padded = np.pad(seen.depth, 2, constant_values=np.inf)
    column = np.clip(np.floor(places[:, 0]).astype(int) + 1, 0, width + 1)
    row = np.clip(np.floor(places[:, 1]).astype(int) + 1, 0, height + 1)
    depth = np.full(len(places), -np.inf)
    for dx in (0, 1, 2):
        for dy in (0, 1, 2):
            depth = np.maximum(depth, padded[row + dy, column + dx])
    return depth


def _stroke(image: Image.Image, pixels: FloatArray, shown: NDArray[np.bool_], line: Line) -> None:
    reach = line.width_px + 2
    low = np.clip(np.floor(pixels.min(axis=0) - reach), 0, image.size).astype(int)
    high = np.clip(np.ceil(pixels.max(axis=0) + reach), 0, image.size).astype(int)
    if not shown.any() or (high <= low).any():
        return
    width, height = (int(side) for side in high - low)
    mask = Image.new("L", (_FINE * width, _FINE * height), 0)
    pen = ImageDraw.Draw(mask)
    cuts = np.flatnonzero(np.diff(shown.astype(int))) + 1
    for run in np.split(np.arange(len(shown)), cuts):
        if shown[run[0]] and len(run) > 1:
            points = [(float(x), float(y)) for x, y in (pixels[run] - low) * _FINE]
            pen.line(points, fill=255, width=max(1, round(line.width_px * _FINE)), joint="curve")
    mask = mask.reduce(_FINE)
    image.paste(Image.new("RGB", mask.size, line.colour), (int(low[0]), int(low[1])), mask)
