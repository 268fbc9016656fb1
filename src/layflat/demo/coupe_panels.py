"""The coupe's design: panels, glass and lamps drawn on its skin."""

import numpy as np

from layflat.demo import coupe
from layflat.demo.body import Design, Patch, Seam, mirror_field
from layflat.demo.coupe import coupe_field
from layflat.demo.curves import spline_points
from layflat.demo.drawing import FRONT, LEFT, REAR, TOP, drawn_line, rounded
from layflat.demo.lines import arch_line, mirror_panel, spot
from layflat.demo.sketch import across, image, panel
from layflat.demo.usual_panels import (
    RIGHT,
    Arch,
    Nose,
    bumper,
    door,
    emblem,
    fender,
    handle,
    hood,
    lamp,
    lock,
    opening,
    parking_sensors,
    rocker,
    washer_jets,
)
from layflat.surface import BodyInfo, EdgeKind, Panel

NAME = "Tarnholm Siskwing"
GRILLE = rounded([(-455, 398), (-380, 248), (380, 248), (455, 398)], 28.0)
SIDE_INTAKE = rounded([(560, 372), (575, 262), (735, 268), (752, 372)], 24.0)
_MIRROR = (640.0, 985.0, 945.0)
_MIRROR_HALF = (82.0, 108.0, 66.0)
_RIM = coupe.ARCH_RADIUS + 5.0
_SILL = 284.0
_LOW = coupe.BOTTOM + 14.0
_FRONT_ARCH = Arch(axle_mm=coupe.AXLE, hub_mm=coupe.WHEEL_Z, rim_mm=_RIM)


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
        seams=_seams(),
        paint=(142, 52, 42),
    )


def _panels(design: Design) -> tuple[Panel, ...]:
    skin = coupe_field
    nose = _nose()
    keep_outs = [emblem(skin, TOP, (1985, 0), (25, 44)), *washer_jets(skin, (985, 330))]
    left = fender(skin, nose)
    cover = lamp(skin, nose)
    side = _door(nose)
    rocker_left = rocker(
        skin,
        front_mm=coupe.AXLE - _RIM,
        rear_mm=-coupe.AXLE + _RIM,
        low_mm=_LOW,
        top_mm=_SILL,
    )
    arch = _rear_arch()
    return (
        hood(skin, nose, keep_outs=keep_outs),
        left,
        image(left, "fender-right"),
        _bumper(nose),
        cover,
        image(cover, "lamp-right"),
        *mirror_panel(mirror_field(design), _MIRROR, _MIRROR_HALF),
        side,
        image(side, "door-right"),
        rocker_left,
        image(rocker_left, "rocker-right"),
        arch,
        image(arch, "rear-arch-right"),
    )


def _nose() -> Nose:
    skin = coupe_field
    cowl = spot(skin, TOP, 835, 672)
    lamp_in, lamp_out = spot(skin, FRONT, 500, 592), spot(skin, FRONT, 822, 640)
    belt = spot(skin, LEFT, 770, 800)
    arch = _FRONT_ARCH.line(skin, start_deg=30.0, end_deg=189.0, low_mm=_SILL)
    foot = spot(skin, LEFT, 800, _SILL)
    return Nose(
        cowl=across(drawn_line(skin, TOP, cowl, (905, 500), (948, 220), (952, 0))),
        hood_side=drawn_line(skin, TOP, cowl, (1150, 668), (1500, 640), (1800, 585), lamp_in),
        hood_front=across(drawn_line(skin, FRONT, lamp_in, (400, 612), (200, 640), (0, 642))),
        lamp_top=drawn_line(skin, FRONT, lamp_in, (560, 622), (680, 648), lamp_out),
        lamp_low=drawn_line(skin, FRONT, lamp_in, (560, 560), (720, 556), (805, 590), lamp_out),
        seam=drawn_line(skin, LEFT, lamp_out, (1760, 585), arch[0]),
        arch=arch,
        sill=drawn_line(skin, LEFT, arch[-1], foot),
        door=drawn_line(skin, LEFT, foot, (792, 450), (768, 640), belt),
        cowl_side=drawn_line(skin, TOP, belt, cowl),
    )


def _door(nose: Nose) -> Panel:
    skin = coupe_field
    foot, belt = nose.door[0], nose.door[-1]
    belt_back, heel = spot(skin, LEFT, -470, 838), spot(skin, LEFT, -425, _SILL)
    return door(
        skin,
        front=nose.door,
        belt=drawn_line(skin, LEFT, belt, (350, 824), (-100, 832), belt_back),
        rear=drawn_line(skin, LEFT, belt_back, (-520, 640), (-470, 400), heel),
        low=drawn_line(skin, LEFT, foot, heel),
        keep_outs=[
            handle(skin, "door handle, left", (-330, 735), (112, 17)),
            lock(skin, "door lock, left", (-180, 722), 11),
        ],
    )


def _bumper(nose: Nose) -> Panel:
    skin = coupe_field
    name, kind, intake = opening(skin, "intake-left", SIDE_INTAKE)
    return bumper(
        skin,
        nose,
        arch=_FRONT_ARCH.line(skin, start_deg=30.0, end_deg=0.0, low_mm=_LOW),
        lip_centre_mm=900.0,
        openings=[
            opening(skin, "grille", GRILLE),
            (name, kind, intake),
            ("intake-right", kind, intake[::-1] * RIGHT),
        ],
        keep_outs=parking_sensors(skin, inner=(250, 470), outer=(660, 455), radius_mm=12),
    )


def _rear_arch() -> Panel:
    """The left one: a band along the wheel arch."""
    skin = coupe_field
    near, far = (
        arch_line(skin, -coupe.AXLE, coupe.WHEEL_Z, radius, -4.0, 150.0, 0.0)
        for radius in (_RIM, _RIM + 95.0)
    )
    strokes = [
        ("arch", EdgeKind.OPEN, near),
        ("rear", EdgeKind.INNER, drawn_line(skin, LEFT, near[-1], far[-1])),
        ("top", EdgeKind.INNER, far),
        ("front", EdgeKind.INNER, drawn_line(skin, LEFT, near[0], far[0])),
    ]
    return panel("rear-arch-left", skin, strokes)


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


def _seams() -> tuple[Seam, ...]:
    pillar = [(-470, 838), (-455, 1250)]
    lid = spline_points([(-1690, 0), (-1690, 420), (-1640, 640), (-1900, 650), (-2085, 625)])
    edge = spline_points([(625, 890), (610, 830), (330, 830), (350, 620), (300, 600), (0, 600)])
    return (
        Seam(LEFT, np.array(pillar, dtype=np.float64)),
        Seam(TOP, lid),
        Seam(REAR, edge),
    )
