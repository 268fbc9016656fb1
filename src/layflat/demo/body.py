"""A body put together: the skin, trimmed at its openings, both sides, with mirror caps."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.demo.drawing import FRONT, Sheet, distance_to
from layflat.demo.fields import Field, Solid, both, either
from layflat.demo.jets import Jet, hypot, within
from layflat.demo.skin import graded, half_grid, mirrored, quads_of, triangles_of
from layflat.demo.trim import compact, trimmed
from layflat.surface import BodyInfo, Mesh


@dataclass(frozen=True, eq=False)
class Patch:
    """A region of the skin with a look of its own (glass, a lamp), drawn on a sheet.

    Attributes:
        name: what it is.
        sheet, ring: where it is drawn; on the left half where it has an image on the right.
        colour: sRGB.
        gloss: see `layflat.papers.render`.
        where: a test of points that tells the front from the back of the body.
    """

    name: str
    sheet: Sheet
    ring: FloatArray
    colour: tuple[int, int, int]
    gloss: float
    where: Callable[[FloatArray], np.ndarray[tuple[int], np.dtype[np.bool_]]]


@dataclass(frozen=True, eq=False)
class Seam:
    """A shut line that belongs to no panel, for pictures only.

    Attributes:
        sheet: where it is drawn, on the left half.
        line: (k, 2), drawn with straight sides.
        sides: where it is seen: 1 is the left, -1 its image on the right.
    """

    sheet: Sheet
    line: FloatArray
    sides: tuple[int, ...] = (1, -1)


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """What a body is made from.

    Attributes:
        info: its name and panels.
        skin: the field of the body, mirrors apart.
        axle_mm: the axles stand at x = +-axle.
        wheel_mm, arch_mm: radii of wheel and arch; `hub_mm` is the wheel's height.
        bottom_mm: height of the lower rim.
        low, high: corners of the box of the half y >= 0.
        openings: holes in the nose, drawn on the front sheet.
        mirror_mm: middle of the left mirror cap.
        mirror_half_mm: its half axes.
        patches: glass and lamps.
        seams: shut lines of lids and doors that are no panels.
        paint: sRGB of the paint.
    """

    info: BodyInfo
    skin: Field
    axle_mm: float
    wheel_mm: float
    arch_mm: float
    hub_mm: float
    bottom_mm: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    openings: tuple[FloatArray, ...]
    mirror_mm: tuple[float, float, float]
    mirror_half_mm: tuple[float, float, float]
    patches: tuple[Patch, ...] = field(default=())
    seams: tuple[Seam, ...] = field(default=())
    paint: tuple[int, int, int] = (196, 200, 202)


def half_skin(design: Design, *, spacing_mm: float) -> tuple[FloatArray, IntArray]:
    """The trimmed left half of the body: points (n, 3) and triangles (m, 3)."""
    low, high = design.low, design.high
    nose = [(low[0], 0.9), (low[0] + 700, 1.1), (high[0] - 900, 1.1), (high[0], 0.75)]
    grid = half_grid(
        graded(low[0], high[0], [(x, share * spacing_mm) for x, share in nose]),
        graded(0.0, high[1], [(0.0, spacing_mm), (high[1], 0.9 * spacing_mm)]),
        graded(low[2], high[2], [(low[2], 0.85 * spacing_mm), (high[2], 1.1 * spacing_mm)]),
    )
    points, quads = quads_of(design.skin, grid)
    faces = triangles_of(points, quads)
    for axle in (design.axle_mm, -design.axle_mm):
        points, faces = trimmed(points, faces, arch_level(design, axle), design.skin)
    points, faces = trimmed(points, faces, lambda p: p[:, 2] - design.bottom_mm, design.skin)
    for ring in design.openings:
        points, faces = trimmed(points, faces, opening_level(ring), design.skin)
    return points, faces


def arch_level(design: Design, axle: float) -> Callable[[FloatArray], FloatArray]:
    """Distance from the wheel arch at *axle*: negative in the opening."""

    def level(points: FloatArray) -> FloatArray:
        above = np.maximum(points[:, 2] - design.hub_mm, 0.0)
        distance = np.hypot(points[:, 0] - axle, above) - design.arch_mm
        return np.where(points[:, 1] > 0.4 * design.high[1], distance, 1e3)

    return level


def opening_level(ring: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Distance from an opening of the nose: negative in it."""

    def level(points: FloatArray) -> FloatArray:
        value = np.full(len(points), 1e3)
        front = points[:, 0] > 0.0
        value[front] = distance_to(ring, FRONT.flat(points[front]))
        return value

    return level


def mirror_field(design: Design) -> Solid:
    """The left mirror: a cap like half an egg, flat behind, on a stalk."""
    centre, half = np.array(design.mirror_mm), np.array(design.mirror_half_mm)
    foot = centre + np.array([-0.55, -1.55, -1.0]) * half
    root = centre + np.array([-0.35, -0.4, -0.45]) * half

    axis = (root - foot) / ((root - foot) @ (root - foot))

    def mirror(x: Jet, y: Jet, z: Jet) -> Jet:
        place = (x, y, z)
        powers = [(abs(q - c) / h) ** 2.3 for q, c, h in zip(place, centre, half, strict=True)]
        egg = ((powers[0] + powers[1] + powers[2]) ** (1 / 2.3) - 1.0) * float(half.min())
        cap = both(egg, centre[0] - 0.45 * half[0] - x, blend=0.35 * half[0])
        arm = [q - c for q, c in zip(place, foot, strict=True)]
        along = within(arm[0] * axis[0] + arm[1] * axis[1] + arm[2] * axis[2], 0.0, 1.0)
        away = [a - along * r for a, r in zip(arm, root - foot, strict=True)]
        stalk = hypot(hypot(away[0], away[1]), away[2]) - 15.0
        return either(cap, stalk, blend=22.0)

    return Solid(mirror)


def mirror_skin(design: Design, *, spacing_mm: float) -> tuple[FloatArray, IntArray]:
    """The left mirror, closed: points and triangles."""
    centre, half = np.array(design.mirror_mm), np.array(design.mirror_half_mm)
    low, high = centre - 2.2 * half - 20.0, centre + 1.2 * half + 10.0
    grid = half_grid(*(np.arange(a, b, spacing_mm) for a, b in zip(low, high, strict=True)))
    points, quads = quads_of(mirror_field(design), grid, half=False)
    return points, triangles_of(points, quads)


def body_mesh(design: Design, *, spacing_mm: float = 19.0) -> Mesh:
    """The clean mesh of a body, symmetric to the last bit.

    Args:
        design: the body.
        spacing_mm: about the length of the triangles' sides; the mirrors are finer.
    """
    points, faces = mirrored(*half_skin(design, spacing_mm=spacing_mm))
    cap, cap_faces = mirror_skin(design, spacing_mm=min(0.3 * spacing_mm, 6.0))
    image = cap * np.array([1.0, -1.0, 1.0])
    count, caps = len(points), len(cap)
    return Mesh(
        *compact(
            np.vstack([points, cap, image]),
            np.vstack([faces, count + cap_faces, count + caps + cap_faces[:, ::-1]]),
        )
    )
