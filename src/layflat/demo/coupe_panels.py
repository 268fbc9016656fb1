"""The coupe's design: panels, glass and lamps drawn on its skin."""

import numpy as np

from layflat.base import FloatArray
from layflat.demo import coupe
from layflat.demo.body import Design, Patch, mirror_field
from layflat.demo.coupe import coupe_field
from layflat.demo.drawing import FRONT, LEFT, REAR, TOP, drawn_line, grown, oval, rounded
from layflat.demo.lines import arch_line, low_line, mirror_panel, spot
from layflat.demo.sketch import across, image, image_keep_out, keep_out, panel
from layflat.surface import BodyInfo, EdgeKind, KeepOut, KeepOutKind, Panel

NAME = "Tarnholm Siskwing"
GRILLE = rounded([(-455, 398), (-380, 248), (380, 248), (455, 398)], 28.0)
SIDE_INTAKE = rounded([(560, 372), (575, 262), (735, 268), (752, 372)], 24.0)
_MIRROR = (640.0, 985.0, 945.0)
_MIRROR_HALF = (82.0, 108.0, 66.0)
_RIM = coupe.ARCH_RADIUS + 5.0
_SILL = 284.0
_LOW = coupe.BOTTOM + 14.0


def coupe_design() -> Design:
    """The coupe."""
    bare = _design(BodyInfo(NAME))
    return _design(BodyInfo(NAME, panels=_panels(bare)))


def _design(info: BodyInfo) -> Design:
    return Design(
        info=info,
        skin=coupe_field,
        axle_mm=coupe.AXLE,
        wheel_mm=coupe.WHEEL_RADIUS,
        arch_mm=coupe.ARCH_RADIUS,
        hub_mm=coupe.WHEEL_Z,
        bottom_mm=coupe.BOTTOM,
        low=(-2330.0, 0.0, 120.0),
        high=(2290.0, 1040.0, 1380.0),
        openings=(GRILLE, SIDE_INTAKE),
        mirror_mm=_MIRROR,
        mirror_half_mm=_MIRROR_HALF,
        patches=_patches(),
        paint=(142, 52, 42),
    )


def _panels(design: Design) -> tuple[Panel, ...]:
    skin = coupe_field
    open_, gap, trim = EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.TRIM
    cowl = spot(skin, TOP, 835, 672)
    lamp_in, lamp_out = spot(skin, FRONT, 500, 592), spot(skin, FRONT, 822, 640)
    belt_front = spot(skin, LEFT, 770, 800)
    arch_front = arch_line(skin, coupe.AXLE, coupe.WHEEL_Z, _RIM, 30.0, 189.0, _SILL)
    seam_end, arch_back = arch_front[0], arch_front[-1]
    foot = spot(skin, LEFT, 800, _SILL)

    hood_rear = across(drawn_line(skin, TOP, cowl, (905, 500), (948, 220), (952, 0)))
    hood_side = drawn_line(skin, TOP, cowl, (1150, 668), (1500, 640), (1800, 585), lamp_in)
    hood_front = across(drawn_line(skin, FRONT, lamp_in, (400, 612), (200, 640), (0, 642)))
    lamp_top = drawn_line(skin, FRONT, lamp_in, (560, 622), (680, 648), lamp_out)
    lamp_low = drawn_line(skin, FRONT, lamp_in, (560, 560), (720, 556), (805, 590), lamp_out)
    seam = drawn_line(skin, LEFT, lamp_out, (1760, 585), seam_end)
    sill_front = drawn_line(skin, LEFT, arch_back, foot)
    door_front = drawn_line(skin, LEFT, foot, (792, 450), (768, 640), belt_front)
    cowl_side = drawn_line(skin, TOP, belt_front, cowl)
    belt_back, heel = spot(skin, LEFT, -470, 838), spot(skin, LEFT, -425, _SILL)
    belt = drawn_line(skin, LEFT, belt_front, (350, 824), (-100, 832), belt_back)
    door_back = drawn_line(skin, LEFT, belt_back, (-520, 640), (-470, 400), heel)
    door_low = drawn_line(skin, LEFT, foot, heel)

    hood = panel(
        "hood",
        skin,
        [
            ("cowl", open_, hood_rear),
            ("side-left", gap, hood_side),
            ("front", open_, hood_front),
            ("side-right", gap, hood_side * [1, -1, 1]),
        ],
        keep_outs=_pair(
            keep_out(
                KeepOutKind.JET, "washer jet, left", skin, TOP, oval((985, 330), (9, 13), count=16)
            )
        ),
    )
    fender = panel(
        "fender-left",
        skin,
        [
            ("hood", gap, hood_side),
            ("lamp", trim, lamp_top),
            ("bumper", gap, seam),
            ("arch", open_, arch_front),
            ("sill", gap, sill_front),
            ("door", gap, door_front),
            ("cowl", trim, cowl_side),
        ],
    )
    lamp = panel("lamp-left", skin, [("top", gap, lamp_top), ("low", gap, lamp_low)])
    door = panel(
        "door-left",
        skin,
        [
            ("front", gap, door_front),
            ("belt", trim, belt),
            ("rear", gap, door_back),
            ("low", gap, door_low),
        ],
        keep_outs=[
            keep_out(
                KeepOutKind.OTHER,
                "door handle, left",
                skin,
                LEFT,
                oval((-330, 735), (112, 17), count=36),
            ),
            keep_out(
                KeepOutKind.LOCK,
                "door lock, left",
                skin,
                LEFT,
                oval((-180, 722), (11, 11), count=16),
            ),
        ],
    )
    return (
        hood,
        fender,
        image(fender, "fender-right"),
        _bumper(hood_front, lamp_low, seam, seam_end),
        lamp,
        image(lamp, "lamp-right"),
        *mirror_panel(mirror_field(design), _MIRROR, _MIRROR_HALF),
        door,
        image(door, "door-right"),
        *_lower(),
    )


def _bumper(
    hood_front: FloatArray, lamp_low: FloatArray, seam: FloatArray, top: FloatArray
) -> Panel:
    open_, gap, trim = EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.TRIM
    low = spot(coupe_field, LEFT, coupe.AXLE + _RIM, _LOW)
    arch = arch_line(coupe_field, coupe.AXLE, coupe.WHEEL_Z, _RIM, 30.0, 0.0, _LOW)
    arch[0] = top
    arch[-1] = low
    lip = low_line(coupe_field, 900.0, low)
    mirror = np.array([1.0, -1.0, 1.0])
    holes = [("grille", trim, FRONT.lay(coupe_field, grown(GRILLE, 6.0)))]
    intake = FRONT.lay(coupe_field, grown(SIDE_INTAKE, 6.0))
    holes += [("intake-left", trim, intake), ("intake-right", trim, intake[::-1] * mirror)]
    sensors = [
        keep_out(
            KeepOutKind.SENSOR,
            f"parking sensor, {name} left",
            coupe_field,
            FRONT,
            oval(place, (12, 12), count=16),
        )
        for name, place in (("inner", (250, 470)), ("outer", (660, 455)))
    ]
    emblem = keep_out(
        KeepOutKind.EMBLEM, "emblem", coupe_field, FRONT, oval((0, 566), (46, 27), count=32)
    )
    return panel(
        "bumper-front",
        coupe_field,
        [
            ("hood", gap, hood_front),
            ("lamp-left", trim, lamp_low),
            ("fender-left", gap, seam),
            ("arch-left", open_, arch),
            ("lip", open_, lip),
            ("arch-right", open_, arch * mirror),
            ("fender-right", gap, seam * mirror),
            ("lamp-right", trim, lamp_low * mirror),
        ],
        openings=holes,
        keep_outs=[emblem, *(item for sensor in sensors for item in _pair(sensor))],
    )


def _lower() -> tuple[Panel, ...]:
    """Rockers and rear arches."""
    open_, gap, inner = EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.INNER
    front, rear = coupe.AXLE - _RIM, -coupe.AXLE + _RIM
    corners = [
        spot(coupe_field, LEFT, x, z)
        for x, z in ((front, _LOW), (rear, _LOW), (rear, _SILL), (front, _SILL))
    ]
    lines = [
        drawn_line(coupe_field, LEFT, a, b)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    names = ("low", "rear-arch", "top", "front-arch")
    kinds = (open_, open_, gap, open_)
    rocker = panel("rocker-left", coupe_field, list(zip(names, kinds, lines, strict=True)))
    near = arch_line(coupe_field, -coupe.AXLE, coupe.WHEEL_Z, _RIM, -4.0, 150.0, 0.0)
    far = arch_line(coupe_field, -coupe.AXLE, coupe.WHEEL_Z, _RIM + 95.0, -4.0, 150.0, 0.0)
    arch = panel(
        "rear-arch-left",
        coupe_field,
        [
            ("arch", open_, near),
            ("rear", inner, drawn_line(coupe_field, LEFT, near[-1], far[-1])),
            ("top", inner, far),
            ("front", inner, drawn_line(coupe_field, LEFT, near[0], far[0])),
        ],
    )
    return rocker, image(rocker, "rocker-right"), arch, image(arch, "rear-arch-right")


def _pair(item: KeepOut) -> list[KeepOut]:
    return [item, image_keep_out(item)]


def _patches() -> tuple[Patch, ...]:
    glass, dark = (30, 36, 41), (30, 31, 32)
    side = rounded(
        [
            (690, 932),
            (95, 1222),
            (-260, 1262),
            (-760, 1222),
            (-1290, 1010),
            (-1180, 950),
            (-400, 935),
        ],
        26.0,
    )
    screen = rounded(
        [
            (902, 0),
            (892, 260),
            (772, 622),
            (150, 478),
            (225, 200),
            (236, 0),
            (225, -200),
            (150, -478),
            (772, -622),
            (892, -260),
        ],
        40.0,
    )
    back = rounded(
        [
            (-870, 0),
            (-850, 380),
            (-1560, 420),
            (-1640, 250),
            (-1660, 0),
            (-1640, -250),
            (-1560, -420),
            (-850, -380),
        ],
        40.0,
    )
    tail = rounded([(380, 790), (800, 790), (850, 700), (430, 735)], 16.0)
    plate = rounded([(-270, 560), (270, 560), (270, 420), (-270, 420)], 30.0)
    skirt = rounded([(-620, 300), (620, 300), (560, 190), (-560, 190)], 30.0)
    return (
        Patch("side glass", LEFT, side, glass, 1.8, lambda p: p[:, 2] > 880),
        Patch("windscreen", TOP, screen, glass, 1.8, lambda p: p[:, 2] > 860),
        Patch("rear glass", TOP, back, glass, 1.8, lambda p: p[:, 2] > 900),
        Patch("tail lamp", REAR, tail, (150, 34, 30), 1.8, lambda p: p[:, 0] < -1800),
        Patch("plate", REAR, plate, (150, 168, 176), 0.6, lambda p: p[:, 0] < -1800),
        Patch("skirt", REAR, skirt, dark, 0.5, lambda p: p[:, 0] < -1800),
    )
