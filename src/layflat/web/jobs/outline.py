"""A car of no make, drawn from six sides, for faults on vehicles that have no body here.

Units are about millimetres of a middling car, x to the right and y down in each view. Only one
half or side is written down; the other is mirrored. Faults keep their place as fractions of a view,
so the drawing may be improved without moving them.
"""

import re
from dataclasses import dataclass
from typing import Final

_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?")
_ROUND: Final = 0.5523
"""Length of a Bézier handle for a quarter of a circle, over its radius (common knowledge)."""


@dataclass(frozen=True)
class Part:
    """One shape of a view.

    Attributes:
        look: how it is drawn: "body", "panel", "glass", "wheel" or "line".
        d: SVG path of absolute M, L, C and Z.
        panel: its name as people say it, or "" when it is none.
    """

    look: str
    d: str
    panel: str = ""


@dataclass(frozen=True)
class View:
    """The car from one side.

    Attributes:
        name, title: for the record and for people.
        width, height: of the drawing.
        parts: from the back to the front.
        words: written into the view, each with the place of its middle.
    """

    name: str
    title: str
    width: int
    height: int
    parts: tuple[Part, ...]
    words: tuple[tuple[float, float, str], ...] = ()


def mirrored(d: str, *, axis: int, about: float) -> str:
    """A path mirrored about the line where coordinate *axis* (0 is x, 1 is y) is *about*."""
    count = 0

    def turn(found: re.Match[str]) -> str:
        nonlocal count
        value = float(found[0])
        if count % 2 == axis:
            value = 2 * about - value
        count += 1
        return f"{round(value, 3):.10g}"

    return _NUMBER.sub(turn, d)


def _disc(x: float, y: float, r: float) -> str:
    h = r * _ROUND
    return (
        f"M{x - r:g} {y:g}C{x - r:g} {y - h:g} {x - h:g} {y - r:g} {x:g} {y - r:g}"
        f"C{x + h:g} {y - r:g} {x + r:g} {y - h:g} {x + r:g} {y:g}"
        f"C{x + r:g} {y + h:g} {x + h:g} {y + r:g} {x:g} {y + r:g}"
        f"C{x - h:g} {y + r:g} {x - r:g} {y + h:g} {x - r:g} {y:g}Z"
    )


def _box(left: float, top: float, right: float, bottom: float) -> str:
    return f"M{left:g} {top:g}L{right:g} {top:g}L{right:g} {bottom:g}L{left:g} {bottom:g}Z"


_SIDE_WIDTH, _SIDE_HEIGHT = 4600, 1600
_FRONT_WIDTH = 2000
_TOP_HEIGHT = 1900
_WHEELS = ((900.0, 1180.0), (3560.0, 1180.0))

_SIDE: Final = (
    Part(
        "body",
        "M180 1300C110 1290 100 1180 110 1060C115 960 150 880 230 850C600 770 1000 730 1400 700"
        "C1650 560 1900 330 2250 280C2650 230 3150 250 3450 330C3750 420 3980 560 4200 640"
        "C4380 670 4450 720 4470 820C4500 960 4500 1100 4470 1200C4460 1280 4440 1300 4400 1300"
        "L3910 1300C3960 647 3160 647 3210 1300L1250 1300C1300 647 500 647 550 1300Z",
    ),
    Part(
        "panel",
        "M110 1060C115 960 150 880 230 850L330 830C300 910 310 1010 340 1110L520 1110"
        "C520 1190 540 1250 550 1300L180 1300C110 1290 100 1180 110 1060Z",
        "Front bumper",
    ),
    Part(
        "panel",
        "M330 830C640 765 1020 728 1400 700C1385 900 1380 1000 1330 1200L1240 1200"
        "C1215 690 585 690 530 1110L340 1110C310 1010 300 910 330 830Z",
        "Fender",
    ),
    Part(
        "panel",
        "M1400 700L2560 690C2580 900 2570 1050 2540 1200L1330 1200C1380 1000 1385 900 1400 700Z",
        "Front door",
    ),
    Part(
        "panel",
        "M2560 690L3420 680C3400 760 3330 800 3280 880C3230 960 3220 1050 3216 1200L2540 1200"
        "C2570 1050 2580 900 2560 690Z",
        "Rear door",
    ),
    Part("panel", "M1240 1200L3216 1200L3210 1300L1250 1300Z", "Sill"),
    Part(
        "panel",
        "M3420 680C3700 640 3960 620 4200 640C4250 648 4290 660 4320 675C4330 780 4320 880 4290 960"
        "L3900 1110C3830 700 3290 690 3216 1180C3220 1050 3230 960 3280 880"
        "C3330 800 3400 760 3420 680Z",
        "Rear fender",
    ),
    Part(
        "panel",
        "M4290 960L4488 960C4497 1060 4490 1130 4470 1200C4460 1280 4440 1300 4400 1300L3910 1300"
        "C3915 1240 3910 1170 3900 1110Z",
        "Rear bumper",
    ),
    Part(
        "panel",
        "M2250 280C2650 230 3150 250 3450 330L3380 352C3100 300 2700 290 2330 320Z",
        "Roof rail",
    ),
    Part("glass", "M1640 660C1790 540 1970 400 2240 350L2500 335L2540 640Z"),
    Part("glass", "M2590 333L3000 330C3250 350 3420 430 3560 540L3420 636L2630 640Z"),
    Part("line", "M130 960L320 900L310 960L140 1010Z"),
    Part("line", "M4320 690L4455 780L4480 900L4330 880Z"),
    Part("line", "M2330 770L2500 765M3180 765L3350 755"),
    Part("panel", "M1560 700C1560 640 1620 610 1700 620C1760 630 1760 700 1720 720Z", "Mirror"),
    *(Part("wheel", _disc(x, y, 320)) for x, y in _WHEELS),
    *(Part("line", _disc(x, y, 205)) for x, y in _WHEELS),
)

_FRONT_HALVES: Final = (
    ("M400 1000C330 1000 230 980 190 930L215 850C300 870 380 890 420 930Z", "line"),
    ("M190 1300L400 1300L400 1510L190 1510Z", "wheel"),
)
_FRONT_BODY: Final = (
    "M130 1180C105 980 120 860 200 770C250 730 300 705 340 690C400 460 460 320 570 280"
    "C810 235 1190 235 1430 280C1540 320 1600 460 1660 690C1700 705 1750 730 1800 770"
    "C1880 860 1895 980 1870 1180C1860 1270 1820 1330 1740 1330L260 1330"
    "C180 1330 140 1270 130 1180Z"
)
_SCREEN: Final = (
    "M400 665C455 480 510 365 600 325C830 285 1170 285 1400 325C1490 365 1545 480 1600 665"
    "C1300 620 700 620 400 665Z"
)
_ROOF_EDGE: Final = "M570 280C810 235 1190 235 1430 280L1400 325C1170 285 830 285 600 325Z"
_LOWER: Final = (
    "M122 1040C500 1085 1500 1085 1878 1040C1880 1090 1878 1130 1870 1180"
    "C1860 1270 1820 1330 1740 1330"
    "L260 1330C180 1330 140 1270 130 1180C122 1130 120 1090 122 1040Z"
)
_MIRROR_HALF: Final = (
    "M310 700C240 700 200 680 190 640C180 600 220 580 270 590C320 600 340 650 330 690Z"
)


def _ends(*, hood: Part, extra: tuple[Part, ...], bumper: str) -> tuple[Part, ...]:
    """What front and rear share, with what they do not."""
    halves = [
        Part(look, path)
        for half, look in _FRONT_HALVES
        for path in (half, mirrored(half, axis=0, about=_FRONT_WIDTH / 2))
    ]
    wheels = [part for part in halves if part.look == "wheel"]
    lamps = [part for part in halves if part.look == "line"]
    return (
        *wheels,
        Part("body", _FRONT_BODY),
        Part("panel", _ROOF_EDGE, "Roof"),
        hood,
        Part("panel", _LOWER, bumper),
        Part("glass", _SCREEN),
        *lamps,
        *extra,
        Part("line", _box(780, 1130, 1220, 1230)),
    )


_HOOD_FRONT: Final = (
    "M345 695C650 640 1350 640 1655 695C1700 760 1710 830 1690 900C1400 955 600 955 310 900"
    "C290 830 300 760 345 695Z"
)
_BOOT_REAR: Final = (
    "M345 695C650 640 1350 640 1655 695C1690 800 1690 920 1600 1045C1300 1070 700 1070 400 1045"
    "C310 920 310 800 345 695Z"
)
_MIRRORS: Final = (_MIRROR_HALF, mirrored(_MIRROR_HALF, axis=0, about=_FRONT_WIDTH / 2))

_PLAN: Final = (
    "M110 950C110 520 190 260 420 170C800 95 1200 90 2300 90C3400 90 4000 110 4250 200"
    "C4430 310 4480 620 4490 950C4480 1280 4430 1590 4250 1700C4000 1790 3400 1810 2300 1810"
    "C1200 1810 800 1805 420 1730C190 1640 110 1380 110 950Z"
)
_TOP: Final = (
    Part("body", _PLAN),
    Part(
        "panel",
        "M110 950C110 520 190 260 420 170L520 260C300 330 250 600 250 950"
        "C250 1300 300 1570 520 1640"
        "L420 1730C190 1640 110 1380 110 950Z",
        "Front bumper",
    ),
    Part(
        "panel",
        "M520 260L1400 300C1330 600 1330 1300 1400 1600L520 1640C300 1570 250 1300 250 950"
        "C250 600 300 330 520 260Z",
        "Hood",
    ),
    Part(
        "glass",
        "M1430 310L2010 420C1960 700 1960 1200 2010 1480L1430 1590C1360 1300 1360 600 1430 310Z",
    ),
    Part(
        "panel",
        "M2010 420L3350 400C3390 700 3390 1200 3350 1500L2010 1480C1960 1200 1960 700 2010 420Z",
        "Roof",
    ),
    Part(
        "glass",
        "M3380 405L3820 310C3870 600 3870 1300 3820 1590L3380 1495C3420 1200 3420 700 3380 405Z",
    ),
    Part(
        "panel",
        "M3860 305L4280 330C4370 600 4370 1300 4280 1570L3860 1595C3910 1300 3910 600 3860 305Z",
        "Boot lid",
    ),
    Part("panel", "M1620 92C1620 40 1660 20 1740 26C1790 30 1790 80 1770 90Z", "Mirror, right"),
    Part(
        "panel",
        "M1620 1808C1620 1860 1660 1880 1740 1874C1790 1870 1790 1820 1770 1810Z",
        "Mirror, left",
    ),
    Part("line", "M2080 400L2080 110M3240 395L3240 105M2080 1500L2080 1790M3240 1505L3240 1795"),
)
_BELOW: Final = (
    Part("body", _PLAN),
    Part("panel", "M1300 330L3160 330L3160 1570L1300 1570Z", "Underside"),
    Part("panel", "M1300 110L3160 110L3160 260L1300 260Z", "Sill, left"),
    Part("panel", "M1300 1640L3160 1640L3160 1790L1300 1790Z", "Sill, right"),
    Part("line", "M900 330L900 1570M3560 330L3560 1570M1300 950L4300 950"),
    *(
        Part("wheel", _box(x - 320, top, x + 320, top + 210))
        for x, _ in _WHEELS
        for top in (120, 1570)
    ),
)


def _of_side(side: str, *, is_right: bool) -> tuple[Part, ...]:
    whole_width = {"Front bumper", "Rear bumper"}
    return tuple(
        Part(
            part.look,
            mirrored(part.d, axis=0, about=_SIDE_WIDTH / 2) if is_right else part.d,
            part.panel if not part.panel or part.panel in whole_width else f"{part.panel}, {side}",
        )
        for part in _SIDE
    )


VIEWS: Final = (
    View("left", "Left", _SIDE_WIDTH, _SIDE_HEIGHT, _of_side("left", is_right=False)),
    View("right", "Right", _SIDE_WIDTH, _SIDE_HEIGHT, _of_side("right", is_right=True)),
    View(
        "front",
        "Front",
        _FRONT_WIDTH,
        _SIDE_HEIGHT,
        _ends(
            hood=Part("panel", _HOOD_FRONT, "Hood"),
            extra=(
                Part("line", "M560 960L1440 960L1400 1040L600 1040Z"),
                Part("panel", _MIRRORS[1], "Mirror, left"),
                Part("panel", _MIRRORS[0], "Mirror, right"),
            ),
            bumper="Front bumper",
        ),
    ),
    View(
        "rear",
        "Rear",
        _FRONT_WIDTH,
        _SIDE_HEIGHT,
        _ends(hood=Part("panel", _BOOT_REAR, "Boot lid"), extra=(), bumper="Rear bumper"),
    ),
    View(
        "above",
        "Above",
        _SIDE_WIDTH,
        _TOP_HEIGHT,
        _TOP,
        ((800, 980, "front"), (2660, 290, "right"), (2660, 1690, "left")),
    ),
    View(
        "below",
        "Below",
        _SIDE_WIDTH,
        _TOP_HEIGHT,
        _BELOW,
        ((600, 980, "front"), (2230, 215, "left"), (2230, 1745, "right")),
    ),
)
"""The six views; left and right are the vehicle's own, and its front points left from above."""

PANELS: Final = (
    *sorted({part.panel for view in VIEWS for part in view.parts if part.panel}),
    "Glass",
    "Wheels",
    "Inside",
)
"""Names to choose from where nothing can be tapped."""


def is_view(name: str) -> bool:
    """Whether one of the six views has that name."""
    return any(view.name == name for view in VIEWS)
