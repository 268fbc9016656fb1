"""What the pages of film show: pieces that need film, rolls, layouts, a layout's sections."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Sum

from layflat.base import InputError
from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.drawn import Drawn, drawn, shapes_of
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.on_job import standing_of as film_standing
from layflat.web.cutting.pool import being_laid_out, without_film
from layflat.web.cutting.standing import (
    LayoutStanding,
    figures_of,
    is_ticked,
    minutes_words,
    standing_of,
)
from layflat.web.cutting.starting import SECONDS, why_not
from layflat.web.cutting.ticking import REASONS
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Shop
from layflat.web.stock.models import Roll
from layflat.web.stock.rolls import usable_rolls

REASON_ROWS = [(name, words or "something else") for name, words in REASONS.items()]


@dataclass(frozen=True, kw_only=True)
class Free:
    """A roll with what one more layout of the job may use of it, in whole millimetres.

    Attributes:
        is_first_choice: whether it is what a hurried person should get.
    """

    roll: Roll
    free_mm: int
    is_first_choice: bool = False


@dataclass(frozen=True, kw_only=True)
class Needed:
    """A piece that needs film.

    Attributes:
        lost: why its last film was lost, or "".
        is_searched: whether a search lays it out at the moment.
    """

    piece: Piece
    lost: str
    is_searched: bool


@dataclass(frozen=True, kw_only=True)
class LayoutRow:
    """A layout in the list.

    Attributes:
        sections, ticked, spoiled: how many it has, are ticked, and are ticked as spoiled.
        film_mm: that a kept one uses, whole millimetres, rounded up; None for another.
    """

    layout: Layout
    standing: LayoutStanding
    sections: int
    ticked: int
    spoiled: int
    film_mm: int | None


@dataclass(frozen=True, kw_only=True)
class SectionRow:
    """A section with all that its sheet shows.

    Attributes:
        picture: of the section alone; None where none is shown.
        cuts: its pieces of film, by number.
        time: that cutting it takes, in words.
        unweeded: how many of its pieces are cut and not weeded.
    """

    section: Section
    picture: Drawn | None
    cuts: list[Cut]
    time: str
    unweeded: int

    @property
    def is_open(self) -> bool:
        """Whether it is to be cut."""
        return not is_ticked(self.section)

    @property
    def lost(self) -> list[Cut]:
        """Pieces that were lost."""
        return [cut for cut in self.cuts if cut.state == Cut.State.LOST]


def film_context(job: Job, shop: Shop) -> dict[str, Any]:
    """What the page of a job's film shows."""
    layouts = layout_rows(job)
    context: dict[str, Any] = {
        "part": "job",
        "job": job,
        "shop": shop,
        "why_not": why_not(job),
        "layouts": layouts,
        "seconds": SECONDS,
        "rolls": None,
    }
    try:
        outcome = accepted_outcome(job)
    except InputError as error:
        return context | {"refused": str(error)}
    needed = needed_of(outcome, layouts)
    context["film"] = film_standing(outcome)
    context["needed"] = needed
    context["is_old"] = any(row.piece.pattern_id is None for row in needed)
    if any(not row.is_searched for row in needed) and not context["why_not"]:
        context["rolls"] = with_first_choice(
            free_rolls(job), width_mm=outcome.roll_width_mm, film_mm=outcome.film_mm
        )
    return context


def needed_of(outcome: Outcome, layouts: Sequence[LayoutRow]) -> list[Needed]:
    """The pieces of an accepted cover that need film, by number."""
    searched = {
        number
        for row in layouts
        if row.layout.state == Layout.State.SEARCHING
        for number in row.layout.pieces
    }
    pieces = without_film(outcome)
    rows = Cut.objects.filter(piece__in=pieces, state=Cut.State.LOST).order_by("attempt")
    lost = dict(rows.values_list("piece", "lost_because"))
    return [
        Needed(piece=piece, lost=lost.get(piece.pk, ""), is_searched=piece.number in searched)
        for piece in pieces
    ]


def free_rolls(job: Job) -> list[Free]:
    """Rolls of which a layout of *job* may use something, offcuts first."""
    planned = dict(
        Section.objects.filter(
            layout__job=job, layout__state=Layout.State.KEPT, state=Section.State.OPEN
        )
        .values("layout__roll")
        .annotate(sum=Sum("film_mm"))
        .values_list("layout__roll", "sum")
    )
    found = []
    for usable in usable_rolls(job=job):
        # Of what the job has reserved itself, its other sections need a part.
        spare_mm = max(0, usable.own_mm - planned.get(usable.roll.pk, 0))
        free_mm = usable.free_mm - usable.own_mm + spare_mm
        if free_mm > 0:
            found.append(Free(roll=usable.roll, free_mm=free_mm))
    return found


def with_first_choice(
    rolls: list[Free], *, width_mm: float, film_mm: float = 0.0, roll: Roll | None = None
) -> list[Free]:
    """The same, one chosen.

    It is *roll* itself; else the first as wide as was computed for, one of the film that most is
    there of before others, and of these one that holds all of it; else the widest.
    """
    if not rolls:
        return []
    same = [one for one in rolls if roll is not None and one.roll.pk == roll.pk]
    wide = [one for one in rolls if one.roll.width_mm >= width_mm]
    there_mm: Counter[str] = Counter()
    for one in rolls:
        there_mm[one.roll.film] += one.free_mm
    wide.sort(key=lambda one: (-there_mm[one.roll.film], one.free_mm < film_mm))
    first = (same or wide or [max(rolls, key=lambda one: one.roll.width_mm)])[0]
    return [replace(one, is_first_choice=one is first) for one in rolls]


def layout_rows(job: Job) -> list[LayoutRow]:
    """A job's layouts, the newest first."""
    layouts = list(
        job.layouts.select_related("roll", "computation")
        .defer("so_far", "checked", "computation__inputs", "computation__result")
        .order_by("-number")
    )
    counts: dict[int, list[Section]] = {}
    for section in Section.objects.filter(layout__job=job):
        counts.setdefault(section.layout_id, []).append(section)
    rows = []
    for layout in layouts:
        sections = counts.get(layout.pk, [])
        ticked = sum(is_ticked(section) for section in sections)
        spoiled = sum(section.state == Section.State.SPOILED for section in sections)
        rows.append(
            LayoutRow(
                layout=layout,
                standing=standing_of(layout, sections),
                sections=len(sections),
                ticked=ticked,
                spoiled=spoiled,
                film_mm=None if layout.used_mm is None else math.ceil(layout.used_mm),
            )
        )
    return rows


def layout_context(job: Job, layout: Layout, shop: Shop) -> dict[str, Any]:
    """What the page of one layout shows; *layout* from `the_layout`."""
    shapes = shapes_of(layout)
    data = layout.found or layout.so_far
    rows = section_rows(layout, shapes)
    ticked = [row for row in rows if not row.is_open]
    standing = standing_of(layout, [row.section for row in rows])
    lost = [cut for row in rows for cut in row.lost]
    needed = _needed_again(job, lost)
    return {
        "part": "job",
        "job": job,
        "shop": shop,
        "layout": layout,
        "title": f"Layout {layout.number}",
        "standing": standing,
        "figures": figures_of(data, shop),
        "picture": _picture(data, shapes, standing),
        "is_too_long": data is not None and _is_too_long(layout, data),
        "rows": rows,
        "time": minutes_words(sum(row.section.seconds for row in rows)),
        "to_cut": sum(row.is_open for row in rows),
        "may_drop": not ticked and standing.name not in ("cut", "spoiled", "dropped"),
        "reasons": REASON_ROWS,
        "needed": needed,
        "rolls": _rolls_again(job, layout) if needed and not why_not(job) else [],
        "default_s": SECONDS[0],
        "notes": layout.notes or (data or {}).get("notes", []),
    }


def _picture(data: Any, shapes: Any, standing: LayoutStanding) -> Drawn | None:
    if data is None:
        return None
    return drawn(data, shapes, with_bound=not standing.is_kept)


def _rolls_again(job: Job, layout: Layout) -> list[Free]:
    return with_first_choice(
        free_rolls(job), width_mm=float(layout.roll.width_mm), roll=layout.roll
    )


def _needed_again(job: Job, lost: list[Cut]) -> list[Cut]:
    """Those of *lost* whose pieces have no film now and that no search lays out."""
    if not lost:
        return []
    searched = being_laid_out(job)
    have = set(
        Cut.objects.filter(piece__in=[cut.piece_id for cut in lost])
        .exclude(state=Cut.State.LOST)
        .values_list("piece", flat=True)
    )
    return [cut for cut in lost if cut.piece_id not in have and cut.piece.number not in searched]


def _is_too_long(layout: Layout, data: dict[str, Any]) -> bool:
    """Whether what is found is longer than what was free when the search began."""
    free_mm = data["stock"]["length_mm"]
    return (
        layout.state == Layout.State.SEARCHING
        and free_mm is not None
        and data["length_mm"] > free_mm
    )


def section_rows(layout: Layout, shapes: Any) -> list[SectionRow]:
    """The sections of a kept layout with their pieces; two queries."""
    sections = list(layout.sections.select_related("cut_by"))
    if not sections or layout.found is None:
        return []
    cuts: dict[int, list[Cut]] = {section.pk: [] for section in sections}
    rows = Cut.objects.filter(section__in=sections).select_related("piece", "weeded_by")
    for cut in rows.order_by("number"):
        cuts[cut.section_id].append(cut)
    return [
        SectionRow(
            section=section,
            picture=drawn(layout.found, shapes, section=section.number - 1),
            cuts=cuts[section.pk],
            time=minutes_words(section.seconds),
            unweeded=sum(cut.state == Cut.State.CUT for cut in cuts[section.pk]),
        )
        for section in sections
    ]
