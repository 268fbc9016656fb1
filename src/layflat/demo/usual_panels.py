"""The panels that any vehicle has, from the lines between them: the same names, kinds and order."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.demo.drawing import FRONT, LEFT, TOP, Sheet, drawn_line, grown, oval
from layflat.demo.fields import Field
from layflat.demo.lines import arch_line, low_line, spot
from layflat.demo.sketch import Stroke, image_keep_out, keep_out, panel
from layflat.surface import EdgeKind, KeepOut, KeepOutKind, Panel

RIGHT = np.array([1.0, -1.0, 1.0])
"""Takes points of the left side to their images on the right."""

Place = tuple[float, float]

_OPEN, _GAP, _TRIM = EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.TRIM
_CLEAR_MM = 6.0


@dataclass(frozen=True, kw_only=True)
class Arch:
    """A wheel arch as its rim is drawn from the left: its middle, and the radius of the line."""

    axle_mm: float
    hub_mm: float
    rim_mm: float

    def line(self, skin: Field, *, start_deg: float, end_deg: float, low_mm: float) -> FloatArray:
        """The line round the arch; see `arch_line`."""
        return arch_line(skin, self.axle_mm, self.hub_mm, self.rim_mm, start_deg, end_deg, low_mm)


@dataclass(frozen=True, eq=False, kw_only=True)
class Nose:
    """The lines (k, 3) of a nose, on its left where they have an image; each ends on the next.

    Attributes:
        cowl: the hood's rear edge, from side to side.
        hood_side: between hood and fender.
        hood_front: the hood's front edge, from side to side.
        lamp_top, lamp_low: round the lamp cover.
        seam: between bumper and fender, from the lamp to the arch.
        arch: the fender's part of the wheel arch.
        sill: the fender's lower edge behind the arch.
        door: the fender's rear edge.
        cowl_side: from the door to the hood.
    """

    cowl: FloatArray
    hood_side: FloatArray
    hood_front: FloatArray
    lamp_top: FloatArray
    lamp_low: FloatArray
    seam: FloatArray
    arch: FloatArray
    sill: FloatArray
    door: FloatArray
    cowl_side: FloatArray


def hood(skin: Field, nose: Nose, *, keep_outs: Sequence[KeepOut]) -> Panel:
    """The hood."""
    strokes = [
        ("cowl", _OPEN, nose.cowl),
        ("side-left", _GAP, nose.hood_side),
        ("front", _OPEN, nose.hood_front),
        ("side-right", _GAP, nose.hood_side * RIGHT),
    ]
    return panel("hood", skin, strokes, keep_outs=keep_outs)


def fender(skin: Field, nose: Nose) -> Panel:
    """The left front fender."""
    strokes = [
        ("hood", _GAP, nose.hood_side),
        ("lamp", _TRIM, nose.lamp_top),
        ("bumper", _GAP, nose.seam),
        ("arch", _OPEN, nose.arch),
        ("sill", _GAP, nose.sill),
        ("door", _GAP, nose.door),
        ("cowl", _TRIM, nose.cowl_side),
    ]
    return panel("fender-left", skin, strokes)


def lamp(skin: Field, nose: Nose) -> Panel:
    """The left lamp cover."""
    return panel("lamp-left", skin, [("top", _GAP, nose.lamp_top), ("low", _GAP, nose.lamp_low)])


def bumper(
    skin: Field,
    nose: Nose,
    *,
    arch: FloatArray,
    lip_centre_mm: float,
    openings: Sequence[Stroke],
    keep_outs: Sequence[KeepOut],
) -> Panel:
    """The front bumper.

    Args:
        skin: the body.
        nose: its lines.
        arch: the bumper's part of the left wheel arch, down to the lower lip.
        lip_centre_mm: where on the middle plane the lower lip is drawn from.
        openings, keep_outs: what lies in it.
    """
    arch = np.vstack([nose.seam[-1:], arch[1:]])
    strokes = [
        ("hood", _GAP, nose.hood_front),
        ("lamp-left", _TRIM, nose.lamp_low),
        ("fender-left", _GAP, nose.seam),
        ("arch-left", _OPEN, arch),
        ("lip", _OPEN, low_line(skin, lip_centre_mm, arch[-1])),
        ("arch-right", _OPEN, arch * RIGHT),
        ("fender-right", _GAP, nose.seam * RIGHT),
        ("lamp-right", _TRIM, nose.lamp_low * RIGHT),
    ]
    return panel("bumper-front", skin, strokes, openings=openings, keep_outs=keep_outs)


def door(
    skin: Field,
    *,
    front: FloatArray,
    belt: FloatArray,
    rear: FloatArray,
    low: FloatArray,
    keep_outs: Sequence[KeepOut],
) -> Panel:
    """The left front door below the belt."""
    strokes = [
        ("front", _GAP, front),
        ("belt", _TRIM, belt),
        ("rear", _GAP, rear),
        ("low", _GAP, low),
    ]
    return panel("door-left", skin, strokes, keep_outs=keep_outs)


def rocker(skin: Field, *, front_mm: float, rear_mm: float, low_mm: float, top_mm: float) -> Panel:
    """The left rocker between the wheel arches."""
    corners = [(front_mm, low_mm), (rear_mm, low_mm), (rear_mm, top_mm), (front_mm, top_mm)]
    names = (("low", _OPEN), ("rear-arch", _OPEN), ("top", _GAP), ("front-arch", _OPEN))
    return panel("rocker-left", skin, four_sided(skin, LEFT, corners, names))


def four_sided(
    skin: Field, sheet: Sheet, corners: Sequence[Place], names: Sequence[tuple[str, EdgeKind]]
) -> list[Stroke]:
    """Straight lines drawn between *corners*; the first runs from the first to the second."""
    spots = [spot(skin, sheet, *corner) for corner in corners]
    return [
        (name, kind, drawn_line(skin, sheet, start, end))
        for (name, kind), start, end in zip(names, spots, spots[1:] + spots[:1], strict=True)
    ]


def opening(skin: Field, name: str, ring: FloatArray) -> Stroke:
    """The edge round an opening of the nose, a little outside its rim."""
    return name, _TRIM, FRONT.lay(skin, grown(ring, _CLEAR_MM))


def emblem(skin: Field, sheet: Sheet, centre: Place, half: Place) -> KeepOut:
    """The maker's emblem."""
    return keep_out(KeepOutKind.EMBLEM, "emblem", skin, sheet, oval(centre, half, count=32))


def washer_jets(skin: Field, place: Place) -> list[KeepOut]:
    """Two washer jets, the left one drawn from above."""
    rim = oval(place, (9, 13), count=16)
    return _pair(keep_out(KeepOutKind.JET, "washer jet, left", skin, TOP, rim))


def parking_sensors(skin: Field, *, inner: Place, outer: Place, radius_mm: float) -> list[KeepOut]:
    """Four parking sensors, the left ones drawn from the front."""
    sensors: list[KeepOut] = []
    for name, place in (("inner", inner), ("outer", outer)):
        rim = oval(place, (radius_mm, radius_mm), count=16)
        name = f"parking sensor, {name} left"
        sensors += _pair(keep_out(KeepOutKind.SENSOR, name, skin, FRONT, rim))
    return sensors


def handle(skin: Field, name: str, centre: Place, half: Place) -> KeepOut:
    """A door handle, drawn from the left."""
    return keep_out(KeepOutKind.OTHER, name, skin, LEFT, oval(centre, half, count=36))


def lock(skin: Field, name: str, centre: Place, radius_mm: float) -> KeepOut:
    """A door lock, drawn from the left."""
    rim = oval(centre, (radius_mm, radius_mm), count=16)
    return keep_out(KeepOutKind.LOCK, name, skin, LEFT, rim)


def _pair(item: KeepOut) -> list[KeepOut]:
    return [item, image_keep_out(item)]
