"""Where sections that are still to be cut lie along their roll, and which faults lie under them.

Nobody knows in what order people will cut. Sections are counted in the order in which their layouts
were kept: that is the order of what is reserved. A new layout is counted behind all of them. Where
another order would put a fault under a section, that is said too.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import QuerySet

from layflat.nest import Stretch
from layflat.web.cover.order import END_MARGIN_MM
from layflat.web.cutting.models import Layout, Section
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
    """An open section in its turn along a roll."""

    section: Section
    lie: Lie
    before_mm: int


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
    """The sections of a roll's kept layouts, in the order in which they were kept."""
    states = (Layout.State.KEPT, Layout.State.CUT)
    rows = Section.objects.filter(layout__roll=roll, layout__state__in=states)
    # The layouts themselves are large, once for each section.
    rows = rows.select_related("layout__job").defer("layout__so_far", "layout__found")
    return rows.order_by("pk")


def queue_of(
    roll: Roll, places: Sequence[Place], *, sections: Iterable[Section] | None = None
) -> list[Queued]:
    """The sections that are still to be cut of a roll, in turn, with the faults under them.

    Args:
        roll: whose.
        places: of its faults.
        sections: from `sections_of`, where they are read already.
    """
    rows = sections_of(roll).filter(state=Section.State.OPEN) if sections is None else sections
    at_mm, found = 0, []
    for section in rows:
        if section.state != Section.State.OPEN or section.layout.state != Layout.State.KEPT:
            continue
        lie = _lie(section, at_mm, places)
        found.append(Queued(section=section, lie=lie, before_mm=at_mm))
        at_mm += section.film_mm
    return found


def stretches(
    roll: Roll, *, length_mm: int, instead_of: Layout | None = None
) -> tuple[Stretch, ...]:
    """The faults of a roll as a new layout meets them that may use so much of it.

    It begins behind all sections that are to be cut, but for those of the layout that it stands
    for; what lies before its beginning or behind its end is left out.
    """
    places = places_of(roll)
    queue = queue_of(roll, ()) if places else []
    own = None if instead_of is None else instead_of.pk
    front_mm = sum(one.section.film_mm for one in queue if one.section.layout_id != own)
    found = []
    for place in places:
        start_mm, end_mm = max(0, place.start_mm - front_mm), place.end_mm - front_mm
        end_mm = min(length_mm, end_mm)
        if start_mm < end_mm:
            found.append(
                Stretch(start_mm=float(start_mm), end_mm=float(end_mm), reason=str(place.fault))
            )
    return tuple(found)


def along(layout: Layout) -> Along:
    """How a layout that is to be cut, or was found and may be kept, lies on its roll now."""
    places = places_of(layout.roll)
    if not places:
        return NOWHERE
    queue = queue_of(layout.roll, places)
    if layout.state == Layout.State.KEPT:
        own = [one for one in queue if one.section.layout_id == layout.pk]
        others = [one for one in queue if one.section.layout_id != layout.pk]
        front_mm = sum(
            one.section.film_mm for one in others if own and one.before_mm < own[0].before_mm
        )
        lies, at_mm, nearer = tuple(one.lie for one in own), 0, []
        for one in own:
            nearer.append(_lie(one.section, at_mm, places))
            at_mm += one.section.film_mm
    else:
        front_mm = sum(one.section.film_mm for one in queue)
        bounds = (layout.found or layout.so_far or {}).get("sections", [])
        lies = tuple(_found(bounds, front_mm, places))
        nearer = list(_found(bounds, 0, places))
    return Along(
        front_mm=front_mm,
        lies=lies,
        hit=tuple(lie for lie in lies if lie.hits),
        hit_next=tuple(lie for lie in nearer if lie.hits) if front_mm else (),
    )


def gap_mm(section: Section) -> int:
    """How much film is passed by before a section; 0 where it follows on the last."""
    gap = section.film_mm - (section.end_mm - section.start_mm)
    return round(gap) if gap >= LEAST_GAP_MM else 0


def _lie(section: Section, at_mm: int, places: Iterable[Place]) -> Lie:
    end_mm = float(at_mm + section.film_mm)
    start_mm = end_mm - (section.end_mm - section.start_mm)
    return _with_hits(section.number, start_mm, end_mm, places)


def _found(bounds: Sequence[Any], front_mm: int, places: Iterable[Place]) -> Iterable[Lie]:
    for number, (start_mm, end_mm) in enumerate(bounds, start=1):
        yield _with_hits(number, front_mm + start_mm, front_mm + end_mm, places)


def _with_hits(number: int, start_mm: float, end_mm: float, places: Iterable[Place]) -> Lie:
    # No piece lies nearer to a section's ends than their margin.
    low, high = start_mm + END_MARGIN_MM, end_mm - END_MARGIN_MM
    hits = tuple(one for one in places if one.start_mm < high and one.end_mm > low)
    return Lie(number=number, start_mm=start_mm, end_mm=end_mm, hits=hits)
