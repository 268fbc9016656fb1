"""Layouts around pieces that a person has pinned: which they are, and what is searched around."""

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from layflat.base import InputError, Progress
from layflat.nest.around import Around, Beds
from layflat.nest.beds import Bed, Roll
from layflat.nest.by_hand import HandJudgement, judge_hand
from layflat.nest.check import is_allowed
from layflat.nest.cut_order import in_laying_order
from layflat.nest.faults import Window
from layflat.nest.layout import Layout, Placement, Section, Stock
from layflat.nest.pack import Pack, Spot
from layflat.nest.parts import Frame, Part

_SAME_MM = 1e-9
_IDLE_MM = 1.0

Placed = tuple[tuple[Section, ...], tuple[Placement, ...]]


@dataclass(frozen=True, kw_only=True)
class Pinned:
    """Pieces that stay, and what surrounds them.

    Attributes:
        parts, frame, windows: as for every search.
        stock, gap_mm, max_section_mm: as asked.
        pinned: placements that stay; only pattern, mirrored, turn and place count.
    """

    parts: tuple[Part, ...]
    frame: Frame
    windows: Sequence[Window]
    stock: Stock
    gap_mm: float
    max_section_mm: float | None
    pinned: tuple[Placement, ...]

    def search(
        self,
        known: Sequence[Layout],
        *,
        seconds: float,
        seed: int,
        progress: Progress,
        describe: Callable[[float], str],
        keep_when_stopped: bool,
        watch: Callable[[Placed], None] | None,
    ) -> tuple[Placed, list[str]]:
        """The shortest layout found around what stays, and sentences about it.

        Args:
            known: layouts to begin from; those are passed over that do not hold all that stays
                where it stays, or that cannot be cut.
            seconds, seed, progress, describe, keep_when_stopped, watch: as for every search.

        Raises:
            InputError: what stays was not asked for like this, or cannot be cut.
            StoppedError: *progress* raised it.
        """
        spots, left = self._spots()
        given = [beds for layout in known if (beds := self._beds_of(layout, spots)) is not None]
        held = _without_free(given[0]) if given else self._held(spots)

        def placed(beds: Beds) -> Placed:
            # What was given keeps its order: a person may have wanted it so.
            return self._placed(self._in_laying_order(beds) if search.is_new else beds, spots)

        search = Around(
            frame=self.frame,
            roll=self._roll,
            seconds=seconds,
            seed=seed,
            progress=progress,
            describe=describe,
            keep_when_stopped=keep_when_stopped,
            watch=None if watch is None else lambda beds: watch(placed(beds)),
        )
        best = search.run(given, held, left)
        notes = []
        if search.was_stopped:
            notes.append("The search was stopped; this is the best layout until then.")
        if left and not search.is_new:
            notes.append(
                "The layout is the one that was given: the search around what is pinned found "
                f"none shorter in {seconds:g} s."
            )
        return placed(best), [*notes, *self._idle(best)]

    @property
    def _roll(self) -> Roll:
        ends = 2 * self.stock.end_margin_mm
        return Roll(
            longest_mm=self.frame.longest_mm,
            end_margin_mm=self.stock.end_margin_mm,
            spacing_mm=max(0.0, self.gap_mm - ends),
            windows=self.windows,
            boxes={},
        )

    def _spots(self) -> tuple[dict[Spot, Placement], list[Part]]:
        """What stays by its spots (x along the roll), and the other pieces one by one."""
        found: dict[Spot, Placement] = {}
        copies = [part.request.copies for part in self.parts]
        for placement in self.pinned:
            part = next((p for p in self.parts if copies[p.index] and _is_of(placement, p)), None)
            if part is None:
                raise InputError(
                    f"“{placement.pattern.name}” is pinned, but it was not asked for like this, "
                    f"turned by {placement.turn_deg:g}°, or not so often; unpin it."
                )
            copies[part.index] -= 1
            found[_spot(placement, part, self.stock)] = placement
        return found, [part for part in self.parts for _ in range(copies[part.index])]

    def _judged(
        self, placements: Sequence[Placement], sections: Sequence[Section]
    ) -> HandJudgement:
        layout = Layout(
            stock=self.stock,
            gap_mm=self.gap_mm,
            placements=tuple(placements),
            sections=tuple(sections),
            length_mm=0.0,
            piece_area_mm2=0.0,
            lower_bound_mm=0.0,
            seed=0,
            seconds=0.0,
        )
        return judge_hand(layout, max_section_mm=self.max_section_mm)

    def _held(self, spots: dict[Spot, Placement]) -> list[Bed]:
        """Sections with what stays alone, each beginning as early as it may."""
        judged = self._judged(self.pinned, ())
        if not judged.is_cuttable:
            raise InputError(f"What is pinned cannot stay. {judged.sentence}")
        beds: list[Bed] = []
        reached = 0.0
        for i, section in enumerate(judged.layout.sections):
            held = {_key(p) for p in judged.layout.placements if p.section == i}
            inside = tuple(spot for spot, placement in spots.items() if _key(placement) in held)
            window = max(w.start_mm for w in self.windows if w.start_mm <= section.start_mm)
            longest = self.max_section_mm if self.max_section_mm is not None else math.inf
            start = max(reached, window, section.end_mm - longest)
            beds.append(Bed(start_mm=start, held=inside))
            reached = section.end_mm + self._roll.spacing_mm
        return beds

    def _beds_of(self, layout: Layout, spots: dict[Spot, Placement]) -> list[Bed] | None:
        """A known layout, if it is of these pieces, holds what stays, and can be cut."""
        same = (layout.stock.width_mm, layout.stock.edge_margin_mm)
        if same != (self.stock.width_mm, self.stock.edge_margin_mm):
            return None
        judged = self._judged(layout.placements, layout.sections)
        if not judged.is_cuttable:
            return None
        staying = {_key(placement): spot for spot, placement in spots.items()}
        copies = [part.request.copies for part in self.parts]
        held: dict[int, list[Spot]] = {}
        free: dict[int, list[Spot]] = {}
        for placement in judged.layout.placements:
            pinned = staying.pop(_key(placement), None)
            part = (
                pinned.part
                if pinned is not None
                else next((p for p in self.parts if copies[p.index] and _is_of(placement, p)), None)
            )
            if part is None or not copies[part.index]:
                return None
            copies[part.index] -= 1
            start = judged.layout.sections[placement.section].start_mm
            if pinned is not None:
                held.setdefault(placement.section, []).append(pinned)
            else:
                spot = _spot(placement, part, self.stock)
                free.setdefault(placement.section, []).append(spot._replace(x_mm=spot.x_mm - start))
        if staying or any(copies):
            return None
        beds = [
            Bed(start_mm=section.start_mm, held=tuple(held.get(i, ())), free=tuple(free.get(i, ())))
            for i, section in enumerate(judged.layout.sections)
        ]
        return self._roll.lined_up(beds)

    def _in_laying_order(self, beds: Beds) -> Beds:
        """Sections between two that hold what stays, the first laid first; no longer than before.

        They change places within a stretch of sound film only.
        """
        found: list[Bed] = []
        for (is_held, _), run in groupby(beds, key=lambda bed: (bool(bed.held), self._window(bed))):
            group = list(run)
            if not is_held:
                packs = {Pack(bed.free, self._roll.length_mm(bed)): bed for bed in group}
                group = [packs[pack] for pack in in_laying_order(list(packs))]
            found += group
        return self._roll.lined_up(found) or beds

    def _window(self, bed: Bed) -> int:
        """The last stretch of sound film that begins no later than a section."""
        starts = [window.start_mm for window in self.windows]
        return bisect_right(starts, bed.start_mm + _SAME_MM)

    def _placed(self, beds: Beds, spots: dict[Spot, Placement]) -> Placed:
        """Sections and pieces, numbered along the roll; what stays exactly as it was given."""
        sections: list[Section] = []
        placements: list[Placement] = []
        copies = [0] * len(self.parts)
        roll = self._roll
        for index, bed in enumerate(beds):
            end = bed.start_mm + roll.length_mm(bed)
            sections.append(Section(start_mm=bed.start_mm, end_mm=end))
            moved = [s._replace(x_mm=s.x_mm + bed.start_mm) for s in bed.free]
            for spot in sorted([*bed.held, *moved], key=lambda spot: roll.box(spot)[:2]):
                part = spot.part
                copies[part.index] += 1
                given = spots.get(spot)
                placements.append(
                    Placement(
                        pattern=part.request.pattern,
                        number=len(placements) + 1,
                        copy=copies[part.index],
                        section=index,
                        turn_deg=spot.turn_deg,
                        x_mm=spot.x_mm,
                        y_mm=spot.y_mm + self.stock.edge_margin_mm if given is None else given.y_mm,
                        mirrored=part.request.mirrored,
                    )
                )
        return tuple(sections), tuple(placements)

    def _idle(self, beds: Beds) -> list[str]:
        """Film before sections that stay because of what is pinned in them."""
        notes = []
        reached = 0.0
        for i, bed in enumerate(beds, start=1):
            if bed.held and bed.start_mm - reached > _IDLE_MM + self._roll.spacing_mm:
                notes.append(
                    f"Section {i} begins where its pinned pieces hold it: "
                    f"{bed.start_mm - reached:.0f} mm of film before it are not used."
                )
            reached = bed.start_mm + self._roll.length_mm(bed)
        return notes


def _without_free(beds: Beds) -> list[Bed]:
    return [replace(bed, free=()) for bed in beds if bed.held]


def _is_of(placement: Placement, part: Part) -> bool:
    request = part.request
    return (
        request.pattern is placement.pattern
        and request.mirrored == placement.mirrored
        and is_allowed(placement.turn_deg, request.turns_deg)
    )


def _spot(placement: Placement, part: Part, stock: Stock) -> Spot:
    return Spot(part, placement.turn_deg, placement.x_mm, placement.y_mm - stock.edge_margin_mm)


def _key(placement: Placement) -> tuple[int, bool, float, float, float]:
    places = (round(v / _SAME_MM) * _SAME_MM for v in (placement.x_mm, placement.y_mm))
    x_mm, y_mm = places
    return id(placement.pattern), placement.mirrored, placement.turn_deg % 360.0, x_mm, y_mm
