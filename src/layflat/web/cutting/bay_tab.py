"""The bay's tab “Film”: sections to be cut, pieces to be weeded."""

from collections.abc import Iterable
from typing import Any

from layflat.base import InputError
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.on_job import standing_of
from layflat.web.cutting.page import REASON_ROWS, SectionRow
from layflat.web.cutting.standing import minutes_words
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person


def read(job: Job, _who: Person | None) -> dict[str, Any]:
    """What `cutting/bay_tab.html` shows of a job; six queries."""
    try:
        film = standing_of(accepted_outcome(job))
    except InputError as error:
        return {"cutting_refused": str(error)}
    layouts = Layout.objects.filter(
        job=job, state__in=(Layout.State.KEPT, Layout.State.CUT)
    ).select_related("roll")
    sections = list(
        Section.objects.filter(layout__in=layouts).select_related("cut_by").order_by("number")
    )
    cuts: dict[int, list[Cut]] = {section.pk: [] for section in sections}
    for cut in Cut.objects.filter(section__in=sections).select_related("piece", "weeded_by"):
        cuts[cut.section_id].append(cut)
    rows: dict[int, list[SectionRow]] = {}
    for section in sections:
        rows.setdefault(section.layout_id, []).append(_row(section, cuts[section.pk]))
    shown = [(layout, rows.get(layout.pk, [])) for layout in layouts.defer("so_far", "found")]
    return {
        "cutting_film": film,
        "cutting_layouts": [(layout, own) for layout, own in shown if _is_open(own)],
        "cutting_reasons": REASON_ROWS,
    }


def _row(section: Section, cuts: list[Cut]) -> SectionRow:
    return SectionRow(
        section=section,
        picture=None,
        cuts=sorted(cuts, key=lambda cut: cut.number),
        time=minutes_words(section.seconds),
        unweeded=sum(cut.state == Cut.State.CUT for cut in cuts),
    )


def _is_open(rows: Iterable[SectionRow]) -> bool:
    """Whether something of a layout is still to be cut, weeded or laid."""
    done = (Cut.State.LAID, Cut.State.LOST)
    return any(row.is_open or any(cut.state not in done for cut in row.cuts) for row in rows)
