"""The bay's tab “Film”: sections to be cut, pieces to be weeded."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from layflat.base import InputError
from layflat.cut import TimeRatio, time_ratio
from layflat.web.cutting.in_bay import film_in_bay
from layflat.web.cutting.models import Cut, Layout, Member, Section
from layflat.web.cutting.on_job import counted
from layflat.web.cutting.page import REASON_ROWS, SectionRow
from layflat.web.cutting.times import learned, section_words
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
        "cutting_layouts": [
            (layout, own) for layout, own in _layouts(_with_shared(film.cuts)) if _is_open(own)
        ],
        "cutting_reasons": REASON_ROWS,
    }


def _with_shared(film: Sequence[Cut]) -> list[Cut]:
    """The same, and other jobs' pieces in the same sections; two queries more where there are any.

    A section is cut, and spoiled, for all its jobs.
    """
    shared = {cut.section_id: cut.section for cut in film if cut.letter}
    if not shared:
        return list(film)
    others = Cut.objects.filter(section__in=list(shared)).exclude(pk__in=[cut.pk for cut in film])
    found = list(others.select_related("piece", "weeded_by"))
    for cut in found:
        cut.section = shared[cut.section_id]
    return [*film, *found]


def _layouts(film: Sequence[Cut]) -> list[tuple[Layout, list[SectionRow]]]:
    """Kept layouts with their sections, by their numbers; both hold film, or there were none."""
    ratio = learned() if film else time_ratio(())
    layouts: dict[int, Layout] = {}
    sections: dict[int, Section] = {}
    cuts: dict[int, list[Cut]] = {}
    for cut in film:
        section = sections.setdefault(cut.section_id, cut.section)
        layouts.setdefault(section.layout_id, section.layout)
        cuts.setdefault(section.pk, []).append(cut)
    whose = _whose(layouts.values())
    rows: dict[int, list[SectionRow]] = {}
    for section in sorted(sections.values(), key=lambda section: section.number):
        rows.setdefault(section.layout_id, []).append(
            _row(section, cuts[section.pk], ratio, whose.get(section.layout_id, {}))
        )
    kept = [one for one in layouts.values() if one.state in (Layout.State.KEPT, Layout.State.CUT)]
    return [(one, rows[one.pk]) for one in sorted(kept, key=lambda one: one.number)]


def _whose(layouts: Iterable[Layout]) -> dict[int, dict[str, str]]:
    shared = [one.pk for one in layouts if one.is_shared]
    found: dict[int, dict[str, str]] = {}
    rows = Member.objects.filter(layout__in=shared) if shared else Member.objects.none()
    for layout, letter, number in rows.values_list("layout", "letter", "job__number"):
        found.setdefault(layout, {})[letter] = number
    return found


def _row(
    section: Section, cuts: list[Cut], ratio: TimeRatio, whose: Mapping[str, str]
) -> SectionRow:
    return SectionRow(
        section=section,
        picture=None,
        cuts=sorted(cuts, key=lambda cut: cut.in_layout),
        time=section_words(section, ratio),
        unweeded=sum(cut.state == Cut.State.CUT for cut in cuts),
        whose=whose,
    )


def _is_open(rows: Iterable[SectionRow]) -> bool:
    """Whether something of a layout is still to be cut, weeded or laid."""
    done = (Cut.State.LAID, Cut.State.LOST)
    return any(row.is_open or any(cut.state not in done for cut in row.cuts) for row in rows)
