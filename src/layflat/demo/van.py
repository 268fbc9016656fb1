"""The delivery van of the invented maker: its body as a field, in mm, ground at z = 0."""

from layflat.demo.curves import Profile
from layflat.demo.fields import Solid, bell, both, either, fold, step
from layflat.demo.jets import Jet, above, hypot, sqrt

AXLE = 1600.0
WHEEL_RADIUS = 345.0
ARCH_RADIUS = 392.0
WHEEL_Z = 345.0
BOTTOM = 215.0

# Side view, along x: hood on the middle plane; windscreen and roof.
_HOOD = Profile(
    (0, 1360), (1300, 1330), (1700, 1262), (2000, 1165), (2250, 1060), (2420, 960), (2600, 830)
)
_ROOF = Profile(
    (-2900, 2325), (-2600, 2372), (-2000, 2392), (-800, 2402), (300, 2388), (800, 2350),
    (1080, 2262), (1330, 2010), (1700, 1560), (2000, 1195), (2300, 830),
)  # fmt: skip
# Plan view: half width at the waist.
_WAIST = Profile(
    (-2900, 955), (-2600, 978), (-2000, 985), (0, 985), (1000, 982), (1700, 965), (2100, 920),
    (2400, 850), (2700, 740),
)  # fmt: skip
# Section: how far the side stands back, over z.
_SIDE = Profile(
    (100, 60), (230, 34), (330, 12), (480, 14), (700, 4), (900, 0), (1100, 8), (1350, 26),
    (1800, 84), (2200, 142), (2500, 190),
)  # fmt: skip
# Side view: nose and tail, over z.
_NOSE = Profile(
    (100, 2440), (200, 2500), (300, 2545), (420, 2560), (560, 2560), (640, 2545), (740, 2515),
    (900, 2490), (1050, 2440), (1250, 2330),
)  # fmt: skip
_TAIL = Profile(
    (100, -2720), (220, -2765), (330, -2778), (470, -2780), (520, -2778), (545, -2764),
    (575, -2690), (600, -2676), (700, -2672), (1200, -2676), (1800, -2656), (2300, -2610),
    (2500, -2580),
)  # fmt: skip
# Plan view: the inner edge of the hood's raised middle.
_CREASE = Profile((1500, 640), (1900, 590), (2200, 500), (2400, 410), (2600, 330))


@Solid
def van_field(x: Jet, y: Jet, z: Jet) -> Jet:
    """The body without wheel arches or openings."""
    y = abs(y)
    side = _side(x, y, z)
    lower = both(side, _hood(x, y, z), blend=110.0)
    house = both(
        side + 26.0 * step(z - 1250.0, width=60.0) * step(x - 900.0, width=300.0),
        _roof(x, y, z),
        blend=190.0,
    )
    body = either(lower, house, blend=60.0)
    body = both(body, x - _NOSE(z) + 210.0 * (y / 900.0) ** 2.8, blend=230.0)
    body = both(body, _TAIL(z) + 60.0 * (y / 900.0) ** 4 - x, blend=120.0)
    return both(body, BOTTOM - 22.0 - z, blend=50.0)


def _side(x: Jet, y: Jet, z: Jet) -> Jet:
    line = 872.0 - 0.012 * x
    crease = above(10.0 - 0.16 * fold(z - line, radius=12.0), 0.0) ** 2 / 10.0
    band = 7.0 * step(z - 430.0, width=14.0) * step(600.0 - z, width=14.0)
    flare = _flare(x, z, AXLE) + _flare(x, z, -AXLE)
    return y - _WAIST(x) + _SIDE(z) - crease - band * step(1150.0 - abs(x), width=40.0) - flare


def _flare(x: Jet, z: Jet, axle: float) -> Jet:
    reach = hypot(x - axle, z - WHEEL_Z) - ARCH_RADIUS
    shape = bell(above(reach - 30.0, 0.0), width=60.0)
    return 16.0 * shape * step(z - 260.0, width=90.0)


def _hood(x: Jet, y: Jet, z: Jet) -> Jet:
    raised = 14.0 * step(_CREASE(x) - y, width=16.0) * step(x - 1700.0, width=120.0)
    height = _HOOD(x) - 70.0 * (y / 900.0) ** 2.4 + raised
    return (z - height) / sqrt(1.0 + _HOOD.slope(x) ** 2)


def _roof(x: Jet, y: Jet, z: Jet) -> Jet:
    bow = x + 170.0 * (y / 900.0) ** 2.2 * step(x - 700.0, width=350.0)
    slope = sqrt(1.0 + _ROOF.slope(bow) ** 2)
    return (z - _ROOF(bow) + 26.0 * (y / 800.0) ** 2) / slope
