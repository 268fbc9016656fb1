"""What is only seen in pictures: wheels, wheel wells, folded lips, and what lies in openings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.demo.body import Design
from layflat.surface import boundary_loops

Colour = tuple[int, int, int]

RUBBER: Colour = (38, 38, 40)
RIM: Colour = (186, 190, 194)
DARK: Colour = (24, 24, 25)
HUB: Colour = (96, 98, 102)


@dataclass(frozen=True, eq=False)
class Part:
    """A shell with one look.

    Attributes:
        points: (n, 3) float64, mm.
        faces: (m, 3) int64.
        colour: sRGB.
        gloss: see `layflat.papers.render`.
    """

    points: FloatArray
    faces: IntArray
    colour: Colour
    gloss: float


def parts_of(design: Design, points: FloatArray, faces: IntArray) -> list[Part]:
    """Everything of *design* but its skin, which is *points* and *faces*, both sides."""
    left: list[Part] = []
    for axle in (design.axle_mm, -design.axle_mm):
        near = (np.abs(points[:, 0] - axle) < design.arch_mm + 120) & (points[:, 2] < 700)
        side = float(points[near, 1].max())
        left += wheel(axle, side - 18.0, design)
        left.append(well(axle, side - 26.0, design))
    right = [
        Part(part.points * np.array([1.0, -1.0, 1.0]), part.faces[:, ::-1], part.colour, part.gloss)
        for part in left
    ]
    return [*left, *right, floor(design, float(points[:, 1].max())), *lips(points, faces)]


def wheel(axle: float, face_y: float, design: Design) -> list[Part]:
    """Tyre, rim, spokes and hub of a wheel on the left whose outer face is at *face_y*."""
    radius = design.wheel_mm
    rim = 0.70 * radius
    tyre = [(rim, -14), (rim + 8, -2), (0.86 * radius, 3), (radius - 26, -6), (radius - 5, -28),
            (radius, -60), (radius, -170), (radius - 30, -215), (rim, -215)]  # fmt: skip
    dish = [
        (rim + 8, -2),
        (rim + 2, 0),
        (rim - 8, -4),
        (rim - 16, -30),
        (rim - 24, -120),
        (60, -125),
    ]
    drum = [(0.52 * radius, -96), (0.50 * radius, -88), (60, -86), (0, -86)]
    hub = [(66, -60), (62, -22), (44, -14), (0, -12)]
    made = [
        Part(*_turned(tyre), RUBBER, 0.35),
        Part(*_turned(dish), RIM, 0.9),
        Part(*_turned(drum), HUB, 0.4),
        Part(*_turned(hub), RIM, 0.9),
        *(Part(*_spoke(k, rim), RIM, 0.9) for k in range(10)),
    ]
    place = np.array([axle, face_y, design.hub_mm])
    return [Part(part.points + place, part.faces, part.colour, part.gloss) for part in made]


def well(axle: float, side: float, design: Design) -> Part:
    """The dark inside of a wheel arch."""
    turn = np.radians(np.linspace(0.0, 180.0, 60))
    radius = design.arch_mm + 8.0
    arc = np.stack([axle + radius * np.cos(turn), design.hub_mm + radius * np.sin(turn)], axis=1)
    front, rear = axle + radius, axle - radius
    low = design.bottom_mm + 6.0
    arc = np.vstack([[front, low], arc, [rear, low]])
    rows = [np.insert(arc, 1, y, axis=1) for y in (side, side - 400.0)]
    centre = np.array([axle, side - 400.0, design.hub_mm])
    rows.append(np.tile(centre, (len(arc), 1)))
    return Part(*_strip(rows, closed=False), DARK, 0.0)


def floor(design: Design, half_width: float) -> Part:
    """The dark underside, so that nobody looks through the body."""
    x, y, z = 0.93 * design.high[0], half_width - 90.0, design.bottom_mm + 70.0
    inner = design.axle_mm - design.arch_mm - 20.0
    points: list[tuple[float, float, float]] = []
    faces: list[tuple[int, int, int]] = []
    for low, high, side in ((-inner, inner, y), (0.93 * design.low[0], x, y - 330.0)):
        start = len(points)
        points += [(low, -side, z), (high, -side, z), (high, side, z), (low, side, z)]
        faces += [(start, start + 2, start + 1), (start, start + 3, start + 2)]
    return Part(np.array(points, dtype=np.float64), np.array(faces), DARK, 0.0)


def lips(points: FloatArray, faces: IntArray) -> list[Part]:
    """The sheet folded inward at every rim, and dark backs behind the openings of the nose."""
    made = []
    for loop in boundary_loops(faces):
        line = points[loop]
        inward = np.sign(line[:, 1:2]) * np.array([0.0, 1.0, 0.0])
        if np.ptp(line[:, 0]) > 3000.0:
            rows = [line - depth * inward for depth in (0.0, 14.0, 34.0)]
            made.append(Part(*_strip(rows, closed=True), (70, 72, 74), 0.2))
            continue
        back = np.array([1.0, 0.0, 0.0])
        rows = [line - depth * back for depth in (0.0, 20.0, 60.0)]
        middle = line.mean(axis=0) - 75.0 * back
        rows.append(middle + 0.02 * (line - line.mean(axis=0)))
        made.append(Part(*_strip(rows, closed=True), DARK, 0.15))
    return made


def _turned(
    profile: Sequence[tuple[float, float]], *, count: int = 96
) -> tuple[FloatArray, IntArray]:
    """A profile of (radius, y) turned about the y axis."""
    turn = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    rows = [
        np.stack([r * np.cos(turn), np.full(count, float(y)), r * np.sin(turn)], axis=1)
        for r, y in profile
    ]
    return _facing(*_strip(rows, closed=True))


def _facing(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The shell turned over, if need be, so that it is seen from the left of the car."""
    a, b, c = (points[faces[:, i]] for i in range(3))
    return points, faces if np.cross(b - a, c - a)[:, 1].sum() > 0 else faces[:, ::-1]


def _spoke(number: int, rim: float) -> tuple[FloatArray, IntArray]:
    """One of ten spokes, in pairs."""
    angle = 2 * np.pi * (number // 2) / 5 + (0.17 if number % 2 else -0.17) + np.pi / 2
    rows = []
    for along, width, front in (
        (50.0, 17.0, -16.0),
        (0.55 * rim, 15.0, -12.0),
        (rim - 10.0, 19.0, -6.0),
    ):
        lean = angle + (0.05 if number % 2 else -0.05) * along / rim
        out = np.array([np.cos(lean), 0.0, np.sin(lean)])
        side = np.array([-np.sin(lean), 0.0, np.cos(lean)])
        y = np.array([0.0, 1.0, 0.0])
        ring = [
            (-width, -34.0),
            (-width, -5.0),
            (-0.6 * width, 0.0),
            (0.6 * width, 0.0),
            (width, -5.0),
            (width, -34.0),
        ]
        rows.append(np.array([along * out + s * side + (front + d) * y for s, d in ring]))
    return _facing(*_strip(rows, closed=False))


def _strip(rows: Sequence[FloatArray], *, closed: bool) -> tuple[FloatArray, IntArray]:
    """Quads between successive rows of points, as triangles."""
    count = len(rows[0])
    index = np.arange(len(rows) * count).reshape(len(rows), count)
    after = np.roll(index, -1, axis=1)
    if not closed:
        index, after = index[:, :-1], after[:, :-1]
    a, b, c, d = index[:-1], after[:-1], after[1:], index[1:]
    faces = np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)])
    return np.vstack(rows), faces.reshape(-1, 3)
