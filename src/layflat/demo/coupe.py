"""The coupe of the invented maker: its body as a field, in mm, ground at z = 0."""

from layflat.demo.curves import Profile
from layflat.demo.fields import Solid, bell, both, either, fold, step
from layflat.demo.jets import Jet, above, hypot, sqrt

AXLE = 1310.0
WHEEL_RADIUS = 338.0
ARCH_RADIUS = 372.0
WHEEL_Z = 338.0
BOTTOM = 172.0

# Side view, along x: hood, belt and tail on the middle plane.
_DECK = Profile(
    (-2300, 905),
    (-2150, 925),
    (-1950, 950),
    (-1600, 945),
    (-1000, 925),
    (-300, 905),
    (400, 900),
    (900, 885),
    (1300, 835),
    (1700, 760),
    (2000, 675),
    (2100, 635),
    (2300, 540),
)
# Side view: windscreen, roof and tail of the glasshouse.
_ROOF = Profile(
    (-2300, 760),
    (-1950, 880),
    (-1600, 1030),
    (-1150, 1185),
    (-700, 1280),
    (-300, 1312),
    (0, 1306),
    (260, 1262),
    (620, 1085),
    (900, 935),
    (1200, 780),
    (1400, 660),
)
# Plan view: half width at the shoulder, and of the glasshouse at the belt.
_SHOULDER = Profile(
    (-2350, 770),
    (-2050, 860),
    (-1650, 921),
    (-1250, 932),
    (-800, 905),
    (-100, 886),
    (500, 892),
    (1000, 914),
    (1350, 921),
    (1700, 898),
    (2000, 850),
    (2300, 770),
)
_GLASS = Profile(
    (-2300, 380),
    (-1900, 470),
    (-1500, 590),
    (-1000, 700),
    (-500, 752),
    (0, 768),
    (500, 764),
    (900, 735),
    (1400, 660),
)
# Section: how far the side stands back from the shoulder, over z.
_SIDE = Profile(
    (100, 78),
    (180, 42),
    (260, 12),
    (330, 10),
    (430, 30),
    (540, 24),
    (640, 4),
    (700, 2),
    (760, 14),
    (860, 58),
    (960, 120),
    (1100, 230),
)
# Side view: nose and tail, over z.
_NOSE = Profile(
    (100, 2060),
    (170, 2120),
    (250, 2178),
    (350, 2192),
    (450, 2192),
    (540, 2178),
    (620, 2140),
    (700, 2080),
    (800, 1980),
)
_TAIL = Profile(
    (100, -2040),
    (200, -2110),
    (320, -2190),
    (450, -2212),
    (600, -2200),
    (750, -2190),
    (860, -2214),
    (930, -2232),
    (1000, -2230),
    (1100, -2200),
)
# Plan view: the inner edge of the hood's raised middle.
_CREASE = Profile(
    (600, 560), (1000, 530), (1500, 450), (1900, 350), (2150, 290),
)  # fmt: skip


@Solid
def coupe_field(x: Jet, y: Jet, z: Jet) -> Jet:
    """The body without wheel arches or openings."""
    y = abs(y)
    lower = both(_side(x, y, z), _top(x, y, z), blend=95.0)
    lower = both(lower, x - _NOSE(z) + 300.0 * (y / 850.0) ** 2.6, blend=190.0)
    lower = both(lower, _TAIL(z) + 190.0 * (y / 850.0) ** 2.8 - x, blend=150.0)
    house = both(_glass_side(x, y, z), _glass_top(x, y, z), blend=120.0)
    house = both(house, 760.0 - z, blend=40.0)
    house = both(house, -2020.0 - x, blend=120.0)
    body = either(lower, house, blend=46.0)
    return both(body, BOTTOM - 20.0 - z, blend=45.0)


def _top(x: Jet, y: Jet, z: Jet) -> Jet:
    height = _DECK(x) - 62.0 * (y / 800.0) ** 2.4
    raised = 13.0 * step(_CREASE(x) - y, width=16.0) * step(x - 820.0, width=160.0)
    fender = 34.0 * bell(y - 745.0, width=150.0) * bell(x - 1380.0, width=520.0)
    haunch = 40.0 * bell(y - 770.0, width=190.0) * bell(x + 1330.0, width=560.0)
    slope = sqrt(1.0 + _DECK.slope(x) ** 2)
    return (z - height - raised - fender - haunch) / slope


def _side(x: Jet, y: Jet, z: Jet) -> Jet:
    lean = _SIDE(z)
    line = 655.0 + 0.018 * (x + 400.0)
    crease = 9.0 - 0.10 * fold(z - line, radius=10.0)
    crease = above(crease, 0.0) ** 2 / 9.0
    flare = _flare(x, z, AXLE, 15.0) + _flare(x, z, -AXLE, 18.0)
    return y - _SHOULDER(x) + lean - crease - flare


def _flare(x: Jet, z: Jet, axle: float, height: float) -> Jet:
    reach = hypot(x - axle, z - WHEEL_Z) - ARCH_RADIUS
    return height * bell(above(reach - 25.0, 0.0), width=62.0) * step(z - 250.0, width=90.0)


def _glass_side(x: Jet, y: Jet, z: Jet) -> Jet:
    tumble = 0.46 * (above(z, 780.0) - 900.0) + 0.00022 * above(z - 900.0, 0.0) ** 2
    return (y - _GLASS(x) + tumble) / 1.12


def _glass_top(x: Jet, y: Jet, z: Jet) -> Jet:
    bow = x + 150.0 * (y / 700.0) ** 2 * step(x - 150.0, width=250.0)
    slope = sqrt(1.0 + _ROOF.slope(bow) ** 2)
    return (z - _ROOF(bow) + 42.0 * (y / 600.0) ** 2) / slope
