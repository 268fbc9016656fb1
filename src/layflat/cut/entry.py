"""Where a cut starts: places on a loop, and the lead-in through the waste to each.

A lead-in lets the blade find its direction before it touches the piece. It starts in the waste
at a distance at which the tip cannot reach film wherever the blade points, turns the blade
there, runs straight, and meets the loop along a tangential arc. Where the waste has no room,
the blade is turned on the line itself, one lead-in's length before the start.
"""

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.cut.elements import Element, Loop, sampled, wrapped

_ANGLE_RAD = math.radians(40.0)
_SCALES = (1.0, 0.6, 0.35)
_LANDING_MM = 0.1
_TOUCH_MM = 0.03
_WINDOW_MM = 3.0
_EXTRA_TURN_RAD = 0.2
_CHOICES = 6


@dataclass(frozen=True, eq=False)
class Entry:
    """A way into a loop.

    Attributes:
        along_mm: where on the loop the cut starts.
        lead: the tip's way there, ending in the loop's direction.
        in_waste: whether the lead-in runs through waste; else it runs on the loop itself.
    """

    along_mm: float
    lead: tuple[Element, ...]
    in_waste: bool


@dataclass(frozen=True, eq=False)
class Waste:
    """What is not film in a section.

    Attributes:
        film: the film of all pieces.
        core: the film less a skin as thin as what a lead-in may touch.
        bounds_mm: x least, y least, x most, y most that the knife may reach.
    """

    film: BaseGeometry
    core: BaseGeometry
    bounds_mm: tuple[float, float, float, float]

    def takes(self, lead: tuple[Element, ...], *, offset_mm: float) -> bool:
        """Whether a lead-in lands clear of film and stays in the waste."""
        x, y = lead[0].x_mm, lead[0].y_mm
        clear = offset_mm + _LANDING_MM
        x0, y0, x1, y1 = self.bounds_mm
        if not (x0 + clear <= x <= x1 - clear and y0 + clear <= y <= y1 - clear):
            return False
        if shapely.dwithin(self.film, shapely.Point(x, y), clear):
            return False
        return not shapely.intersects(self.core, shapely.LineString(sampled(lead, step_mm=0.1)))


def waste_of(film: BaseGeometry, *, bounds_mm: tuple[float, float, float, float]) -> Waste:
    """The waste beside some film."""
    core = film.buffer(-_TOUCH_MM)
    shapely.prepare(film)
    shapely.prepare(core)
    return Waste(film=film, core=core, bounds_mm=bounds_mm)


def _turning(loop: Loop) -> tuple[FloatArray, FloatArray]:
    """Distance along three rounds of the loop, and how far the direction has turned till there."""
    elements = loop.elements
    joints = [
        abs(wrapped(after.heading_rad - before.end_heading_rad))
        for before, after in zip(elements, (*elements[1:], elements[0]), strict=True)
    ]
    turns = np.column_stack(([abs(e.turn_rad) for e in elements], joints)).reshape(-1)
    lengths = np.column_stack(([e.length_mm for e in elements], np.zeros(len(elements)))).reshape(
        -1
    )
    along = np.concatenate(([0.0], np.cumsum(np.tile(lengths, 3))))
    total = np.concatenate(([0.0], np.cumsum(np.tile(turns, 3))))
    # Interpolation wants rising distances: the jump at a joint is spread over a hair.
    return along + 1e-9 * np.arange(len(along)), total


def start_places(loop: Loop) -> list[float]:
    """Distances along the loop where a cut may start, the gentlest first; at most six.

    The middles of the longest elements and evenly spread places are weighed by how far the
    loop turns within 3 mm before and after; those that turn little more than the gentlest stay,
    spread apart.
    """
    length = loop.length_mm
    lengths = np.array([element.length_mm for element in loop.elements])
    longest = np.argsort(-lengths, kind="stable")[:24]
    middles = loop.ends_mm[longest] - 0.5 * lengths[longest]
    places = np.concatenate((middles, (np.arange(24) + 0.5) * (length / 24)))
    along, total = _turning(loop)
    window = min(_WINDOW_MM, length / 16)
    turn = np.interp(places + length + window, along, total) - np.interp(
        places + length - window, along, total
    )
    gentle = places[turn <= turn.min() + _EXTRA_TURN_RAD]
    found = [float(places[int(np.argmin(turn))])]
    apart = np.full(len(gentle), np.inf)
    while len(found) < _CHOICES:
        gap = np.abs(gentle - found[-1])
        apart = np.minimum(apart, np.minimum(gap, length - gap))
        farthest = int(np.argmax(apart))
        if apart[farthest] < length / 24:
            break
        found.append(float(gentle[farthest]))
    return found


def _lead_in(loop: Loop, along_mm: float, *, scale: float, offset_mm: float) -> tuple[Element, ...]:
    """A straight line and a tangential arc to a place on the loop, from its right: the waste."""
    x, y, heading = loop.at(along_mm)
    radius = scale * max(4.0 * offset_mm, 1.2)
    straight = max(scale * max(4.0 * offset_mm, 1.0), 2.0 * offset_mm)
    first = heading + _ANGLE_RAD
    # The arc turns right about a centre to the right of the loop.
    centre_x = x + radius * math.sin(heading)
    centre_y = y - radius * math.cos(heading)
    arc_x = centre_x - radius * math.sin(first)
    arc_y = centre_y + radius * math.cos(first)
    return (
        Element(
            arc_x - straight * math.cos(first), arc_y - straight * math.sin(first), first, straight
        ),
        Element(arc_x, arc_y, first, radius * _ANGLE_RAD, -_ANGLE_RAD),
    )


def entries_of(loop: Loop, waste: Waste, *, offset_mm: float) -> list[Entry]:
    """The ways into a loop, at least one."""
    places = start_places(loop)
    for scale in _SCALES:
        leads = [(s, _lead_in(loop, s, scale=scale, offset_mm=offset_mm)) for s in places]
        found = [
            Entry(along_mm=s, lead=lead, in_waste=True)
            for s, lead in leads
            if waste.takes(lead, offset_mm=offset_mm)
        ]
        if found:
            return found
    run = min(4.0 * offset_mm, 0.25 * loop.length_mm)
    return [
        Entry(along_mm=s, lead=tuple(loop.stretch(s - run, run)), in_waste=False) for s in places
    ]


def align_path(waste: Waste, *, offset_mm: float) -> FloatArray | None:
    """A short cut in the waste that gives the blade a known heading, whatever it was before.

    Fourteen knife offsets long, straight or bent once. A lag shrinks as tan(b/2) =
    tan(b0/2) exp(-s/L), so that only headings within some thousandths of a degree of one single
    heading stay more than 5 degrees off. The nearest place to the section's start that keeps
    clear of film; the roll's edges, where the rollers run, only if need be.

    Returns:
        (k, 2) float64 pivot points, or None if the waste has no room.
    """
    leg = 7.0 * offset_mm
    clear = offset_mm + 3.0 * _LANDING_MM
    bent = np.array([[0.0, 0.0], [0.0, leg], [leg, leg]])
    straight = np.array([[0.0, 0.0], [0.0, 2.0 * leg]])
    x0, y0, x1, y1 = waste.bounds_mm
    for edge in (min(20.0, 0.1 * (y1 - y0)), 0.0):
        for shape in (bent, straight):
            far = shape.max(axis=0) + clear
            xs = np.linspace(x0 + clear, x1 - far[0], 80)
            ys = np.linspace(y0 + max(edge, clear), y1 - edge - far[1], 80)
            if xs[-1] < xs[0] or ys[-1] < ys[0]:
                continue
            x, y = (grid.reshape(-1) for grid in np.meshgrid(xs, ys, indexing="ij"))
            boxes = shapely.box(x, y, x + far[0] - clear, y + far[1] - clear)
            free = np.flatnonzero(~shapely.dwithin(waste.film, boxes, clear))
            if len(free):
                nearest = free[np.argmin(np.hypot(x[free], y[free]))]
                path: FloatArray = shape + np.array([x[nearest], y[nearest]])
                return path
    return None
