"""Where a cut starts: places on a loop, and the lead-in through the waste to each.

A lead-in lets the blade find its direction before it touches the piece. It starts in the waste
at a distance at which the tip cannot reach film wherever the blade points, turns the blade
there, runs straight, and meets the loop along a tangential arc. Where the waste has no room,
the blade is turned on the line itself, one lead-in's length before the start.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.cut.elements import Element, Loop

_ANGLE_RAD = math.radians(40.0)
_SCALES = (1.0, 0.6, 0.35)
_LANDING_MM = 0.1
_DRAWN_MM = 0.1
_TOUCH_MM = 0.03
_WINDOW_MM = 3.0
_EXTRA_TURN_RAD = 0.2
_CHOICES = 6
_TRIES = 20


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
        reach: where the knife gets to.
    """

    film: BaseGeometry
    core: BaseGeometry
    reach: BaseGeometry

    def takes(self, leads: Sequence[tuple[Element, ...]], *, offset_mm: float) -> list[bool]:
        """Which of some lead-ins land clear of film and stay in the waste."""
        starts = np.array([(lead[0].x_mm, lead[0].y_mm) for lead in leads])
        clear = offset_mm + _LANDING_MM
        places = shapely.points(starts)
        inside = np.asarray(shapely.covers(self.reach.buffer(-clear), places))
        lands = inside & ~shapely.dwithin(self.film, places, clear)
        crosses = np.asarray(shapely.intersects(self.core, shapely.linestrings(_drawn(leads))))
        return [bool(takes) for takes in np.asarray(lands & ~crosses)]


def _drawn(leads: Sequence[tuple[Element, ...]]) -> FloatArray:
    """(n, k, 2) float64: lead-ins of one form as polylines, their arcs by points 0.1 mm apart."""
    straight, arc = leads[0]
    x, y, heading = np.array([(one.x_mm, one.y_mm, one.heading_rad) for _, one in leads]).T[
        ..., None
    ]
    along = np.linspace(0.0, 1.0, 1 + math.ceil(arc.length_mm / _DRAWN_MM))
    half = 0.5 * arc.turn_rad * along
    chord = arc.length_mm * along * np.sinc(half / math.pi)
    xs = np.hstack((x - straight.length_mm * np.cos(heading), x + chord * np.cos(heading + half)))
    ys = np.hstack((y - straight.length_mm * np.sin(heading), y + chord * np.sin(heading + half)))
    return np.stack((xs, ys), axis=-1)


def waste_of(film: BaseGeometry, *, reach: BaseGeometry) -> Waste:
    """The waste beside some film, as far as the knife gets."""
    core = film.buffer(-_TOUCH_MM)
    shapely.prepare(film)
    shapely.prepare(core)
    shapely.prepare(reach)
    return Waste(film=film, core=core, reach=reach)


def turning(loop: Loop) -> tuple[FloatArray, FloatArray]:
    """Distance along three rounds of the loop, and how far the direction has turned till there."""
    headings = np.array([element.heading_rad for element in loop.elements])
    turns = np.array([element.turn_rad for element in loop.elements])
    joints = np.concatenate((headings[1:], headings[:1])) - (headings + turns)
    joints = np.abs(np.pi - (np.pi - joints) % math.tau)
    lengths = np.array([element.length_mm for element in loop.elements])
    stretches = np.column_stack((lengths, np.zeros(len(lengths)))).reshape(-1)
    turned = np.column_stack((np.abs(turns), joints)).reshape(-1)
    along = np.cumsum(np.concatenate(([0.0], stretches, stretches, stretches)))
    total = np.cumsum(np.concatenate(([0.0], turned, turned, turned)))
    # Interpolation wants rising distances: the jump at a joint is spread over a hair.
    return along + 1e-9 * np.arange(len(along)), total


def start_places(loop: Loop, closed_mm: Sequence[tuple[float, float]] = ()) -> list[float]:
    """Distances along the loop where a cut may start, the gentlest first; at most six.

    The middles of the longest elements and evenly spread places are weighed by how far the
    loop turns within 3 mm before and after; those that turn little more than the gentlest stay,
    spread apart.

    Args:
        loop: what is cut.
        closed_mm: stretches, each from where along the loop and how long, where none may start.
    """
    length = loop.length_mm
    lengths = np.array([element.length_mm for element in loop.elements])
    longest = np.argsort(-lengths, kind="stable")[:24]
    middles = loop.ends_mm[longest] - 0.5 * lengths[longest]
    places = np.concatenate((middles, (np.arange(24) + 0.5) * (length / 24)))
    for start, closed in closed_mm:
        places = places[(places - start) % length >= closed]
    along, total = turning(loop)
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


def entries_of(
    loop: Loop, waste: Waste, *, offset_mm: float, closed_mm: Sequence[tuple[float, float]] = ()
) -> list[Entry]:
    """The ways into a loop, at least one.

    Args:
        loop, waste: what is cut, and beside what.
        offset_mm: the knife offset.
        closed_mm: stretches, each from where along the loop and how long, where none may start.
    """
    places = start_places(loop, closed_mm)
    for scale in _SCALES:
        leads = [_lead_in(loop, s, scale=scale, offset_mm=offset_mm) for s in places]
        taken = waste.takes(leads, offset_mm=offset_mm)
        found = [
            Entry(along_mm=s, lead=lead, in_waste=True)
            for s, lead, takes in zip(places, leads, taken, strict=True)
            if takes
        ]
        if found:
            return found
    run = run_on(loop, offset_mm=offset_mm)
    return [
        Entry(along_mm=s, lead=tuple(loop.stretch(s - run, run)), in_waste=False) for s in places
    ]


def run_on(loop: Loop, *, offset_mm: float) -> float:
    """How far before its start on the loop itself a blade turns that finds no room beside it."""
    return min(4.0 * offset_mm, 0.25 * loop.length_mm)


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
    x0, y0, x1, y1 = waste.reach.bounds
    for edge in (min(20.0, 0.1 * (y1 - y0)), 0.0):
        for shape in (bent, straight):
            far = shape.max(axis=0) + clear
            xs = np.linspace(x0 + clear, x1 - far[0], 80)
            ys = np.linspace(y0 + max(edge, clear), y1 - edge - far[1], 80)
            if xs[-1] < xs[0] or ys[-1] < ys[0]:
                continue
            x, y = (grid.reshape(-1) for grid in np.meshgrid(xs, ys, indexing="ij"))
            nearest = np.argsort(np.hypot(x, y), kind="stable")
            for some in np.array_split(nearest, _TRIES):
                boxes = shapely.box(
                    x[some], y[some], x[some] + far[0] - clear, y[some] + far[1] - clear
                )
                lies = shapely.covers(waste.reach, boxes)
                free = some[lies & ~shapely.dwithin(waste.film, boxes, clear)]
                if len(free):
                    path: FloatArray = shape + np.array([x[free[0]], y[free[0]]])
                    return path
    return None
