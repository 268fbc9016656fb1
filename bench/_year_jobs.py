"""The invented shop's year: jobs of a few kinds, with pieces shaped about as panels are.

Sizes are the trade's usual ones within a tenth or so; common practice, no source. Everything
follows from a seed.
"""

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from layflat.nest import Request
from layflat.pattern import Curve, Pattern, bounds
from layflat.plan import Demand

CLEAR, MATT = "clear gloss", "clear matt"
_MATT_PART = 0.15
WIDEST_MM = 1484.0
"""Of the widest film between its margins."""
Corners = list[tuple[float, float]]


def corners(text: str) -> Corners:
    """Corners in a unit square, from hundredths: "0 12, 10 0" is (0, 0.12), (0.1, 0)."""
    pairs = [pair.split() for pair in text.split(",")]
    return [(int(x) / 100, int(y) / 100) for x, y in pairs]


HOOD = corners("0 12, 10 0, 85 6, 100 20, 100 80, 85 94, 10 100, 0 88")
FENDER = corners("0 30, 20 5, 75 0, 100 10, 97 55, 80 50, 66 62, 60 100, 30 95, 20 60")
BUMPER = corners("0 25, 12 5, 50 0, 88 5, 100 25, 97 80, 82 75, 75 100, 25 100, 18 75, 3 80")
MIRROR = corners("0 20, 30 0, 90 10, 100 60, 70 100, 10 80")
LAMP = corners("0 40, 35 0, 100 10, 95 50, 40 100, 5 80")
STRIP = corners("0 0, 100 0, 100 100, 0 100")
DOOR = corners("0 5, 95 0, 100 40, 92 100, 8 97, 2 50")
SILL = corners("0 0, 97 0, 100 50, 97 100, 6 100")
ROOF = corners("0 6, 50 0, 100 8, 100 92, 50 100, 0 94")

PIECES: dict[str, tuple[Corners, float, float, int]] = {
    "hood": (HOOD, 1180, 1430, 1),
    "hood part": (HOOD, 480, 1400, 1),
    "fender": (FENDER, 950, 680, 2),
    "fender part": (FENDER, 450, 420, 2),
    "bumper": (BUMPER, 700, 1480, 1),
    "mirror": (MIRROR, 300, 240, 2),
    "lamp": (LAMP, 560, 330, 2),
    "door": (DOOR, 1080, 780, 2),
    "rear door": (DOOR, 900, 760, 2),
    "door edge": (STRIP, 680, 60, 4),
    "door cup": (MIRROR, 150, 130, 4),
    "sill": (SILL, 1500, 190, 2),
    "pillar": (SILL, 800, 130, 2),
    "load edge": (STRIP, 1050, 160, 1),
    "roof": (ROOF, 1250, 1180, 1),
}
"""Corners in a unit square; length and width in mm; how many, the second half mirrored."""
KINDS: tuple[tuple[float, tuple[str, ...]], ...] = (
    (0.34, ("hood", "fender", "bumper", "mirror", "lamp")),
    (0.20, ("hood part", "fender part", "bumper", "mirror")),
    (0.16, ("door edge", "door cup", "load edge", "sill")),
    (0.12, ("hood", "fender", "bumper", "mirror", "lamp", "pillar", "sill", "door cup")),
    (0.10, ("lamp", "mirror", "door cup")),
    (0.08, ("hood", "fender", "bumper", "mirror", "lamp", "door", "rear door", "roof", "sill")),
)


@dataclass(frozen=True)
class Job:
    """One job of the year.

    Attributes:
        number: told apart by it.
        film: which film it wants.
        demands: its pieces.
    """

    number: str
    film: str
    demands: tuple[Demand, ...]

    @property
    def requests(self) -> list[Request]:
        """Its pieces without whose they are."""
        return [demand.request for demand in self.demands]


def year(count: int, *, seed: int) -> list[Job]:
    """So many jobs, one after the other."""
    dice = random.Random(seed)
    return [_job(f"K-{1000 + number}", dice) for number in range(count)]


def _job(number: str, dice: random.Random) -> Job:
    names = dice.choices([kind for _, kind in KINDS], [part for part, _ in KINDS])[0]
    film = MATT if dice.random() < _MATT_PART else CLEAR
    size = dice.uniform(0.9, 1.06)
    demands: list[Demand] = []
    for turn, name in enumerate(names, start=1):
        outline, length, width, often = PIECES[name]
        across = min(width * size, 1480.0)
        pattern = _pattern(name, outline, (length * size, across), dice, is_matt=film == MATT)
        sides = (False, True) if often > 1 else (False,)
        turns = (0.0,) if film == MATT else (0.0, 90.0, 180.0, 270.0)
        requests = [
            Request(
                pattern=pattern,
                copies=max(1, often // 2),
                mirrored=mirrored,
                turns_deg=turns,
                lay=turn,
            )
            for mirrored in sides
        ]
        demands += [Demand(job=number, film=film, request=request) for request in requests]
    return Job(number, film, tuple(demands))


def _pattern(
    name: str,
    shape: Corners,
    size_mm: tuple[float, float],
    dice: random.Random,
    *,
    is_matt: bool,
) -> Pattern:
    wobble: Callable[[], float] = lambda: dice.uniform(-0.02, 0.02)  # noqa: E731
    points = np.array([(x + wobble(), y + wobble()) for x, y in shape])
    points -= points.min(axis=0)
    points *= np.array(size_mm) / points.max(axis=0)
    bulges = np.zeros(len(points)) if len(points) == 4 else np.full(len(points), 0.04)
    outline = Curve(points_mm=points, bulges=bulges)
    _, low, _, high = bounds(outline)
    if is_matt and high - low > WIDEST_MM:
        # Bulges reach beyond corners, and matt pieces are not turned.
        narrower = np.array([1.0, 1.0 - 2.0 * (high - low - WIDEST_MM) / WIDEST_MM])
        outline = Curve(points_mm=points * narrower, bulges=bulges)
    return Pattern(name=name, outline=outline)


def sizes_of(jobs: Sequence[Job], film: str) -> list[list[tuple[float, float]]]:
    """The boxes of the pieces of each job of a film."""
    return [
        [_box(one) for one in job.requests for _ in range(one.copies)]
        for job in jobs
        if job.film == film
    ]


def _box(request: Request) -> tuple[float, float]:
    along, across = np.ptp(request.pattern.outline.points_mm, axis=0).tolist()
    return along, across
