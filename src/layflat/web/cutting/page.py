"""What the pages of film show: pieces that need film, rolls, layouts, a layout's sections."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from layflat.base import InputError
from layflat.cut import TimeRatio, time_ratio
from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.additions import added_to
from layflat.web.cutting.along import NOWHERE, Along, Lie, along, gap_mm
from layflat.web.cutting.by_hand import why_not_by_hand
from layflat.web.cutting.choosing import Free, free_rolls, suited_first, with_first_choice
from layflat.web.cutting.drawn import Drawn, drawn, shapes_of
from layflat.web.cutting.models import Cut, Layout, Member, Offcut, Section
from layflat.web.cutting.on_job import standing_of as film_standing
from layflat.web.cutting.pool import being_laid_out, without_film
from layflat.web.cutting.shared_rows import members_rows
from layflat.web.cutting.sharing import members_of
from layflat.web.cutting.standing import (
    LayoutStanding,
    figures_of,
    is_ticked,
    standing_of,
)
from layflat.web.cutting.starting import SECONDS, why_not
from layflat.web.cutting.ticking import REASONS
from layflat.web.cutting.times import learned, section_words, source_words, time_words
from layflat.web.cutting.worth import Worth, worth_of
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Shop
from layflat.web.people.shop import the_shop
from layflat.web.stock.models import Roll

_MAY_BE_CUT = (Layout.State.SEARCHING, Layout.State.KEPT)
_KEPT = (Layout.State.KEPT, Layout.State.CUT)
REASON_ROWS = [(name, words or "something else") for name, words in REASONS.items()]


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
        sections, ticked, spoiled: how many it has that a job needs, how many are ticked, and how
            many are ticked as spoiled.
        film_mm: that a kept one uses, whole millimetres, rounded up; None for another.
        pieces: numbers of the job's own pieces on it.
        shared: numbers of its jobs where several share it, by their letters.
    """

    layout: Layout
    standing: LayoutStanding
    sections: int
    ticked: int
    spoiled: int
    film_mm: int | None
    pieces: Sequence[int]
    shared: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class OffcutRow:
    """What may be kept of a cut section.

    Attributes:
        worth: what is known of its worth; None once it is settled.
    """

    offcut: Offcut
    worth: Worth | None


@dataclass(frozen=True, kw_only=True)
class SectionRow:
    """A section with all that its sheet shows.

    Attributes:
        picture: of the section alone; None where none is shown.
        cuts: its pieces of film, by number.
        time: that cutting it took or will take, in words.
        unweeded: how many of its pieces are cut and not weeded.
        added: templates of other parts, and what each shows of it.
        lie: where it lies on the roll now; None where it is cut, or the roll has no fault.
        gap_mm: film that is passed by before it, whole millimetres.
        offcuts: what of it may be kept, once it is cut.
        whose: numbers of its jobs by their letters, where several share it.
    """

    section: Section
    picture: Drawn | None
    cuts: list[Cut]
    time: str
    unweeded: int
    added: Sequence[tuple[str, Any]] = ()
    lie: Lie | None = None
    gap_mm: int = 0
    offcuts: Sequence[OffcutRow] = ()
    whose: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        """Whether it is to be cut."""
        return self.section.state == Section.State.OPEN

    @property
    def is_left(self) -> bool:
        """Whether no job needs it any more."""
        return self.section.state == Section.State.LEFT

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
        rolls = with_first_choice(
            free_rolls(job), width_mm=outcome.roll_width_mm, film_mm=outcome.film_mm
        )
        pieces = [row.piece for row in needed if not row.is_searched]
        context["rolls"] = rolls = suited_first(rolls, pieces, job=job)
        # An offcut that takes all of them is chosen already.
        context["some"] = [one for one in rolls if one.takes and not one.is_first_choice]
    return context


def needed_of(outcome: Outcome, layouts: Sequence[LayoutRow]) -> list[Needed]:
    """The pieces of an accepted cover that need film, by number."""
    searched = {
        number
        for row in layouts
        if row.layout.state == Layout.State.SEARCHING
        for number in row.pieces
    }
    pieces = without_film(outcome)
    rows = Cut.objects.filter(piece__in=pieces, state=Cut.State.LOST).order_by("attempt")
    lost = dict(rows.values_list("piece", "lost_because"))
    return [
        Needed(piece=piece, lost=lost.get(piece.pk, ""), is_searched=piece.number in searched)
        for piece in pieces
    ]


def layout_rows(job: Job) -> list[LayoutRow]:
    """A job's layouts, those of other jobs that it shares too, the newest first."""
    guest = Member.objects.filter(job=job).values("layout")
    layouts = list(
        Layout.objects.filter(Q(job=job) | Q(pk__in=guest))
        .select_related("roll", "computation", "job")
        .defer("so_far", "checked", "computation__inputs", "computation__result")
        .order_by("-pk")
    )
    counts: dict[int, list[Section]] = {}
    for section in Section.objects.filter(layout__in=[one.pk for one in layouts]):
        counts.setdefault(section.layout_id, []).append(section)
    members = _members_of(layouts)
    rows = []
    for layout in layouts:
        sections = counts.get(layout.pk, [])
        ticked = sum(is_ticked(section) for section in sections)
        spoiled = sum(section.state == Section.State.SPOILED for section in sections)
        rows.append(
            LayoutRow(
                layout=layout,
                standing=standing_of(layout, sections),
                sections=sum(one.state != Section.State.LEFT for one in sections),
                ticked=ticked,
                spoiled=spoiled,
                film_mm=None if layout.used_mm is None else math.ceil(layout.used_mm),
                pieces=next(
                    (one.pieces for one in members.get(layout.pk, ()) if one.job_id == job.pk),
                    layout.pieces,
                ),
                shared=[one.job.number for one in members.get(layout.pk, ())],
            )
        )
    return rows


def _members_of(layouts: Sequence[Layout]) -> dict[int, list[Member]]:
    """The jobs of layouts that jobs share, by the layouts' keys; a query where there are any."""
    shared = [one.pk for one in layouts if one.is_shared]
    rows = Member.objects.filter(layout__in=shared) if shared else Member.objects.none()
    found: dict[int, list[Member]] = {}
    for one in rows.select_related("job"):
        found.setdefault(one.layout_id, []).append(one)
    return found


def layout_context(job: Job, layout: Layout, shop: Shop) -> dict[str, Any]:
    """What the page of one layout shows; *layout* from `the_layout`."""
    shapes = shapes_of(layout)
    data = layout.found or layout.so_far
    lies = along(layout) if layout.state in _MAY_BE_CUT else NOWHERE
    ratio = learned() if layout.state in _KEPT else time_ratio(())
    members = members_of(layout)
    rows = section_rows(layout, shapes, members, lies=lies, ratio=ratio)
    ticked = [row for row in rows if is_ticked(row.section)]
    standing = standing_of(layout, [row.section for row in rows])
    own = {one.letter for one in members if one.job_id == job.pk} or {""}
    lost = [cut for row in rows for cut in row.lost]
    needed = _needed_again(job, [cut for cut in lost if cut.letter in own])
    has_offcuts = any(row.offcuts for row in rows)
    return {
        "part": "job",
        "job": job,
        "shop": shop,
        "layout": layout,
        "title": f"Layout {layout.number}",
        "standing": standing,
        "figures": figures_of(data, shop),
        "picture": _picture(data, shapes, standing),
        "along": lies,
        "members": members_rows(members, [row.section for row in rows]),
        "left": [one for one in members if one.left_because],
        "lost_by": [
            one.job
            for one in members
            if one.job_id != job.pk and any(cut.letter == one.letter for cut in lost)
        ],
        "offcut_place": _offcut_place() if has_offcuts else "",
        "is_too_long": data is not None and _is_too_long(layout, data),
        "rows": rows,
        "time": time_words(sum(row.section.seconds for row in rows if not row.is_left), ratio),
        "time_source": source_words(ratio),
        "to_cut": sum(row.is_open for row in rows),
        "may_drop": not ticked and standing.name not in ("cut", "spoiled", "dropped"),
        "may_arrange": not why_not_by_hand(layout, [row.section for row in rows]),
        "reasons": REASON_ROWS,
        "needed": needed,
        "rolls": _rolls_again(job, layout, needed) if needed and not why_not(job) else [],
        "default_s": SECONDS[0],
        "notes": layout.notes or (data or {}).get("notes", []),
    }


def _picture(data: Any, shapes: Any, standing: LayoutStanding) -> Drawn | None:
    if data is None:
        return None
    return drawn(data, shapes, with_bound=not standing.is_kept)


def _offcut_place() -> str:
    """Where the offcut lies that was kept last: the next one probably goes there too."""
    rows = Roll.objects.filter(cut_from__isnull=False, is_finished=False).exclude(place="")
    return rows.order_by("-pk").values_list("place", flat=True).first() or ""


def _rolls_again(job: Job, layout: Layout, needed: list[Cut]) -> list[Free]:
    rolls = with_first_choice(
        free_rolls(job), width_mm=float(layout.roll.width_mm), roll=layout.roll
    )
    return suited_first(rolls, [cut.piece for cut in needed], job=job, lot=layout.roll.lot)


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


def section_rows(
    layout: Layout,
    shapes: Any,
    members: Sequence[Member] = (),
    *,
    lies: Along = NOWHERE,
    ratio: TimeRatio,
) -> list[SectionRow]:
    """The sections of a kept layout with their pieces; two queries, and those of other parts."""
    by_number = {lie.number: lie for lie in lies.lies}
    offcuts = _offcut_rows(layout)
    sections = list(layout.sections.select_related("cut_by"))
    if not sections or layout.found is None:
        return []
    cuts: dict[int, list[Cut]] = {section.pk: [] for section in sections}
    rows = Cut.objects.filter(section__in=sections).select_related("piece", "weeded_by")
    for cut in rows.order_by("letter", "number"):
        cuts[cut.section_id].append(cut)
    added = added_to(sections)
    return [
        SectionRow(
            section=section,
            picture=drawn(
                layout.found,
                shapes,
                section=section.number - 1,
                faults=_hits(by_number.get(section.number), section),
                offcuts=[
                    (
                        one.offcut.start_mm,
                        one.offcut.low_mm,
                        one.offcut.length_mm,
                        one.offcut.width_mm,
                    )
                    for one in offcuts.get(section.pk, ())
                ],
            ),
            cuts=cuts[section.pk],
            time=section_words(section, ratio),
            unweeded=sum(cut.state == Cut.State.CUT for cut in cuts[section.pk]),
            added=added[section.pk],
            lie=by_number.get(section.number),
            gap_mm=gap_mm(section),
            offcuts=offcuts.get(section.pk, ()),
            whose={one.letter: one.job.number for one in members},
        )
        for section in sections
    ]


def _offcut_rows(layout: Layout) -> dict[int, list[OffcutRow]]:
    """What cut sections leave, by the sections' keys; one query, and more for what is open."""
    rows = Offcut.objects.filter(section__layout=layout, section__state=Section.State.CUT)
    offcuts = list(rows.select_related("roll", "settled_by"))
    is_open = [one for one in offcuts if one.state == Offcut.State.OPEN]
    worth = worth_of(is_open, layout.roll, layout.job, the_shop()) if is_open else {}
    found: dict[int, list[OffcutRow]] = {}
    for one in offcuts:
        row = OffcutRow(offcut=one, worth=worth.get(one.pk))
        found.setdefault(one.section_id, []).append(row)
    return found


def _hits(lie: Lie | None, section: Section) -> list[tuple[float, float]]:
    """Faults under a section, along its layout."""
    if lie is None:
        return []
    to_layout = section.start_mm - lie.start_mm
    return [(place.start_mm + to_layout, place.end_mm + to_layout) for place in lie.hits]
