"""Pictures of surfaces: a drawn look on paper, with lines that hide behind the surface.

Rays are cast with Embree through an orthographic or perspective camera. What each ray meets
(triangle, depth, smooth normal) is shaded, inked where depth or normal jumps, and averaged
down; lines on the surface are drawn on top where nothing lies before them. The same input
gives the same picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from layflat.base import FloatArray, frozen
from layflat.papers.camera import Camera, View
from layflat.papers.raycast import Seen, Stage, cast, make_stage
from layflat.papers.shading import Shading, Values, shade, to_linear, to_srgb
from layflat.surface import Mesh

Colour = tuple[int, int, int]

PAPER: Colour = (246, 243, 236)
INK: Colour = (33, 31, 28)
CLAY: Colour = (206, 202, 194)

_FINE = 4
_LINEAR = to_linear(np.arange(256) / 255.0).astype(np.float32)
"""Linear light by sRGB value."""


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


@dataclass(frozen=True, eq=False)
class Mark:
    """A part of the surface in a colour of its own.

    Attributes:
        mesh: the part; it lies on the surface, and need not share its vertices.
        colour: of the part.
    """

    mesh: Mesh
    colour: Colour


def render(
    mesh: Mesh | Stage,
    *,
    view: View,
    size_px: tuple[int, int],
    face_colours: NDArray[np.uint8] | None = None,
    face_gloss: FloatArray | None = None,
    lines: Sequence[Line] = (),
    marks: Sequence[Mark] = (),
    shading: Shading = Shading.STUDIO,
    ink: float = 1.0,
    ground: bool = False,
    focus: FloatArray | None = None,
    margin: float = 0.06,
    paper: Colour = PAPER,
    supersample: int = 2,
) -> Image.Image:
    """A picture of *mesh*.

    Args:
        mesh: what is seen; faces counter-clockwise from outside. A vertex that is shared is
            smooth; double it where an edge is to look sharp. For several pictures of one mesh
            make a stage of it first: that takes longest of all (see `make_stage`).
        view: where the eye is; see `VIEWS`.
        size_px: width and height of the picture.
        face_colours: (m, 3) uint8 sRGB, one per face; light clay if not given.
        face_gloss: (m,) float64, 0 matt, 1 clear coat, more is glass; 1 if not given.
        lines: drawn on the surface, the later over the earlier.
        marks: parts of the surface in another colour, the later over the earlier.
        shading: the manner; `PLAIN` keeps colours that carry numbers.
        ink: strength of the drawn contours, 0 to 1.
        ground: whether a soft shadow lies on the ground below.
        focus: (k, 3) points that fill the picture, if it is not the whole mesh.
        margin: free paper at the tighter pair of sides, as a fraction of the picture.
        paper: colour of the ground.
        supersample: rays per pixel along each side, 1 to 4.

    Returns:
        an RGB picture.

    Raises:
        ValueError: an array does not go with the mesh, or the mesh or the size is empty.
    """
    if isinstance(mesh, Stage):
        stage, mesh = mesh, mesh.mesh
        colours, gloss = _checked(mesh, size_px, face_colours, face_gloss)
    else:
        colours, gloss = _checked(mesh, size_px, face_colours, face_gloss)
        # Only the studio looks at the sky.
        stage = make_stage(mesh, sky_directions=40 if shading is Shading.STUDIO else 0)
    points = _used(mesh) if focus is None else focus
    camera = Camera(points, view=view, size_px=size_px, margin=margin)
    light = np.ones((size_px[1], size_px[0], 3)) * to_linear(np.array(paper) / 255.0)
    if ground:
        light *= _ground_light(mesh, camera)[..., None]
    # A part that fills the picture leaves no rays to be spared round it.
    window = camera.window(points) if focus is None else camera.all_of_it()
    seen = cast(stage, camera, window, supersample, marks=[mark.mesh for mark in marks])
    picture = (
        light[window].astype(np.float32).repeat(supersample, axis=0).repeat(supersample, axis=1)
    )
    hit = seen.face >= 0
    picture[hit] = _shaded(seen, hit, camera, shading, colours, gloss, marks)
    if ink > 0:
        stroke = ink * _contours(seen, camera.scale * supersample)[..., None]
        picture = picture * (1 - stroke) + _LINEAR[np.array(INK)] * stroke
    height, width = (side // supersample for side in picture.shape[:2])
    picture = picture.reshape(height, supersample, width, supersample, 3)
    light[window] = picture.mean(axis=(1, 3))
    image = Image.fromarray(np.round(to_srgb(light) * 255).astype(np.uint8))
    for line in lines:
        _draw(image, line, seen, camera)
    return image


def _shaded(
    seen: Seen,
    hit: NDArray[np.bool_],
    camera: Camera,
    shading: Shading,
    colours: NDArray[np.uint8],
    gloss: FloatArray,
    marks: Sequence[Mark],
) -> Values:
    """(k, 3) the light of the rays that met something; the inside of a panel is dark."""
    face = seen.face[hit]
    inside = np.where(seen.inside[hit], np.float32(0.35), np.float32(1.0))
    painted = _LINEAR[colours[face]]
    for index, mark in enumerate(marks):
        painted[seen.mark[hit] == index] = _LINEAR[np.array(mark.colour)]
    return shade(
        shading,
        normals=seen.normal[hit],
        to_eye=seen.to_eye[hit],
        colours=painted * inside[:, None],
        gloss=gloss.astype(np.float32)[face] * inside,
        openness=seen.openness[hit],
        camera=camera.axes.astype(np.float32),
    )


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


def _used(mesh: Mesh) -> FloatArray:
    """The vertices that some face uses."""
    used = np.zeros(len(mesh.vertices_mm), dtype=bool)
    used[mesh.faces] = True
    return mesh.vertices_mm[used]


def _contours(seen: Seen, scale: float) -> Values:
    """Ink, 0 to 1: where depth jumps by more than the slope explains, or the normal turns."""
    hit = seen.face >= 0
    depth = np.float32(scale) * np.where(
        hit, seen.depth, seen.depth[hit].max(initial=0.0) + 1e5 / scale
    )
    ink = np.zeros_like(depth)
    for axis in (0, 1):
        # Views with that axis first: what is written to them is written to the arrays.
        far, drawn = np.moveaxis(depth, axis, 0), np.moveaxis(ink, axis, 0)
        normal, met = np.moveaxis(seen.normal, axis, 0), np.moveaxis(hit, axis, 0)
        step = np.diff(far, axis=0)
        edge = np.zeros_like(step[:1])
        before, after = np.concatenate((edge, -step)), np.concatenate((step, edge))
        jump = np.maximum(before, after) - np.minimum(np.abs(before), np.abs(after))
        np.maximum(drawn, np.clip(jump / 8.0 - 0.5, 0.0, 1.0), out=drawn)
        turned = 1 - np.einsum("ijk,ijk->ij", normal[:-1], normal[1:])
        bend = np.where(met[:-1] & met[1:], 0.7 * np.clip(turned / 0.25 - 0.25, 0, 1), 0.0)
        np.maximum(drawn[:-1], bend, out=drawn[:-1])
    inked: Values = np.where(hit, np.float32(0.85) * ink, np.float32(0.0))
    return inked


def _ground_light(mesh: Mesh, camera: Camera) -> FloatArray:
    """How much light the ground sends: dark below low parts of the mesh, softer further out."""
    width, height = camera.size_px
    light = np.ones(width * height)
    floor = float(mesh.vertices_mm[:, 2].min())
    origins, directions = camera.rays(0.5 + np.arange(float(width)), 0.5 + np.arange(float(height)))
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


def _draw(image: Image.Image, line: Line, seen: Seen, camera: Camera) -> None:
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


def _depth_near(seen: Seen, places: FloatArray) -> FloatArray:
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
