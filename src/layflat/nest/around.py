"""The search around pieces that stay where a person has pinned them.

The layout engine knows no piece that stays. So pieces are taken out, a few at a time, and put back
where their outlines leave room, each as near to the roll's start as it goes; what is shorter, or as
short and lies nearer to the start, counts (ruin and recreate: G. Schrimpf, J. Schneider,
H. Stamm-Wilbrandt and G. Dueck, Record breaking optimization results using the ruin and recreate
principle, J. Comput. Phys. 159 (2000) 139-171; from memory). Rooms are found by no-fit regions
(see `layflat.nest.nofit`), so that holes are seen however they are shaped.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import affinity

from layflat.base import FloatArray, Progress, StoppedError
from layflat.nest.beds import Bed, Roll, pieces
from layflat.nest.check import too_near
from layflat.nest.nofit import NoFit
from layflat.nest.pack import Pack, Spot
from layflat.nest.parts import Frame, Part
from layflat.nest.push import pushed_spots
from layflat.nest.turns import QUARTER_TURNS_DEG, turn_between

_MOST_OUT = 5
_NEARLY = 1.004
"""Layouts no longer than so many times the best are pushed together."""
_NEARER = 0.02
"""What a millimetre nearer to the start counts beside a millimetre of film."""
_WORSE_PART = 0.001
_PATIENCE = 150
"""So many tries without a better layout, and the search begins again from the best."""
_LEAST_MM = 1e-6
_BEHIND_MM = 10.0
"""More than outlines are taken too large by."""

Beds = Sequence[Bed]


@dataclass
class Around:
    """One search around held pieces.

    Attributes:
        frame, roll: what sections offer.
        seconds, seed: of the search.
        progress: told the present film.
        describe: makes its sentence from a length.
        keep_when_stopped: whether a stop ends the search with what it has found.
        watch: told of each better layout; None where nobody looks.
        best: the shortest until now.
        is_new: whether the search has found it.
        was_stopped: whether a person ended it before its time.
        tries: how often pieces were taken out.
    """

    frame: Frame
    roll: Roll
    seconds: float
    seed: int
    progress: Progress
    describe: Callable[[float], str]
    keep_when_stopped: bool = False
    watch: Callable[[Beds], None] | None = None
    best: list[Bed] = field(default_factory=list)
    is_new: bool = False
    was_stopped: bool = False
    tries: int = 0

    def __post_init__(self) -> None:
        self._started = time.monotonic()
        self._nofit = NoFit(self.frame)
        self._dice = np.random.default_rng(self.seed)

    def run(self, known: Sequence[Beds], held: Beds, free: Sequence[Part]) -> list[Bed]:
        """The shortest layout found.

        Args:
            known: sound layouts to begin from, all with the held pieces.
            held: sections with the held pieces alone.
            free: the other pieces, one by one.

        Raises:
            StoppedError: *progress* raised it.
        """
        if known:
            shortest: Beds = min(known, key=self._film)
            self.best = list(shortest)
        else:
            self.best, self.is_new = self._together(self._filled(held, free), was=()), True
        self._show()
        try:
            self._tell()
            if free:
                self._improve()
        except StoppedError:
            if not self.keep_when_stopped:
                raise
            self.was_stopped = True
        return self.best

    def _improve(self) -> None:
        now, now_value, idle = self.best, self._value(self.best), 0
        while time.monotonic() < self._started + self.seconds:
            self.tries += 1
            self._tell()
            trial = self._tried(now)
            idle += 1
            if trial is not None:
                value = self._value(trial)
                allowed = now_value + _WORSE_PART * now_value * self._dice.random() ** 2
                if self._is_better(trial):
                    self.best, self.is_new, idle = trial, True, 0
                    self._show()
                if value < allowed:
                    now, now_value = trial, value
            if idle > _PATIENCE:
                now, now_value, idle = self.best, self._value(self.best), 0

    def _is_better(self, beds: Beds) -> bool:
        shorter = self._film(beds) < self._film(self.best) - _LEAST_MM
        return shorter and self._is_sound(beds)

    def _tried(self, beds: Beds) -> list[Bed] | None:
        """The layout with some pieces taken out and put back, if that goes."""
        out = self._chosen(beds)
        left = [
            replace(bed, free=tuple(s for k, s in enumerate(bed.free) if (i, k) not in out))
            if any(i == index for index, _ in out)
            else bed
            for i, bed in enumerate(beds)
        ]
        parts = [spot.part for i, k, spot in pieces(beds) if (i, k) in out]
        lined = self.roll.lined_up(left)
        if lined is None:
            return None
        trial = self._filled(lined, parts, is_bold=True)
        if self._film(trial) > _NEARLY * self._film(self.best):
            return None
        return self._together(trial, was=beds)

    def _chosen(self, beds: Beds) -> set[tuple[int, int]]:
        """Which pieces are taken out: one that is in the way, or any, and some about it."""
        listed = [(i, k, self._centre(beds[i], s)) for i, k, s in pieces(beds)]
        if self._dice.random() < 0.6:
            far = [self.roll.box(s)[2] + beds[i].start_mm for i, _, s in pieces(beds)]
            first = int(np.argmax(far))
        else:
            first = int(self._dice.integers(len(listed)))
        count = int(self._dice.integers(1, min(_MOST_OUT, len(listed)) + 1))
        places = np.array([centre for _, _, centre in listed])
        if self._dice.random() < 0.7:
            order = np.argsort(np.hypot(*(places - places[first]).T))
        else:
            order = self._dice.permutation(len(listed))
        picked = [first, *(int(i) for i in order if i != first)][:count]
        return {listed[i][:2] for i in picked}

    def _centre(self, bed: Bed, spot: Spot) -> tuple[float, float]:
        x0, y0, x1, y1 = self.roll.box(spot)
        return bed.start_mm + 0.5 * (x0 + x1), 0.5 * (y0 + y1)

    def _filled(self, beds: Beds, parts: Sequence[Part], *, is_bold: bool = False) -> list[Bed]:
        """The layout with *parts* put in, the largest about first."""
        areas = np.array([part.area_mm2 for part in parts])
        if is_bold:
            areas = areas * self._dice.uniform(0.4, 1.6, len(areas))
        found = list(beds)
        for i in np.argsort(-areas, kind="stable"):
            found = self._put(found, parts[int(i)])
        return found

    def _put(self, beds: Beds, part: Part) -> list[Bed]:
        """The layout with one more piece, where it makes the film longer by the least.

        A section of its own behind all others always takes it.
        """
        best: tuple[float, float, list[Bed]] | None = None
        before = self._film(beds) if beds else 0.0
        for all_beds, index in self._openings(beds):
            # What is nearer to the start comes first, and what is filled up costs nothing.
            if best is not None and best[0] <= before + _LEAST_MM:
                break
            bed = all_beds[index]
            for reach, spot in self._rooms(all_beds, index, part):
                grown = [*all_beds]
                grown[index] = replace(bed, free=(*bed.free, spot))
                lined = self.roll.lined_up(grown)
                if lined is None:
                    continue
                cost, at = self._film(lined), lined[index].start_mm + reach
                if best is None or (cost, at) < best[:2]:
                    best = (cost, at, lined)
        if best is None:
            raise AssertionError("A piece that fits into a section fits into one of its own.")
        return best[2]

    def _openings(self, beds: Beds) -> Iterator[tuple[Beds, int]]:
        """Sections that may take a piece, and new ones before what is held and behind all."""
        reached = 0.0
        for index, bed in enumerate(beds):
            if bed.held and bed.start_mm - reached > 2 * self.roll.end_margin_mm:
                yield [*beds[:index], Bed(start_mm=reached), *beds[index:]], index
            yield beds, index
            reached = bed.start_mm + self.roll.length_mm(bed) + self.roll.spacing_mm
        yield [*beds, Bed(start_mm=reached)], len(beds)

    def _rooms(self, beds: Beds, index: int, part: Part) -> list[tuple[float, Spot]]:
        """Where a piece goes into a section at each turn, and how far it reaches then."""
        bed = beds[index]
        margin = self.roll.end_margin_mm
        most = self.roll.room_mm(beds, index)
        spots = bed.spots()
        filled = sum(spot.part.area_mm2 for spot in spots) + part.area_mm2
        if filled > self.frame.usable_mm * (most - margin):
            return []
        found = []
        for turn in _turns(part):
            x0, y0, x1, y1 = self.roll.box(Spot(part, turn, 0.0, 0.0))
            # Behind all that lies there is room, so that an endless section need not be looked at.
            behind = (
                max(self.roll.length_mm(bed), margin) + 3 * self.frame.gap_mm + _BEHIND_MM + x1 - x0
            )
            low = np.array([margin - x0, -y0])
            high = np.array([min(most, behind) - x1, self.frame.usable_mm - y1])
            if (high < low - _LEAST_MM).any():
                continue
            points = self._corners(spots, part, turn, low, high)
            if len(points):
                # The nearest to the start; of such, the one against an edge of the roll.
                inside = np.minimum(points[:, 1] - low[1], high[1] - points[:, 1])
                x, y = points[np.lexsort((inside, points[:, 0].round(3)))[0]]
                found.append((float(x) + x1, Spot(part, turn, float(x), float(y))))
        return found

    def _corners(
        self, spots: Sequence[Spot], part: Part, turn: float, low: FloatArray, high: FloatArray
    ) -> FloatArray:
        """(n, 2) float64: corners of where the piece's origin may lie; none if nowhere."""
        free = shapely.box(*low, *np.maximum(high, low + _LEAST_MM))
        regions = [
            affinity.translate(
                self._nofit.region(spot.part, spot.turn_deg, part, turn), spot.x_mm, spot.y_mm
            )
            for spot in spots
        ]
        return shapely.get_coordinates(shapely.difference(free, shapely.union_all(regions)))

    def _together(self, beds: Beds, *, was: Beds) -> list[Bed]:
        """The free pieces pushed towards the start of their section, and sections lined up.

        Sections that are as they were are as near together as they go.
        """
        moved = []
        for bed in beds:
            if any(bed.free is old.free for old in was):
                moved.append(bed)
                continue
            count = len(bed.held)
            closer = pushed_spots(
                bed.spots(),
                gap_mm=self.frame.gap_mm,
                still=range(count),
                from_mm=self.roll.end_margin_mm,
            )
            moved.append(replace(bed, free=tuple(closer[count:])))
        lined = self.roll.lined_up(moved)
        return list(beds) if lined is None else lined

    def _is_sound(self, beds: Beds) -> bool:
        for bed in beds:
            pack = Pack(tuple(bed.spots()), 0.0)
            if too_near(pack.patterns(), gap_mm=self.frame.gap_mm):
                return False
        return True

    def _value(self, beds: Beds) -> float:
        """Film, and a little for how near to the start pieces lie."""
        near = [(spot.part.area_mm2, self._centre(beds[i], spot)[0]) for i, _, spot in pieces(beds)]
        areas, centres = np.array(near).T
        return self._film(beds) + _NEARER * float(areas @ centres / areas.sum())

    def _film(self, beds: Beds) -> float:
        return self.roll.film_mm(beds)

    def _show(self) -> None:
        if self.watch is not None:
            self.watch(self.best)

    def _tell(self) -> None:
        done = (time.monotonic() - self._started) / self.seconds
        self.progress(self.describe(self._film(self.best)), min(1.0, done))


def _turns(part: Part) -> tuple[float, ...]:
    """The turns that are tried: all that are allowed, of any turn those nearest to the quarters."""
    if part.turns is not None and len(part.turns) <= len(QUARTER_TURNS_DEG):
        return part.turns
    nearest = [
        min(part.fitting, key=lambda turn: abs(turn_between(turn, quarter)))
        for quarter in QUARTER_TURNS_DEG
    ]
    return tuple(dict.fromkeys(nearest))
