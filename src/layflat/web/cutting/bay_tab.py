"""The bay's tab “Film”: sections to be cut, pieces to be weeded."""

from collections.abc import Iterable
from typing import Any

from layflat.base import InputError
from layflat.web.cutting.in_bay import film_in_bay
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.on_job import counted
from layflat.web.cutting.page import REASON_ROWS, SectionRow
from layflat.web.cutting.standing import minutes_words
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person


def read(job: Job, _who: Person | None) -> dict[str, Any]:
    """What `cutting/bay_tab.html` shows of a job; what `film_in_bay` reads."""
    try:
        film = film_in_bay(job)
    except InputError as error:
        return {"cutting_refused": str(error)}
    wanted = {piece.pk for piece in film.pieces}
    states = [cut.state for cut in film.cuts if cut.piece_id in wanted]
    return {
        "cutting_film": counted(len(wanted), states),
        "cutting_layouts": [(layout, own) for layout, own in _layouts(film.cuts) if _is_open(own)],
        "cutting_reasons": REASON_ROWS,
    }


def _layouts(film: Iterable[Cut]) -> list[tuple[Layout, list[SectionRow]]]:
    """Kept layouts with their sections, by their numbers; both hold film, or there were none."""
    layouts: dict[int, Layout] = {}
    sections: dict[int, Section] = {}
    cuts: dict[int, list[Cut]] = {}
    for cut in film:
        section = sections.setdefault(cut.section_id, cut.section)
        layouts.setdefault(section.layout_id, section.layout)
        cuts.setdefault(section.pk, []).append(cut)
    rows: dict[int, list[SectionRow]] = {}
    for section in sorted(sections.values(), key=lambda section: section.number):
        rows.setdefault(section.layout_id, []).append(_row(section, cuts[section.pk]))
    kept = [one for one in layouts.values() if one.state in (Layout.State.KEPT, Layout.State.CUT)]
    return [(one, rows[one.pk]) for one in sorted(kept, key=lambda one: one.number)]


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
