"""Published strip packing instances, small enough to be written down.

Shapes, demands, heights and turns: shapes0 and shapes1, J. F. Oliveira, A. M. Gomes and
J. S. Ferreira, TOPOS - A new constructive algorithm for nesting problems, OR Spektrum 22 (2000)
263-284; fu, K. Fujita, S. Akagi and N. Hirokawa, Hybrid approach for optimal nesting using a
genetic algorithm and a local minimization algorithm, ASME Design Engineering Technical
Conference (1993); as collected by ESICUP.

Records: the best layouts in the data of J. Gardeyn, G. Vanden Berghe and T. Wauters, An
open-source heuristic to reboot 2D nesting research, arXiv 2509.13329 (2025).
"""

from dataclasses import dataclass

import numpy as np

from layflat.nest import Request, Stock
from layflat.pattern import Curve, Pattern


@dataclass(frozen=True)
class Instance:
    """A strip of fixed height, to be filled in the least length.

    Attributes:
        name: as published.
        height: of the strip, in the instance's own unit.
        turns_deg: allowed turns.
        shapes: (demand, corners) of every polygon.
        record_length: the best published length, at `height`.
    """

    name: str
    height: float
    turns_deg: tuple[float, ...]
    shapes: tuple[tuple[int, tuple[tuple[float, float], ...]], ...]
    record_length: float

    @property
    def area(self) -> float:
        """Of all pieces."""
        return sum(demand * abs(_signed_area(corners)) for demand, corners in self.shapes)

    def requests(self, *, strip_mm: float) -> list[Request]:
        """The pieces, scaled so that the strip is so high; run counter-clockwise."""
        scale = strip_mm / self.height
        requests = []
        for i, (demand, corners) in enumerate(self.shapes):
            points = scale * np.array(corners, dtype=np.float64)
            if _signed_area(corners) < 0:
                points = points[::-1]
            outline = Curve(points_mm=points, bulges=np.zeros(len(points)))
            requests.append(
                Request(
                    pattern=Pattern(name=f"{self.name} {i}", outline=outline),
                    copies=demand,
                    turns_deg=self.turns_deg,
                )
            )
        return requests


def _signed_area(corners: tuple[tuple[float, float], ...]) -> float:
    x, y = np.array(corners, dtype=np.float64).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def bare_stock(strip_mm: float) -> Stock:
    """A roll that is all strip, without margins."""
    return Stock(width_mm=strip_mm, edge_margin_mm=0.0, end_margin_mm=0.0)


_SHAPES = (
    (15, ((0, 0), (2, 0), (2, 3), (12, 3), (12, 0), (14, 0), (14, 5), (0, 5))),
    (7, ((0, 0), (6, -6), (12, 0), (6, 6))),
    (
        9,
        (
            (0, 0), (6, 0), (6, -2), (7, -2), (11, 2), (11, 4),
            (8, 4), (8, 1), (2, 1), (2, 4), (0, 4),
        ),
    ),
    (
        12,
        (
            (0, 0), (2, 0), (2, -2), (4, -2), (4, 0), (6, 0),
            (6, 2), (4, 2), (4, 4), (2, 4), (2, 2), (0, 2),
        ),
    ),
)  # fmt: skip

# The height of the published layouts, a ten-thousandth over the literature's 40 and 38.
SHAPES0 = Instance("shapes0", 40.004, (0.0,), _SHAPES, 57.012)
SHAPES1 = Instance("shapes1", 40.004, (0.0, 180.0), _SHAPES, 52.002)
FU = Instance(
    "fu",
    38.0038,
    (0.0, 90.0, 180.0, 270.0),
    (
        (2, ((0, 0), (10, 0), (10, 10), (0, 10))),
        (1, ((0, 0), (14, 0), (14, 9), (0, 9))),
        (1, ((0, 0), (14, 0), (7, 7))),
        (1, ((0, 9), (0, 0), (14, 9))),
        (1, ((0, 0), (14, 0), (14, 14), (0, 14))),
        (1, ((0, 0), (10, 4), (10, 9), (0, 9))),
        (1, ((0, 0), (5, 0), (5, 9), (0, 9))),
        (1, ((0, 0), (14, 0), (14, 14))),
        (1, ((0, 0), (10, 0), (10, 10), (0, 14))),
        (1, ((0, 8), (4, 0), (8, 8))),
        (1, ((0, 0), (14, 0), (7, 12))),
    ),
    30.843,
)
INSTANCES = (SHAPES0, SHAPES1, FU)
