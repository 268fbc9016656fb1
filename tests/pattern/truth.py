"""Good drawings from a seed, and the judgement on what was read of a damaged copy.

The judgement is by shapely areas on curves that are sampled here, not by the reader.
"""

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from shapely import Polygon

from layflat.base import LayflatError
from layflat.pattern import Curve, Drawing, inspect_drawing, read_drawing

QUARTER = math.tan(math.pi / 8)
_MOST_WORDS = 600


@dataclass(frozen=True, eq=False)
class Loop:
    """A closed line of a good drawing.

    Attributes:
        curve: in mm; of an ellipse its fine chords.
        hole: whether it is a cut-out.
        name: the piece's.
        ellipse: centre, half axes and turn in radians, if it is one.
    """

    curve: Curve
    hole: bool
    name: str
    ellipse: tuple[float, float, float, float, float] | None = None

    @property
    def polygon(self) -> Polygon:
        return Polygon(chords(self.curve))


def chords(curve: Curve) -> np.ndarray:
    """Points along lines and arcs by the definition of the bulge: tan of a quarter of the angle."""
    points = []
    for (x, y), (u, v), bulge in zip(
        curve.points_mm, np.roll(curve.points_mm, -1, axis=0), curve.bulges, strict=True
    ):
        points.append([(x, y)])
        if bulge:
            a, b = complex(x, y), complex(u, v)
            centre = (a + b) / 2 + 1j * (b - a) * (1 - bulge * bulge) / (4 * bulge)
            turn = 4 * math.atan(bulge) * np.arange(1, 200) / 200
            arc = centre + (a - centre) * np.exp(1j * turn)
            points.append(np.column_stack((arc.real, arc.imag)))
    return np.vstack(points)


def good_drawing(rng: np.random.Generator) -> list[Loop]:
    """One to three pieces side by side, some with cut-outs."""
    loops: list[Loop] = []
    names = rng.permutation(["hood", "flap", "cap left", "sill", "skirt 2"])
    for i in range(int(rng.integers(1, 4))):
        x, y = 700.0 * i + 350.0, float(rng.uniform(-300, 300))
        outline = (rounded, star)[int(rng.integers(2))](rng, x, y)
        loops.append(Loop(outline, False, str(names[i])))
        for side in range(int(rng.integers(0, 3))):
            at = (x + 50.0 * (2 * side - 1), y)
            loops.append(hole(rng, *at, name=str(names[i])))
    return loops


def rounded(rng: np.random.Generator, x: float, y: float) -> Curve:
    """A rectangle with round corners."""
    w, h, r = rng.uniform(120, 300), rng.uniform(80, 250), rng.uniform(10, 40)
    ends = [(-w + r, -h), (w - r, -h), (w, -h + r), (w, h - r)]
    ends += [(-px, -py) for px, py in ends]
    return Curve(np.add(ends, (x, y)), np.array([0, QUARTER] * 4))


def star(rng: np.random.Generator, x: float, y: float) -> Curve:
    """A polygon about a place, some of its sides bent."""
    count = int(rng.integers(5, 9))
    angles = 2 * np.pi * (np.arange(count) + rng.uniform(-0.2, 0.2, count)) / count
    away = rng.uniform(180, 320, count)
    bulges = np.where(rng.random(count) < 0.4, rng.uniform(-0.15, 0.2, count), 0.0)
    bulges[int(rng.integers(count))] = 0.0
    points = np.column_stack((x + away * np.cos(angles), y + away * np.sin(angles)))
    return Curve(points, bulges)


def hole(rng: np.random.Generator, x: float, y: float, *, name: str) -> Loop:
    """A round, an oval or a square cut-out."""
    kind = int(rng.integers(3))
    r = rng.uniform(12, 28)
    if kind == 0:
        return Loop(Curve(np.array([(x + r, y), (x - r, y)]), np.ones(2)), True, name)
    if kind == 1:
        points = np.add([(-r, -r), (r, -r), (r, r), (-r, r)], (x, y))
        return Loop(Curve(points, np.zeros(4)), True, name)
    ratio, turn = rng.uniform(0.4, 0.8), rng.uniform(0, math.pi)
    t = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    z = complex(x, y) + (r * np.cos(t) + 1j * ratio * r * np.sin(t)) * np.exp(1j * turn)
    curve = Curve(np.column_stack((z.real, z.imag)), np.zeros(len(t)))
    return Loop(curve, True, name, (x, y, r, ratio * r, turn))


@dataclass
class Case:
    """A damaged file with what is known of it.

    Attributes:
        path: the file.
        loops: the truth.
        sins: what was done to it, with how it must come in: right, asked or refused.
        said: kinds of mendings that must be said.
        answers: true answers by the question's kind; others are answered as likely.
        slack_mm: how far a line may lie off the truth.
        named: whether names are in the file.
    """

    path: Path
    loops: list[Loop]
    sins: dict[str, str] = field(default_factory=dict)
    said: set[str] = field(default_factory=set)
    answers: dict[str, str] = field(default_factory=dict)
    slack_mm: float = 0.03
    named: bool = True

    @property
    def wanted(self) -> str:
        """How the whole must come in: the worst of its sins decides."""
        worst = ("refused", "asked", "right")
        return next((w for w in worst if w in self.sins.values()), "right")

    def fits(self, found: str) -> bool:
        """Whether a file may come in so; a number that nobody needs may be none."""
        spared = "not a number" in self.sins and found in ("asked", "right")
        return found == self.wanted or spared


def outcome(case: Case) -> tuple[str, str]:
    """right, asked, refused, or WRONG; and why. What raises anything else has crashed."""
    try:
        reading = inspect_drawing(case.path)
        if reading.open_questions:
            answers = {
                question.id: case.answers.get(question.kind, question.default)
                for question in reading.open_questions
            }
            wrong = difference(read_answered(case.path, answers), case)
            return ("WRONG", f"after answers: {wrong}") if wrong else ("asked", "")
        drawing = read_drawing(case.path)
    except LayflatError as error:
        words = str(error)
        sound = len(words) <= _MOST_WORDS and words.endswith(".") and case.path.name in words
        return ("refused", words) if sound else ("WRONG", f"no sentence: {words[:200]}")
    wrong = difference(drawing, case)
    unsaid = case.said - {item.kind for item in reading.mended}
    if wrong or unsaid:
        return "WRONG", wrong or f"not said: {unsaid}"
    return "right", ""


def read_answered(path: Path, answers: dict[str, str]) -> Drawing:
    """The drawing by the answers; an answer may bring up further questions."""
    for _ in range(3):
        reading = inspect_drawing(path, answers=answers)
        if not reading.open_questions:
            break
        answers = answers | {question.id: question.default for question in reading.open_questions}
    for unused in reading.unused:
        del answers[unused]
    return read_drawing(path, answers=answers)


def difference(drawing: Drawing, case: Case) -> str:
    """How a drawing differs from the truth, or ""."""
    outlines = [loop for loop in case.loops if not loop.hole]
    if len(drawing.patterns) != len(outlines):
        return f"{len(drawing.patterns)} pieces for {len(outlines)}"
    for loop in outlines:
        inside = [other for other in case.loops if other.hole and other.name == loop.name]
        true = Polygon(loop.polygon.exterior, [other.polygon.exterior for other in inside])
        found = [p for p in drawing.patterns if p.name == loop.name or not case.named]
        polygons = [Polygon(chords(p.outline), [chords(cut) for cut in p.cut_outs]) for p in found]
        off = [true.symmetric_difference(polygon).area / true.length for polygon in polygons]
        away = [true.boundary.hausdorff_distance(polygon.boundary) for polygon in polygons]
        if not off:
            return f"no piece is called {loop.name}, but {[p.name for p in drawing.patterns]}"
        best = int(np.argmin(off))
        if off[best] > case.slack_mm or away[best] > 4 * case.slack_mm:
            return f"{loop.name} is off by {off[best]:.3f} mm, {away[best]:.3f} mm at most"
    return ""


def crossed(curve: Curve) -> Curve:
    """The joints in an order in which straight lines cross."""
    for i in range(len(curve.points_mm)):
        points = np.roll(curve.points_mm, i, axis=0)
        points[[0, 1]] = points[[1, 0]]
        if not Polygon(points).is_valid:
            return Curve(points, 0 * curve.bulges)
    raise AssertionError("no order crosses")


def renamed(loops: list[Loop], names: dict[str, str]) -> list[Loop]:
    return [replace(loop, name=names.get(loop.name, loop.name)) for loop in loops]
