"""Requests made ready for layout: checked at the door, with polygons that an engine can bear."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from shapely import Polygon, affinity
from shapely.validation import explain_validity

from layflat.base import FitError, FloatArray, InputError
from layflat.nest.layout import Request, Stock
from layflat.nest.outward import grow, largest, ring_points
from layflat.nest.turns import extents, flush_turns, hull_points, normal_turns
from layflat.pattern import bounds, pattern_area_mm2, to_polygon, transform

CHORD_MM = 0.01
"""Greatest sagitta of the chords that stand for arcs in the search."""
SLACK_PART = 0.25
"""How much farther out than half the gap an outline may be simplified, as a part of the gap."""
STRIP_SLACK_MM = 0.002
"""The engine refuses a piece exactly as high as its strip; this much more is enough."""
_SAMPLED_TURNS_DEG = np.arange(0.0, 360.0, 1.0)
_MAX_COPIES = 10_000
_MAX_SIZE_MM = 1e6
_KEPT_BOXES = 4000


@dataclass(frozen=True, eq=False)
class Part:
    """A request as the search sees it; lengths in mm, in the mirrored pattern's coordinates.

    Attributes:
        index: its place among the requests.
        request: what was asked for.
        polygon: the piece with its cut-outs, mirrored if asked.
        turns: the allowed turns at which it fits, in degrees; None when it is free.
        fitting: some turns at which it fits, never empty; the same as `turns` unless free.
        grown: (k, 2) float64, the outline with half the gap and the slack, about `centre`.
        centre: (2,) float64, what the engine turns it about.
        area_mm2: of the film in the piece, exact.
    """

    index: int
    request: Request
    polygon: Polygon
    turns: tuple[float, ...] | None
    fitting: tuple[float, ...]
    grown: FloatArray
    centre: FloatArray
    area_mm2: float

    def bounds(self, turn_deg: float) -> tuple[float, float, float, float]:
        """The exact box of the piece turned about its origin."""
        return _turned_bounds(self, turn_deg)


@lru_cache(maxsize=_KEPT_BOXES)
def _turned_bounds(part: Part, turn_deg: float) -> tuple[float, float, float, float]:
    request = part.request
    return bounds(transform(request.pattern.outline, turn_deg=turn_deg, mirrored=request.mirrored))


@dataclass(frozen=True, kw_only=True)
class Frame:
    """What a section offers, and what keeps pieces apart.

    Attributes:
        usable_mm: roll width less both edge margins.
        longest_mm: the longest stretch of pieces in one section; infinite without a limit.
        gap_mm: least distance between pieces.
    """

    usable_mm: float
    longest_mm: float
    gap_mm: float


def make_frame(stock: Stock, *, gap_mm: float, max_section_mm: float | None) -> Frame:
    """The frame for layouts on *stock*.

    Raises:
        InputError: a length is not finite, negative, or leaves no room for pieces.
    """
    lengths = {
        "roll width": stock.width_mm,
        "edge margin": stock.edge_margin_mm,
        "end margin": stock.end_margin_mm,
        "gap": gap_mm,
        "roll length": stock.length_mm,
        "longest section": max_section_mm,
    }
    for name, value in lengths.items():
        if value is not None and not 0 <= value <= _MAX_SIZE_MM:
            raise InputError(f"The {name} is {value:g} mm; it must be from 0 to {_MAX_SIZE_MM:g}.")
    usable = stock.width_mm - 2 * stock.edge_margin_mm
    if not usable > 0:
        raise InputError(
            f"Two edge margins of {stock.edge_margin_mm:g} mm leave nothing of a roll "
            f"{stock.width_mm:g} mm wide; give a wider roll or smaller margins."
        )
    longest = np.inf if max_section_mm is None else max_section_mm - 2 * stock.end_margin_mm
    if not longest > 0:
        raise InputError(
            f"Two end margins of {stock.end_margin_mm:g} mm leave nothing of a section "
            f"{max_section_mm:g} mm long; give longer sections or smaller margins."
        )
    return Frame(usable_mm=usable, longest_mm=float(longest), gap_mm=gap_mm)


def make_parts(requests: Sequence[Request], frame: Frame) -> tuple[Part, ...]:
    """The requests made ready for the search.

    Raises:
        InputError: there are none, or one has no copies, no turns or no sound outline.
        FitError: pieces fit at none of their turns; the sentence names all of them.
    """
    if not requests:
        raise InputError("There are no pieces to lay out.")
    polygons = [_sound_polygon(request) for request in requests]
    fits = [_fits(request, poly, frame) for request, poly in zip(requests, polygons, strict=True)]
    misfits = [fit for fit in fits if isinstance(fit, str)]
    if misfits:
        raise FitError("; ".join(misfits) + ".")
    return tuple(
        _part(index, request, polygon, fit, frame)
        for index, (request, polygon, fit) in enumerate(zip(requests, polygons, fits, strict=True))
        if not isinstance(fit, str)
    )


def fitting_turns(request: Request, frame: Frame) -> tuple[Polygon, tuple[float, ...] | str]:
    """A request's polygon, and some turns at which it fits or a sentence on why it does not.

    Raises:
        InputError: it has no copies, no turns or no sound outline.
    """
    polygon = _sound_polygon(request)
    return polygon, _fits(request, polygon, frame)


def _sound_polygon(request: Request) -> Polygon:
    name = request.pattern.name
    if not 1 <= request.copies <= _MAX_COPIES:
        raise InputError(
            f"“{name}” is asked for {request.copies} times; it must be 1 to {_MAX_COPIES}."
        )
    if request.turns_deg is not None and not (
        len(request.turns_deg) and np.isfinite(request.turns_deg).all()
    ):
        raise InputError(f"“{name}” has no turn that it may be laid at; allow at least one.")
    curves = (request.pattern.outline, *request.pattern.cut_outs)
    if not all(np.isfinite(c.points_mm).all() and np.isfinite(c.bulges).all() for c in curves):
        raise InputError(f"“{name}” has an outline with coordinates that are not numbers.")
    polygon = to_polygon(request.pattern, deviation_mm=CHORD_MM)
    if not polygon.is_valid:
        raise InputError(
            f"“{name}” has an outline that touches or crosses itself or its cut-outs: "
            f"{explain_validity(polygon)}."
        )
    if not polygon.area > 0 or max(np.abs(polygon.bounds)) > _MAX_SIZE_MM:
        raise InputError(f"“{name}” has no area, or lies farther than {_MAX_SIZE_MM:g} mm out.")
    return affinity.scale(polygon, -1.0, 1.0, origin=(0, 0)) if request.mirrored else polygon


def _fits(request: Request, polygon: Polygon, frame: Frame) -> tuple[float, ...] | str:
    """The turns at which a piece fits (a choice of them if all are allowed), or why none."""
    hull = hull_points(polygon)
    if request.turns_deg is None:
        turns = np.array(sorted({*_SAMPLED_TURNS_DEG, *flush_turns(hull)}))
    else:
        turns = np.array(normal_turns(request.turns_deg))
    along, across = extents(hull, turns)
    too_long, too_wide = along - frame.longest_mm, across - frame.usable_mm
    over = np.maximum(too_long, too_wide)
    fitting = turns[over <= 1e-6]
    if len(fitting):
        return tuple(float(turn) for turn in fitting)
    best = int(np.argmin(over))
    if too_wide[best] >= too_long[best]:
        lack, place = too_wide[best], f"the {frame.usable_mm:.1f} mm between the edge margins"
    else:
        lack, place = too_long[best], f"the {frame.longest_mm:.1f} mm within a section"
    return (
        f"“{request.pattern.name}” is {lack:.1f} mm too large for {place}, "
        f"even at its best turn ({turns[best]:g}°)"
    )


def _part(
    index: int, request: Request, polygon: Polygon, fitting: tuple[float, ...], frame: Frame
) -> Part:
    x0, y0, x1, y1 = polygon.bounds
    centre = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
    curves = (request.pattern.outline, *request.pattern.cut_outs)
    has_arcs = any(curve.bulges.any() for curve in curves)
    distance = 0.5 * frame.gap_mm + (CHORD_MM if has_arcs else 0.0)
    centred = affinity.translate(polygon, -centre[0], -centre[1])
    grown = grow(centred, distance_mm=distance, slack_mm=SLACK_PART * frame.gap_mm)
    reach = np.hypot(*extents(hull_points(grown), np.zeros(1)))[0]
    is_free = request.turns_deg is None and (
        # A free piece that is near the limit at its turns is given the turns that do fit.
        reach <= min(frame.usable_mm, frame.longest_mm)
    )
    turns = None if is_free else fitting
    if turns is not None:
        grown = _trimmed(centred, grown, turns, distance, frame)
    return Part(
        index=index,
        request=request,
        polygon=polygon,
        turns=turns,
        fitting=fitting,
        grown=ring_points(grown),
        centre=centre,
        area_mm2=pattern_area_mm2(request.pattern),
    )


def _trimmed(
    centred: Polygon, grown: Polygon, turns: tuple[float, ...], distance: float, frame: Frame
) -> Polygon:
    """The grown outline without what keeps it from fitting at a turn at which the piece fits.

    Whatever lies farther out across the roll than the piece itself and half the gap is slack.
    """
    strip = frame.usable_mm + frame.gap_mm
    _, across = extents(hull_points(grown), np.array(turns))
    for turn, height in zip(turns, across, strict=True):
        if height <= strip:
            continue
        _, low, _, high = affinity.rotate(centred, turn, origin=(0, 0)).bounds
        margin = min(distance, 0.5 * (strip - (high - low)))
        far = grown.length
        slab = Polygon(
            [(-far, low - margin), (far, low - margin), (far, high + margin), (-far, high + margin)]
        )
        slab = affinity.rotate(slab, -turn, origin=(0, 0))
        grown = largest(grown.intersection(slab))
    return grown
