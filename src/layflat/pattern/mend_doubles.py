"""Doubled lines: exact, reversed, nearly coincident or partly overlapping; one of each pair stays.

Strokes are taken apart into elements, straight lines and arcs. Where two elements lie upon each
other over a stretch, both are split at the stretch's ends; then the stretch is there twice, and
the later one goes.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.spatial import KDTree
from shapely import STRtree

from layflat.base import DrawingError, FloatArray
from layflat.pattern.loops import Stroke, place_of
from layflat.pattern.mend_record import Findings
from layflat.pattern.piece import Curve

SAME_LINE_MM = 0.1
"""Lines no farther apart than this are one line, drawn twice."""

_MOST_PAIRS = 200_000
_MOST_ELEMENTS = 50_000
_AT_ONCE = 200
"""Boxes that are looked up at once: what lies all in one place must not fill the memory."""


@dataclass(frozen=True)
class _Element:
    """A line or an arc of a stroke.

    Attributes:
        start, end: its ends, mm, as complex numbers x + i y.
        bulge: see `layflat.pattern.Curve`.
        stroke: the stroke's number; -1 for what is never dropped.
    """

    start: complex
    end: complex
    bulge: float
    stroke: int

    def at(self, part: float) -> complex:
        """The point at a part of its length, 0 to 1."""
        half = 2.0 * math.atan(self.bulge)
        if abs(half) < 1e-9:
            return self.start + part * (self.end - self.start)
        scale = math.sin(half * part) / math.sin(half)
        turn = half * (part - 1.0)
        turned = complex(math.cos(turn), math.sin(turn))
        return self.start + (self.end - self.start) * scale * turned

    @property
    def centre(self) -> complex:
        """Of an arc."""
        chord = self.end - self.start
        return 0.5 * (self.start + self.end) + 0.25j * chord * (1 / self.bulge - self.bulge)

    @property
    def length(self) -> float:
        """Along it, mm."""
        chord = abs(self.end - self.start)
        half = 2.0 * math.atan(abs(self.bulge))
        return chord if half < 1e-9 else chord * half / math.sin(half)

    def part_of(self, point: complex) -> float:
        """The part of its length where a point lies that is about on it; also beyond 0 and 1."""
        chord = self.end - self.start
        if abs(self.bulge) < 1e-9:
            return ((point - self.start) * chord.conjugate()).real / abs(chord) ** 2
        sweep = 4.0 * math.atan(self.bulge)
        one, two = self.start - self.centre, point - self.centre
        angle = math.atan2((one.conjugate() * two).imag, (one.conjugate() * two).real)
        part = angle / sweep
        whole = math.tau / abs(sweep)
        # Of the two ways round, that which begins nearer to the element.
        return min((part, part + whole, part - whole), key=lambda p: abs(p - 0.5))

    def away(self, point: complex) -> float:
        """How far a point lies off the line or circle that it is a part of, mm."""
        if abs(self.bulge) < 1e-9:
            chord = self.end - self.start
            return abs(((point - self.start) * chord.conjugate()).imag) / abs(chord)
        return abs(abs(point - self.centre) - abs(self.start - self.centre))

    def between(self, low: float, high: float) -> "_Element":
        """The part from *low* to *high* of its length."""
        bulge = math.tan(math.atan(self.bulge) * (high - low)) if self.bulge else 0.0
        start = self.start if low == 0.0 else self.at(low)
        end = self.end if high == 1.0 else self.at(high)
        return replace(self, start=start, end=end, bulge=bulge)


def without_doubles(
    strokes: list[Stroke], closed: list[Curve], *, layer: str, findings: Findings
) -> list[Stroke]:
    """Open strokes without what lies upon another of them, or upon a closed curve.

    Raises:
        DrawingError: more lines lie upon each other than can be looked at.
    """
    fixed = [
        element
        for curve in closed
        for element in _elements(
            np.vstack((curve.points_mm, curve.points_mm[:1])), curve.bulges, -1
        )
    ]
    loose = [
        element
        for i, stroke in enumerate(strokes)
        for element in _elements(stroke.points_mm, stroke.bulges, i)
    ]
    if len(loose) > _MOST_ELEMENTS:
        raise DrawingError(
            f"Layer {layer}: {len(loose)} lines do not close to loops; at most {_MOST_ELEMENTS} "
            "are looked at."
        )
    split = _split(fixed, loose, layer)
    gone = _doubled(split, layer)
    if not gone:
        return strokes
    lost = [split[i] for i in sorted(gone)]
    length = sum(element.length for element in lost)
    place = np.array([lost[0].start.real, lost[0].start.imag])
    findings.mend(
        "doubled",
        f"Layer {layer}: {length:.4g} mm of lines drawn twice were left out once, first at "
        f"{place_of(place)}; they lie within {SAME_LINE_MM:g} mm of others.",
        at=place,
        measure_mm=length,
    )
    return _rebuilt(strokes, split, gone)


def _elements(points: FloatArray, bulges: FloatArray, stroke: int) -> list[_Element]:
    places = (points[:, 0] + 1j * points[:, 1]).tolist()
    rows = zip(places[:-1], places[1:], bulges.tolist(), strict=True)
    return [_Element(a, b, bulge, stroke) for a, b, bulge in rows if abs(b - a) > 1e-9]


def _split(fixed: list[_Element], loose: list[_Element], layer: str) -> list[_Element]:
    """The elements, split wherever a stretch begins or ends that lies upon another element."""
    elements = fixed + loose
    boxes = [_box(element) for element in elements]
    tree = STRtree(boxes)
    cuts: list[list[float]] = [[] for _ in elements]
    seen = 0
    for begin in range(len(fixed), len(elements), _AT_ONCE):
        first, second = tree.query(boxes[begin : begin + _AT_ONCE], "intersects")
        seen += len(first)
        if seen > _MOST_PAIRS + 10 * len(loose):
            raise _too_many(layer)
        for one, two in zip((first + begin).tolist(), second.tolist(), strict=True):
            a, b = elements[one], elements[two]
            # Of two loose elements each pair comes twice, of a fixed and a loose one once.
            if one == two or (a.stroke == b.stroke and abs(one - two) == 1):
                continue
            cuts[one] += _shared(a, b)
            if b.stroke < 0:
                cuts[two] += _shared(b, a)
    return [
        part for element, at in zip(elements, cuts, strict=True) for part in _parts(element, at)
    ]


def _box(element: _Element) -> shapely.Geometry:
    points = [element.at(part) for part in (0.0, 0.25, 0.5, 0.75, 1.0)]
    bend = 0.25 * element.length if element.bulge else 0.0
    slack = SAME_LINE_MM + (0.3 * bend)
    xs, ys = [p.real for p in points], [p.imag for p in points]
    return shapely.box(min(xs) - slack, min(ys) - slack, max(xs) + slack, max(ys) + slack)


def _shared(a: _Element, b: _Element) -> list[float]:
    """Where *a* is split by a stretch that it shares with *b*."""
    if a.away(b.start) > SAME_LINE_MM and b.away(a.start) > SAME_LINE_MM:
        return []
    ends = sorted((a.part_of(b.start), a.part_of(b.end)))
    low, high = max(0.0, ends[0]), min(1.0, ends[1])
    if (high - low) * a.length <= 2.0 * SAME_LINE_MM:
        return []
    within = [a.at(low + share * (high - low)) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    if any(_distance(b, point) > SAME_LINE_MM for point in within):
        return []
    least = SAME_LINE_MM / a.length
    return [part for part in (low, high) if least < part < 1.0 - least]


def _distance(element: _Element, point: complex) -> float:
    part = min(1.0, max(0.0, element.part_of(point)))
    return abs(element.at(part) - point)


def _parts(element: _Element, cuts: list[float]) -> list[_Element]:
    least = SAME_LINE_MM / element.length
    at = [0.0]
    for cut in sorted(cuts):
        if cut - at[-1] > least:
            at.append(cut)
    return [element.between(a, b) for a, b in zip(at, [*at[1:], 1.0], strict=True)]


def _too_many(layer: str) -> DrawingError:
    return DrawingError(
        f"Layer {layer}: too many lines lie upon each other; remove those drawn twice."
    )


def _doubled(elements: list[_Element], layer: str) -> set[int]:
    """The numbers of the elements that lie upon an earlier one, from end to end."""
    middles = np.array([[m.real, m.imag] for m in (element.at(0.5) for element in elements)])
    tree = KDTree(middles)
    if tree.count_neighbors(tree, 2.0 * SAME_LINE_MM) > _MOST_PAIRS + 40 * len(elements):
        raise _too_many(layer)
    pairs = tree.query_pairs(2.0 * SAME_LINE_MM, output_type="ndarray")
    gone: set[int] = set()
    for one, two in sorted(pairs.tolist()):
        a, b = elements[one], elements[two]
        if one in gone or two in gone or b.stroke < 0:
            continue
        ways = ((a.start, a.end), (a.end, a.start))
        # A short element may be split a little beside its double: its own length is the measure.
        near = min(2.0 * SAME_LINE_MM, 0.5 * min(a.length, b.length))
        if any(max(abs(s - b.start), abs(e - b.end)) <= near for s, e in ways):
            gone.add(two)
    return gone


def _rebuilt(strokes: list[Stroke], elements: list[_Element], gone: set[int]) -> list[Stroke]:
    """Strokes from the elements that stay, each run of one stroke a stroke of its own."""
    runs: list[list[_Element]] = []
    before: tuple[int, int] | None = None
    for i, element in enumerate(elements):
        if element.stroke < 0 or i in gone:
            continue
        if before == (element.stroke, i - 1):
            runs[-1].append(element)
        else:
            runs.append([element])
        before = (element.stroke, i)
    rebuilt = []
    for run in runs:
        places = [run[0].start, *(element.end for element in run)]
        rebuilt.append(
            replace(
                strokes[run[0].stroke],
                points_mm=np.array([[place.real, place.imag] for place in places]),
                bulges=np.array([element.bulge for element in run]),
            )
        )
    return rebuilt
