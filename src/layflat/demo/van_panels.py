"""The van's design: panels, glass and lamps drawn on its skin."""

import numpy as np

from layflat.demo import van
from layflat.demo.body import Design, Patch, Seam, mirror_field
from layflat.demo.drawing import FRONT, LEFT, REAR, TOP, drawn_line, rounded
from layflat.demo.lines import mirror_panel, spot
from layflat.demo.sketch import across, image, panel
from layflat.demo.usual_panels import (
    Arch,
    Nose,
    bumper,
    door,
    emblem,
    fender,
    four_sided,
    handle,
    hood,
    lamp,
    lock,
    opening,
    parking_sensors,
    rocker,
    washer_jets,
)
from layflat.demo.van import van_field
from layflat.surface import BodyInfo, EdgeKind, Panel

NAME = "Tarnholm Haulbeck"
GRILLE = rounded([(-430, 742), (-400, 612), (400, 612), (430, 742)], 26.0)
INTAKE = rounded([(-560, 430), (-500, 312), (500, 312), (560, 430)], 30.0)
_MIRROR = (1480.0, 1120.0, 1395.0)
_MIRROR_HALF = (92.0, 105.0, 168.0)
_RIM = van.ARCH_RADIUS + 5.0
_SILL = 330.0
_LOW = van.BOTTOM + 16.0
_FRONT_ARCH = Arch(axle_mm=van.AXLE, hub_mm=van.WHEEL_Z, rim_mm=_RIM)


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
        seams=_seams(),
        paint=(222, 216, 200),
    )


def _panels(design: Design) -> tuple[Panel, ...]:
    skin = van_field
    nose = _nose()
    keep_outs = [emblem(skin, FRONT, (0, 868), (62, 36)), *washer_jets(skin, (2040, 380))]
    left = fender(skin, nose)
    cover = lamp(skin, nose)
    side = _door(nose)
    rocker_left = rocker(
        skin,
        front_mm=van.AXLE - _RIM,
        rear_mm=-van.AXLE + _RIM,
        low_mm=_LOW,
        top_mm=_SILL - 6.0,
    )
    return (
        hood(skin, nose, keep_outs=keep_outs),
        _bumper(nose),
        *mirror_panel(mirror_field(design), _MIRROR, _MIRROR_HALF),
        left,
        image(left, "fender-right"),
        cover,
        image(cover, "lamp-right"),
        _loading_sill(),
        side,
        image(side, "door-right"),
        image(_sliding_door(), "sliding-door-right"),
        rocker_left,
        image(rocker_left, "rocker-right"),
    )


def _nose() -> Nose:
    skin = van_field
    cowl = spot(skin, TOP, 1850, 770)
    lamp_in, lamp_out = spot(skin, FRONT, 540, 820), spot(skin, FRONT, 850, 900)
    shoulder = spot(skin, LEFT, 1480, 1190)
    arch = _FRONT_ARCH.line(skin, start_deg=40.0, end_deg=190.0, low_mm=_SILL)
    foot = spot(skin, LEFT, 1120, _SILL)
    return Nose(
        cowl=across(drawn_line(skin, TOP, cowl, (1935, 560), (1985, 280), (1988, 0))),
        hood_side=drawn_line(skin, TOP, cowl, (2060, 755), (2250, 690), (2390, 585), lamp_in),
        hood_front=across(drawn_line(skin, FRONT, lamp_in, (440, 806), (240, 800), (0, 800))),
        lamp_top=drawn_line(skin, FRONT, lamp_in, (640, 876), (735, 938), (830, 955), lamp_out),
        lamp_low=drawn_line(skin, FRONT, lamp_in, (600, 740), (760, 730), (850, 790), lamp_out),
        seam=drawn_line(skin, LEFT, lamp_out, (2080, 740), arch[0]),
        arch=arch,
        sill=drawn_line(skin, LEFT, arch[-1], foot),
        door=drawn_line(skin, LEFT, foot, (1120, 640), (1330, 900), shoulder),
        cowl_side=drawn_line(skin, LEFT, shoulder, (1640, 1190), cowl),
    )


def _bumper(nose: Nose) -> Panel:
    skin = van_field
    return bumper(
        skin,
        nose,
        arch=_FRONT_ARCH.line(skin, start_deg=40.0, end_deg=0.0, low_mm=_LOW),
        lip_centre_mm=1500.0,
        openings=[opening(skin, "grille", GRILLE), opening(skin, "intake", INTAKE)],
        keep_outs=parking_sensors(skin, inner=(300, 520), outer=(745, 515), radius_mm=13),
    )


def _loading_sill() -> Panel:
    names = [(name, EdgeKind.INNER) for name in ("left", "low", "right")]
    corners = [(640, 600), (640, 430), (-640, 430), (-640, 600)]
    strokes = four_sided(van_field, REAR, corners, [*names, ("seal", EdgeKind.TRIM)])
    return panel("loading-sill", van_field, strokes)


def _door(nose: Nose) -> Panel:
    """The left front door up to the belt."""
    skin = van_field
    foot, shoulder = nose.door[0], nose.door[-1]
    belt_back, heel = spot(skin, LEFT, 590, 1205), spot(skin, LEFT, 590, _SILL)
    return door(
        skin,
        front=nose.door,
        belt=drawn_line(skin, LEFT, shoulder, belt_back),
        rear=drawn_line(skin, LEFT, belt_back, heel),
        low=drawn_line(skin, LEFT, foot, heel),
        keep_outs=[
            handle(skin, "door handle, left", (730, 1010), (100, 20)),
            lock(skin, "door lock, left", (870, 1000), 12),
        ],
    )


def _sliding_door() -> Panel:
    """The image on the left of the sliding door, which is on the right."""
    skin = van_field
    corners = [(560, _SILL), (560, 2110), (-640, 2110), (-640, _SILL)]
    names = [(name, EdgeKind.GAP) for name in ("front", "top", "rear", "low")]
    return panel(
        "sliding-door-left",
        skin,
        four_sided(skin, LEFT, corners, names),
        keep_outs=[
            handle(skin, "sliding door handle", (440, 1010), (24, 95)),
            lock(skin, "sliding door lock", (440, 850), 12),
        ],
    )


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


def _seams() -> tuple[Seam, ...]:
    frame = [(590, 1205), (590, 2085), (1120, 2085), (1345, 1790), (1560, 1190)]
    rail = [(-640, 1190), (-2150, 1190)]
    doors = [(0, 2165), (770, 2165), (835, 1240), (835, 640), (0, 640)]
    return (
        Seam(LEFT, np.array(frame, dtype=np.float64)),
        Seam(LEFT, np.array(rail, dtype=np.float64), sides=(-1,)),
        Seam(REAR, np.array(doors, dtype=np.float64)),
        Seam(REAR, np.array([(0, 2165), (0, 640)], dtype=np.float64)),
    )
