"""The van's design: panels, glass and lamps drawn on its skin."""

import numpy as np

from layflat.base import FloatArray
from layflat.demo import van
from layflat.demo.body import Design, Patch, mirror_field
from layflat.demo.drawing import FRONT, LEFT, REAR, TOP, drawn_line, grown, oval, rounded
from layflat.demo.lines import arch_line, low_line, mirror_panel, spot
from layflat.demo.sketch import across, image, image_keep_out, keep_out, panel
from layflat.demo.van import van_field
from layflat.surface import BodyInfo, EdgeKind, KeepOut, KeepOutKind, Panel

NAME = "Tarnholm Haulbeck"
GRILLE = rounded([(-430, 742), (-400, 612), (400, 612), (430, 742)], 26.0)
INTAKE = rounded([(-560, 430), (-500, 312), (500, 312), (560, 430)], 30.0)
_MIRROR = (1480.0, 1120.0, 1395.0)
_MIRROR_HALF = (92.0, 105.0, 168.0)
_RIM = van.ARCH_RADIUS + 5.0
_SILL = 330.0
_LOW = van.BOTTOM + 16.0
_IMAGE = np.array([1.0, -1.0, 1.0])
_OPEN, _GAP, _TRIM = EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.TRIM


def van_design() -> Design:
    """The van."""
    bare = _design(BodyInfo(NAME))
    return _design(BodyInfo(NAME, panels=_panels(bare)))


def _design(info: BodyInfo) -> Design:
    return Design(
        info=info,
        skin=van_field,
        axle_mm=van.AXLE,
        wheel_mm=van.WHEEL_RADIUS,
        arch_mm=van.ARCH_RADIUS,
        hub_mm=van.WHEEL_Z,
        bottom_mm=van.BOTTOM,
        low=(-2870.0, 0.0, 150.0),
        high=(2640.0, 1080.0, 2470.0),
        openings=(GRILLE, INTAKE),
        mirror_mm=_MIRROR,
        mirror_half_mm=_MIRROR_HALF,
        patches=_patches(),
        paint=(222, 216, 200),
    )


def _panels(design: Design) -> tuple[Panel, ...]:
    skin = van_field
    cowl = spot(skin, TOP, 1850, 770)
    lamp_in, lamp_out = spot(skin, FRONT, 540, 820), spot(skin, FRONT, 850, 900)
    shoulder = spot(skin, LEFT, 1480, 1190)
    arch_front = arch_line(skin, van.AXLE, van.WHEEL_Z, _RIM, 40.0, 190.0, _SILL)
    foot = spot(skin, LEFT, 1120, _SILL)

    hood_rear = across(drawn_line(skin, TOP, cowl, (1935, 560), (1985, 280), (1988, 0)))
    hood_side = drawn_line(skin, TOP, cowl, (2060, 755), (2250, 700), (2390, 610), lamp_in)
    hood_front = across(drawn_line(skin, FRONT, lamp_in, (440, 806), (240, 800), (0, 800)))
    lamp_top = drawn_line(skin, FRONT, lamp_in, (580, 880), (720, 945), (830, 960), lamp_out)
    lamp_low = drawn_line(skin, FRONT, lamp_in, (600, 740), (760, 730), (850, 790), lamp_out)
    seam = drawn_line(skin, LEFT, lamp_out, (2080, 740), arch_front[0])
    sill_front = drawn_line(skin, LEFT, arch_front[-1], foot)
    door_front = drawn_line(skin, LEFT, foot, (1120, 640), (1330, 900), shoulder)
    cowl_side = drawn_line(skin, LEFT, shoulder, (1640, 1190), cowl)

    hood = panel(
        "hood",
        skin,
        [
            ("cowl", _OPEN, hood_rear),
            ("side-left", _GAP, hood_side),
            ("front", _OPEN, hood_front),
            ("side-right", _GAP, hood_side * _IMAGE),
        ],
        keep_outs=[
            keep_out(KeepOutKind.EMBLEM, "emblem", skin, FRONT, oval((0, 868), (62, 36), count=32)),
            *_pair(
                keep_out(
                    KeepOutKind.JET,
                    "washer jet, left",
                    skin,
                    TOP,
                    oval((2040, 380), (9, 13), count=16),
                )
            ),
        ],
    )
    fender = panel(
        "fender-left",
        skin,
        [
            ("hood", _GAP, hood_side),
            ("lamp", _TRIM, lamp_top),
            ("bumper", _GAP, seam),
            ("arch", _OPEN, arch_front),
            ("sill", _GAP, sill_front),
            ("door", _GAP, door_front),
            ("cowl", _TRIM, cowl_side),
        ],
    )
    lamp = panel("lamp-left", skin, [("top", _GAP, lamp_top), ("low", _GAP, lamp_low)])
    return (
        hood,
        _bumper(hood_front, lamp_low, seam),
        *mirror_panel(mirror_field(design), _MIRROR, _MIRROR_HALF),
        fender,
        image(fender, "fender-right"),
        lamp,
        image(lamp, "lamp-right"),
        _loading_sill(),
        *_doors(door_front, shoulder, foot),
    )


def _bumper(hood_front: FloatArray, lamp_low: FloatArray, seam: FloatArray) -> Panel:
    skin = van_field
    low = spot(skin, LEFT, van.AXLE + _RIM, _LOW)
    arch = arch_line(skin, van.AXLE, van.WHEEL_Z, _RIM, 40.0, 0.0, _LOW)
    arch[0], arch[-1] = seam[-1], low
    lip = low_line(skin, 1500.0, low)
    sensors = [
        keep_out(
            KeepOutKind.SENSOR,
            f"parking sensor, {name} left",
            skin,
            FRONT,
            oval(place, (13, 13), count=16),
        )
        for name, place in (("inner", (300, 520)), ("outer", (745, 515)))
    ]
    return panel(
        "bumper-front",
        skin,
        [
            ("hood", _GAP, hood_front),
            ("lamp-left", _TRIM, lamp_low),
            ("fender-left", _GAP, seam),
            ("arch-left", _OPEN, arch),
            ("lip", _OPEN, lip),
            ("arch-right", _OPEN, arch * _IMAGE),
            ("fender-right", _GAP, seam * _IMAGE),
            ("lamp-right", _TRIM, lamp_low * _IMAGE),
        ],
        openings=[
            ("grille", _TRIM, FRONT.lay(skin, grown(GRILLE, 6.0))),
            ("intake", _TRIM, FRONT.lay(skin, grown(INTAKE, 6.0))),
        ],
        keep_outs=[item for sensor in sensors for item in _pair(sensor)],
    )


def _loading_sill() -> Panel:
    skin = van_field
    corners = [
        spot(skin, REAR, y, z) for y, z in ((640, 600), (640, 430), (-640, 430), (-640, 600))
    ]
    lines = [
        drawn_line(skin, REAR, a, b)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    kinds = (
        ("left", EdgeKind.INNER),
        ("low", EdgeKind.INNER),
        ("right", EdgeKind.INNER),
        ("seal", _TRIM),
    )
    strokes = [(name, kind, line) for (name, kind), line in zip(kinds, lines, strict=True)]
    return panel("loading-sill", skin, strokes)


def _doors(door_front: FloatArray, shoulder: FloatArray, foot: FloatArray) -> tuple[Panel, ...]:
    """The front doors up to the belt, the sliding door on the right, the rockers."""
    skin = van_field
    belt_back, heel = spot(skin, LEFT, 590, 1205), spot(skin, LEFT, 590, _SILL)
    door = panel(
        "door-left",
        skin,
        [
            ("front", _GAP, door_front),
            ("belt", _TRIM, drawn_line(skin, LEFT, shoulder, belt_back)),
            ("rear", _GAP, drawn_line(skin, LEFT, belt_back, heel)),
            ("low", _GAP, drawn_line(skin, LEFT, foot, heel)),
        ],
        keep_outs=[
            keep_out(
                KeepOutKind.OTHER,
                "door handle, left",
                skin,
                LEFT,
                oval((730, 1010), (100, 20), count=36),
            ),
            keep_out(
                KeepOutKind.LOCK,
                "door lock, left",
                skin,
                LEFT,
                oval((870, 1000), (12, 12), count=16),
            ),
        ],
    )
    corners = [
        spot(skin, LEFT, x, z) for x, z in ((560, _SILL), (560, 2110), (-640, 2110), (-640, _SILL))
    ]
    names = ("front", "top", "rear", "low")
    sliding = panel(
        "sliding-door-left",
        skin,
        [
            (name, _GAP, drawn_line(skin, LEFT, a, b))
            for name, a, b in zip(names, corners, corners[1:] + corners[:1], strict=True)
        ],
        keep_outs=[
            keep_out(
                KeepOutKind.OTHER,
                "sliding door handle",
                skin,
                LEFT,
                oval((440, 1010), (24, 95), count=36),
            ),
            keep_out(
                KeepOutKind.LOCK,
                "sliding door lock",
                skin,
                LEFT,
                oval((440, 850), (12, 12), count=16),
            ),
        ],
    )
    ends = (van.AXLE - _RIM, -van.AXLE + _RIM)
    corners = [
        spot(skin, LEFT, x, z)
        for x, z in ((ends[0], _LOW), (ends[1], _LOW), (ends[1], _SILL - 6), (ends[0], _SILL - 6))
    ]
    lines = [
        drawn_line(skin, LEFT, a, b)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    strokes = list(
        zip(
            ("low", "rear-arch", "top", "front-arch"),
            (_OPEN, _OPEN, _GAP, _OPEN),
            lines,
            strict=True,
        )
    )
    rocker = panel("rocker-left", skin, strokes)
    return (
        door,
        image(door, "door-right"),
        image(sliding, "sliding-door-right"),
        rocker,
        image(rocker, "rocker-right"),
    )


def _pair(item: KeepOut) -> list[KeepOut]:
    return [item, image_keep_out(item)]


def _patches() -> tuple[Patch, ...]:
    glass, lamp = (30, 36, 41), (150, 34, 30)
    cab = rounded([(1500, 1245), (660, 1245), (660, 2010), (1130, 2010), (1300, 1760)], 45.0)
    screen = rounded(
        [
            (785, 1330),
            (690, 2090),
            (300, 2150),
            (-300, 2150),
            (-690, 2090),
            (-785, 1330),
            (-400, 1262),
            (400, 1262),
        ],
        60.0,
    )
    pane = rounded([(60, 1290), (740, 1290), (690, 2060), (60, 2060)], 50.0)
    other = pane * np.array([-1.0, 1.0])
    tail = rounded([(905, 760), (960, 760), (925, 1180), (870, 1180)], 16.0)
    step = rounded([(-700, 380), (700, 380), (700, 250), (-700, 250)], 30.0)
    return (
        Patch("cab glass", LEFT, cab, glass, 1.8, lambda p: p[:, 2] > 1200),
        Patch("windscreen", FRONT, screen, glass, 1.8, lambda p: p[:, 0] > 900),
        Patch("rear glass", REAR, pane, glass, 1.8, lambda p: p[:, 0] < -2000),
        Patch("rear glass, right", REAR, other, glass, 1.8, lambda p: p[:, 0] < -2000),
        Patch("tail lamp", REAR, tail, lamp, 1.8, lambda p: p[:, 0] < -2000),
        Patch("step", REAR, step, (44, 44, 44), 0.5, lambda p: p[:, 0] < -2000),
    )
