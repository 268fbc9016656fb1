"""Where sections that are still to be cut lie along their roll, and which faults lie under them.

Nobody knows in what order people will cut. Layouts are counted in the order in which somebody chose
to keep them, those of a plan as the plan lays them one behind the other; which of their programs
are made first changes nothing. A new layout is counted behind all of them. Where another order
would put a fault under a section, that is said too.

Places are counted by where sections end, exactly: what is booked of each layout is rounded up to
whole millimetres, and the sum of many would run ahead of the film.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Max, QuerySet

from layflat.nest import Stretch
from layflat.web.cover.order import END_MARGIN_MM
from layflat.web.cutting.models import Layout, Section, whole_mm
from layflat.web.people.models import Shop
from layflat.web.stock.amounts import film_length
from layflat.web.stock.faults import Place, places_of
from layflat.web.stock.models import Roll

LEAST_GAP_MM: Final = 2
"""Lengths are rounded up to whole millimetres; a gap before a section is more than that."""


@dataclass(frozen=True, kw_only=True)
class Lie:
    """A section as it lies on its roll, in mm from the cut end as it stands now.

    Attributes:
        number: of the section in its layout.
        start_mm, end_mm: what is cut; film that is passed by before it lies in front of that.
        hits: faults that lie under it.
    """

    number: int
    start_mm: float
    end_mm: float
    hits: tuple[Place, ...] = ()

    def shown(self, shop: Shop) -> str:
        """It with its faults: "section 2 (crease, 0.400 m to 0.450 m behind its start)"."""
        words = []
        for place in self.hits:
            start_mm = max(0.0, place.start_mm - self.start_mm)
            end_mm = min(self.end_mm, place.end_mm) - self.start_mm
            ends = f"{film_length(start_mm, shop)} to {film_length(end_mm, shop)}"
            words.append(f"{place.fault}, {ends} behind its start")
        return f"section {self.number} ({'; '.join(words)})"


@dataclass(frozen=True, kw_only=True)
class Queued:
    """A section that is to be cut, in its turn along a roll.

    Attributes:
        layout, number: whose it is, and which of it.
        is_made: whether its program is there; else its layout was chosen, and it is being made.
        film_mm: that it takes of the roll, in whole millimetres.
        before_mm: what all that is in front of it takes, in whole millimetres.
        lie: where it lies.
    """

    layout: Layout
    number: int
    is_made: bool
    film_mm: int
    before_mm: int
    lie: Lie


@dataclass(frozen=True, kw_only=True)
class Along:
    """How a layout lies on its roll now.

    Attributes:
        front_mm: film of others' sections that is counted in front of it.
        lies: its sections that are to be cut.
        hit: those of them with faults under them.
        hit_next: those with faults under them if it is cut before all others.
    """

    front_mm: int
    lies: tuple[Lie, ...]
    hit: tuple[Lie, ...]
    hit_next: tuple[Lie, ...]

    def says(self, shop: Shop) -> str:
        """What lies under its sections, in a sentence; "" where no fault does."""
        if not self.hit:
            return ""
        where = ", ".join(lie.shown(shop) for lie in self.hit)
        return f"A fault lies under {where}: lay these pieces out anew."

    def says_next(self, shop: Shop) -> str:
        """The same if it is cut before what is counted in front of it."""
        if not self.hit_next:
            return ""
        where = ", ".join(lie.shown(shop) for lie in self.hit_next)
        front = film_length(self.front_mm, shop)
        return (
            f"{front} for sections that were kept before are counted as cut first. If this layout "
            f"is cut before them, a fault lies under {where}."
        )


NOWHERE: Final = Along(front_mm=0, lies=(), hit=(), hit_next=())
"""Where nothing is to be said of faults."""


def sections_of(roll: Roll) -> QuerySet[Section]:
    """The sections of a roll's kept layouts, in the order in which they are counted as cut."""
    states = (Layout.State.KEPT, Layout.State.CUT)
    rows = Section.objects.filter(layout__roll=roll, layout__state__in=states)
    # The layouts themselves are large, once for each section.
    rows = rows.select_related("layout__job").defer("layout__so_far", "layout__found")
    return rows.order_by("layout__queue_place", "layout", "number")


def next_place(roll: Roll) -> int:
    """The place behind all that a roll's layouts have; call it on a locked roll."""
    last: int | None = Layout.objects.filter(roll=roll).aggregate(last=Max("queue_place"))["last"]
    return (last or 0) + 1


def queue_of(
    roll: Roll, places: Sequence[Place], *, sections: Iterable[Section] | None = None
) -> list[Queued]:
    """The sections that are still to be cut of a roll, in turn, with the faults under them.

    Those of layouts whose programs are still being made are among them. Two queries, one where
    *sections* are given.

    Args:
        roll: whose.
        places: of its faults.
        sections: from `sections_of`, where they are read already.
    """
    if sections is None:
        sections = sections_of(roll).filter(layout__state=Layout.State.KEPT)
    takes = sorted([*_made(sections), *_in_making(roll)], key=_turn)
    before_mm, end_mm, found = 0, 0.0, []
    for one in takes:
        end_mm += one.takes_mm
        found.append(
            Queued(
                layout=one.layout,
                number=one.number,
                is_made=one.is_made,
                film_mm=one.film_mm,
                before_mm=before_mm,
                lie=_with_hits(one.number, end_mm - one.length_mm, end_mm, places),
            )
        )
        before_mm += one.film_mm
    return found


def stretches(
    roll: Roll, *, length_mm: int, instead_of: Layout | None = None
) -> tuple[Stretch, ...]:
    """The faults of a roll as a new layout meets them that may use so much of it.

    It begins behind all sections that are to be cut, or where the layout begins that it stands for
    if that has its place; what lies before its beginning or behind its end is left out.
    """
    places = places_of(roll)
    front_mm = _end_mm(_in_front(queue_of(roll, ()), instead_of)) if places else 0.0
    found = []
    for place in places:
        start_mm = max(0.0, place.start_mm - front_mm)
        end_mm = min(float(length_mm), place.end_mm - front_mm)
        if start_mm < end_mm:
            found.append(Stretch(start_mm=start_mm, end_mm=end_mm, reason=str(place.fault)))
    return tuple(found)


def along(layout: Layout) -> Along:
    """How a layout that is to be cut, or was found and may be kept, lies on its roll now."""
    places = places_of(layout.roll)
    if not places:
        return NOWHERE
    queue = queue_of(layout.roll, ())
    front_mm = _end_mm(_in_front(queue, layout))
    if layout.state == Layout.State.KEPT:
        own = [
            (one.number, one.lie.start_mm - front_mm, one.lie.end_mm - front_mm)
            for one in queue
            if one.layout.pk == layout.pk
        ]
    else:
        own = [(number, start, end) for number, (start, end) in enumerate(_bounds(layout), start=1)]
    lies = [
        _with_hits(number, front_mm + start, front_mm + end, places) for number, start, end in own
    ]
    nearer = [_with_hits(number, start, end, places) for number, start, end in own]
    return Along(
        front_mm=math.ceil(front_mm),
        lies=tuple(lies),
        hit=tuple(lie for lie in lies if lie.hits),
        hit_next=tuple(lie for lie in nearer if lie.hits) if front_mm else (),
    )


def gap_mm(section: Section) -> int:
    """How much film is passed by before a section; 0 where it follows on the last."""
    gap = section.film_mm - (section.end_mm - section.start_mm)
    return round(gap) if gap >= LEAST_GAP_MM else 0


@dataclass(frozen=True, kw_only=True)
class _Take:
    """A section to be cut: its length, and what it takes with the film passed by before it."""

    layout: Layout
    number: int
    is_made: bool
    film_mm: int
    takes_mm: float
    length_mm: float


def _made(sections: Iterable[Section]) -> Iterator[_Take]:
    """Those of kept layouts that are still to be cut."""
    ends: dict[int, float] = {}
    for section in sections:
        before_mm = ends.get(section.layout_id, 0.0)
        ends[section.layout_id] = section.end_mm
        if section.state == Section.State.OPEN and section.layout.state == Layout.State.KEPT:
            yield _Take(
                layout=section.layout,
                number=section.number,
                is_made=True,
                film_mm=section.film_mm,
                takes_mm=section.end_mm - before_mm,
                length_mm=section.end_mm - section.start_mm,
            )


def _in_making(roll: Roll) -> Iterator[_Take]:
    """Those of layouts that have their place on a roll, and no programs yet."""
    rows = Layout.objects.filter(
        roll=roll, state=Layout.State.SEARCHING, queue_place__isnull=False
    ).select_related("job")
    for layout in rows:
        before_mm = 0.0
        for number, (start_mm, end_mm) in enumerate(_bounds(layout), start=1):
            yield _Take(
                layout=layout,
                number=number,
                is_made=False,
                film_mm=whole_mm(before_mm, end_mm),
                takes_mm=end_mm - before_mm,
                length_mm=end_mm - start_mm,
            )
            before_mm = end_mm


def _bounds(layout: Layout) -> Sequence[Any]:
    """Start and end of each section of what was found."""
    found: Sequence[Any] = (layout.found or layout.so_far or {}).get("sections", [])
    return found


def _turn(one: _Take) -> tuple[int, int, int]:
    return (*_place(one.layout), one.number)


def _place(layout: Layout) -> tuple[int, int]:
    return layout.queue_place or 0, layout.pk


def _in_front(queue: Sequence[Queued], layout: Layout | None) -> Sequence[Queued]:
    """What is counted as cut before a layout; all, where it has no place yet."""
    if layout is None or (layout.queue_place is None and layout.state != Layout.State.KEPT):
        return queue
    own = _place(layout)
    return [one for one in queue if _place(one.layout) < own]


def _end_mm(queue: Sequence[Queued]) -> float:
    return queue[-1].lie.end_mm if queue else 0.0


def _with_hits(number: int, start_mm: float, end_mm: float, places: Iterable[Place]) -> Lie:
    # No piece lies nearer to a section's ends than their margin.
    low, high = start_mm + END_MARGIN_MM, end_mm - END_MARGIN_MM
    hits = tuple(one for one in places if one.start_mm < high and one.end_mm > low)
    return Lie(number=number, start_mm=start_mm, end_mm=end_mm, hits=hits)
