"""A bottom-left layout: each piece, the largest first, as far to the beginning as it goes.

The pieces' true outlines on cells of 10 mm, each put at the first free place along the roll and,
there, the lowest across it; holes that earlier pieces left are used. (B. S. Baker, E. G. Coffman,
R. L. Rivest, Orthogonal packings in two dimensions, SIAM J. Comput. 9 (1980) 846-855, for
rectangles, which it does not turn; from memory.) A harder rival, ours, also tries every allowed
turn of each piece and takes the one that ends soonest.
"""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from scipy.signal import fftconvolve
from shapely import affinity

from layflat.base import FloatArray
from layflat.nest import Request, Stock
from layflat.pattern import to_polygon

CELL_MM = 10.0


def bottom_left_mm(
    requests: Sequence[Request],
    stock: Stock,
    *,
    gap_mm: float,
    max_section_mm: float,
    is_turning: bool,
) -> float:
    """The film that it takes, sections after each other, each with its end margins.

    Without *is_turning* a piece lies at the first of its allowed turns at which it fits the roll.
    """
    # Rounded up, in its favour: a piece may be just as wide as the roll.
    rows = math.ceil((stock.width_mm - 2 * stock.edge_margin_mm + gap_mm) / CELL_MM)
    cells = int((max_section_mm - 2 * stock.end_margin_mm + gap_mm) / CELL_MM)
    pieces = [request for request in requests for _ in range(request.copies)]
    masks = [_masks(request, gap_mm) for request in pieces]
    if not is_turning:
        masks = [_first_that_fits(choices, cells, rows) for choices in masks]
    order = np.argsort([-float(choices[0].sum()) for choices in masks], kind="stable")
    film = 0.0
    left = [masks[i] for i in order]
    while left:
        taken = np.zeros((cells, rows))
        later = []
        end = 0
        for choices in left:
            spots = [(_spot(taken, mask), mask) for mask in choices]
            found = [(spot[0] + mask.shape[0], spot, mask) for spot, mask in spots if spot]
            if not found:
                later.append(choices)
                continue
            last, (x, y), mask = min(found, key=lambda one: one[0])
            taken[x : x + mask.shape[0], y : y + mask.shape[1]] += mask
            end = max(end, last)
        if len(later) == len(left):
            raise ValueError("a piece does not fit")
        film += end * CELL_MM - gap_mm + 2 * stock.end_margin_mm
        left = later
    return film


def _first_that_fits(choices: list[FloatArray], cells: int, rows: int) -> list[FloatArray]:
    fitting = [mask for mask in choices if mask.shape[0] <= cells and mask.shape[1] <= rows]
    return fitting[:1] or choices[:1]


def _spot(taken: FloatArray, mask: FloatArray) -> tuple[int, int] | None:
    """The first free place, along before across."""
    if mask.shape[0] > taken.shape[0] or mask.shape[1] > taken.shape[1]:
        return None
    hits = fftconvolve(taken, mask[::-1, ::-1], mode="valid")
    free = np.argwhere(hits < 0.5)
    return (int(free[0][0]), int(free[0][1])) if len(free) else None


def _masks(request: Request, gap_mm: float) -> list[FloatArray]:
    """The cells that a piece and half the gap round it reach into, at each turn."""
    outline = to_polygon(request.pattern, deviation_mm=0.5)
    if request.mirrored:
        outline = affinity.scale(outline, -1.0, 1.0, origin=(0, 0))
    return [
        _cells(affinity.rotate(outline, turn, origin=(0, 0)).buffer(0.5 * gap_mm))
        for turn in request.turns_deg or (0.0, 90.0, 180.0, 270.0)
    ]


def _cells(shape: shapely.Polygon) -> FloatArray:
    x0, y0, x1, y1 = shape.bounds
    along, across = int(np.ceil((x1 - x0) / CELL_MM)), int(np.ceil((y1 - y0) / CELL_MM))
    x, y = np.meshgrid(np.arange(along), np.arange(across), indexing="ij")
    shapely.prepare(shape)
    # Half of a cell's inner square counts: cells are coarse, and right on average.
    left, low = x0 + (x + 0.25) * CELL_MM, y0 + (y + 0.25) * CELL_MM
    boxes = shapely.box(left, low, left + 0.5 * CELL_MM, low + 0.5 * CELL_MM)
    cells: FloatArray = shapely.intersects(shape, boxes).astype(np.float64)
    return cells
