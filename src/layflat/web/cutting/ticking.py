"""What the person at the plotter and at the lit table ticks: cut, spoiled, weeded, and taken back.

Each function works on a locked job within a transaction, and raises an InputError to refuse.
"""

import datetime
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import Final

from layflat.base import InputError
from layflat.web.cutting.additions import why_busy
from layflat.web.cutting.film import in_words
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.offcuts import reopen_with
from layflat.web.cutting.reserved import keep_planned, let_go, meant_for
from layflat.web.cutting.sharing import (
    lock_all,
    members_of,
    sections_of_job,
    shares_of,
    split,
    tell,
)
from layflat.web.cutting.standing import is_ticked
from layflat.web.cutting.step import end_when_all_weeded, is_all_weeded, reopen
from layflat.web.cutting.times import note_time
from layflat.web.jobs.models import Job
from layflat.web.offer.words import capital
from layflat.web.people.models import Person
from layflat.web.people.shop import shop_time, shown_length, the_shop
from layflat.web.record.models import write_event
from layflat.web.stock.amounts import film_length
from layflat.web.stock.booking import give_back, take
from layflat.web.stock.models import Movement
from layflat.web.stock.rolls import locked_roll

REASONS: Final = {
    "feed": "the feed wandered",
    "knife": "the knife lifted or tore",
    "dirt": "dirt under or on the film",
    "force": "the knife's force was wrong",
    "stop": "the machine stopped in the middle",
    "other": "",
}
"""Why a section is spoiled, by the name that a form sends; "other" needs words."""
_MOST_LOST: Final = 2.0
"""More than so many times a section is a slip of the pen."""
_MOST_MORE_MM: Final = 1000


def section_of(job: Job, key: int) -> Section:
    """A section of a locked job, all jobs that share it locked too.

    Raises:
        InputError: there is none.
    """
    found = (
        Section.objects.select_related("layout__roll", "layout__job", "cut_by")
        .filter(sections_of_job(job), pk=key)
        .first()
    )
    if found is None:
        raise InputError("There is no such section any more; look at the layout again.")
    lock_all(found.layout, job)
    return found


def cut_of(job: Job, key: int) -> Cut:
    """A piece of film of a section of a locked job, all jobs that share the section locked too.

    Raises:
        InputError: there is none.
    """
    rows = Cut.objects.select_related("section__layout__job", "piece", "weeded_by", "lost_by")
    found = rows.filter(pk=key).first()
    mine = Section.objects.filter(sections_of_job(job))
    if found is None or not mine.filter(pk=found.section_id).exists():
        raise InputError("There is no such piece of film any more; look at the layout again.")
    lock_all(found.section.layout, job)
    return found


def begin_cutting(section: Section, *, who: Person | None, at: datetime.datetime) -> str:
    """Say that the machine begins to cut a section, so that its time is known; again anew."""
    _require_open(section)
    section.begun_at = at
    section.save(update_fields=["begun_at"])
    sentence = f"{_called(section)} is being cut."
    _note("cutting.begun", sentence, section, who=who)
    return sentence


def tick_cut(section: Section, *, who: Person | None, at: datetime.datetime) -> str:
    """Say that a section is cut: its film leaves the roll. Answers what was done."""
    _require_open(section)
    note_time(section, since=section.begun_at, until=at)
    _book(section, section.film_mm, Movement.Kind.CUT, who=who)
    section.cuts.filter(state=Cut.State.PLACED).update(state=Cut.State.CUT)
    _end(section, Section.State.CUT, who=who, at=at)
    film = film_length(section.film_mm, the_shop())
    sentence = f"{_called(section)} is cut; {film} of {section.layout.roll} taken from stock."
    _note("cutting.cut", sentence, section, who=who)
    return sentence


def tick_spoiled(
    section: Section,
    *,
    reason: str,
    note: str,
    lost: Collection[int] | None,
    film_mm: int | None,
    good: float = 0.0,
    who: Person | None,
    at: datetime.datetime,
) -> str:
    """Say that a section is spoiled: film is lost, and pieces are to be laid out and cut again.

    Args:
        section: that is still to be cut.
        reason: a name in `REASONS`.
        note: more words; needed for "other".
        lost: keys of the pieces of film that are lost; None for all. None need be where the section
            holds none, since the job that wanted them left it.
        film_mm: that is lost, whole millimetres, 0 or more; None for the section's.
        good: from 0 to 1, the part of that film that whole pieces take with their share of waste:
            it is booked as cut, the rest as spoiled.
        who: says so.
        at: when.
    """
    _require_open(section)
    because = _because(reason, note)
    cuts = list(section.cuts.select_related("piece", "section"))
    gone = [cut for cut in cuts if lost is None or cut.pk in lost]
    if cuts and not gone:
        raise InputError(
            "Tick which pieces are lost. Where none is, the section is cut, not spoiled."
        )
    length_mm = section.film_mm if film_mm is None else film_mm
    shop = the_shop()
    most_mm = int(_MOST_LOST * section.film_mm) + _MOST_MORE_MM
    if not 0 <= length_mm <= most_mm:
        raise InputError(
            f"A spoiled section loses between 0 and {shown_length(most_mm, shop)} of film; look "
            "at the length again."
        )
    good_mm = round(length_mm * good)
    gone_mm = Counter(_book(section, good_mm, Movement.Kind.CUT, who=who, source=good_source_of))
    gone_mm.update(
        _book(section, length_mm - good_mm, Movement.Kind.SPOILED, who=who, reason=because)
    )
    for cut in cuts:
        if cut in gone:
            cut.state, cut.lost_because = Cut.State.LOST, because
            cut.lost_at, cut.lost_by = at, who
        else:
            cut.state = Cut.State.CUT
        cut.save(update_fields=["state", "lost_because", "lost_at", "lost_by"])
    section.spoiled_because = because
    _end(section, Section.State.SPOILED, who=who, at=at)
    # Of what it lost less, nothing stays reserved.
    roll = locked_roll(section.layout.roll_id)
    for job, share_mm in shares_of(section):
        let_go(roll, job, share_mm - gone_mm[job.pk], who=who)
    pieces = ", ".join(f"{cut.called} {cut.piece.title}" for cut in gone)
    sentence = (
        f"{_called(section)} is spoiled: {because}. {film_length(length_mm, shop)} of "
        f"{section.layout.roll} lost." + (f" To be laid out again: {pieces}." if pieces else "")
    )
    _note("cutting.spoiled", sentence, section, who=who)
    return sentence


def tick_weeded(cuts: Iterable[Cut], *, who: Person | None, at: datetime.datetime) -> str:
    """Say that the waste is off pieces of film."""
    done = []
    for cut in cuts:
        if cut.state == Cut.State.WEEDED:
            raise InputError(
                f"{capital(in_words(cut))} was weeded already{_by(cut.weeded_by, cut.weeded_at)}."
            )
        if cut.state != Cut.State.CUT:
            word = Cut.State(cut.state).label
            raise InputError(f"{capital(in_words(cut))} cannot be weeded: it is “{word}”.")
        cut.state, cut.weeded_at, cut.weeded_by = Cut.State.WEEDED, at, who
        cut.save(update_fields=["state", "weeded_at", "weeded_by"])
        done.append(cut)
    if not done:
        raise InputError("Nothing is left to be weeded here.")
    words = ", ".join(f"{cut.called} {cut.piece.title}" for cut in done)
    said = [f"Weeded: {words}."]
    layout = done[0].section.layout
    jobs = {one.letter: one.job for one in members_of(layout)} or {"": layout.job}
    for letter, job in jobs.items():
        if own := [cut for cut in done if cut.letter == letter]:
            _note_film("cutting.weeded", "Weeded", own, job, who=who)
            said.append(end_when_all_weeded(job, who=who, at=at))
    return " ".join(filter(None, said))


def take_back_weeded(cut: Cut, *, who: Person | None, at: datetime.datetime) -> str:
    """Say that a piece of film is not weeded after all."""
    if cut.state != Cut.State.WEEDED:
        word = Cut.State(cut.state).label
        raise InputError(f"{capital(in_words(cut))} is “{word}”; there is no tick to take back.")
    job = cut.job
    was_all = is_all_weeded(job)
    cut.state, cut.weeded_at, cut.weeded_by = Cut.State.CUT, None, None
    cut.save(update_fields=["state", "weeded_at", "weeded_by"])
    _note_film("cutting.taken-back", "Not weeded after all", [cut], job, who=who)
    if was_all:
        reopen(job, who=who, at=at)
    return f"{capital(in_words(cut))}, is not weeded after all."


def take_back_section(section: Section, *, who: Person | None, at: datetime.datetime) -> str:
    """Say that a section is not cut, or not spoiled, after all: its film is on the roll again.

    Refused once a piece of it was laid, or has been given up or laid out anew since, a job that
    shares it has left its layout, or an offcut is kept of its film.
    """
    if not is_ticked(section):
        raise InputError(f"{_called(section)} is not ticked; there is nothing to take back.")
    cuts = list(section.cuts.select_related("piece"))
    for cut in cuts:
        _require_untouched(cut, section)
    jobs = [job for job, _ in shares_of(section)]
    for one in members_of(section.layout):
        if one.left_because and one.job in jobs:
            raise InputError(
                f"Job {one.job.number}, which bears a part of it, has left this layout since; the "
                "tick stays."
            )
    reopen_with(section, who=who)
    were_all = [job for job in jobs if is_all_weeded(job)]
    for cut in cuts:
        cut.state, cut.lost_because, cut.lost_at, cut.lost_by = Cut.State.PLACED, "", None, None
        cut.weeded_at, cut.weeded_by = None, None
        cut.save()
    word = Section.State(section.state).label
    section.state = Section.State.OPEN
    section.cut_at, section.cut_by, section.spoiled_because = None, None, ""
    section.begun_at = section.took_s = None
    section.save(
        update_fields=["state", "cut_at", "cut_by", "spoiled_because", "begun_at", "took_s"]
    )
    # Its pieces count no more by now. A section that lost no film booked none.
    for source in (find(section, job) for job in jobs for find in (source_of, good_source_of)):
        if Movement.objects.filter(source=source).exists():
            give_back(source, reason="The tick was taken back.", who=who)
    layout = section.layout
    if layout.state == Layout.State.CUT:
        layout.state = Layout.State.KEPT
        layout.version += 1
        layout.save(update_fields=["state", "version"])
    # A section that was spoiled may have used less of what was reserved than it needs now.
    for job in jobs:
        keep_planned(locked_roll(layout.roll_id), job, who=who)
    sentence = f"{_called(section)} is not {word} after all; its film is on {layout.roll} again."
    _note("cutting.taken-back", sentence, section, who=who)
    for job in were_all:
        reopen(job, who=who, at=at)
    return sentence


def source_of(section: Section, job: Job) -> str:
    """What a section's takings are booked by: once, and again after they were given back."""
    return f"section {section.pk}{_of(section, job)}"


def good_source_of(section: Section, job: Job) -> str:
    """What the whole pieces' part of a spoiled section's film is booked by."""
    return f"{good_prefix_of(section)}{_of(section, job)}"


def good_prefix_of(section: Section) -> str:
    """What `good_source_of` begins with, whichever job it is."""
    return f"section {section.pk}, whole pieces"


def _of(section: Section, job: Job) -> str:
    return f", job {job.pk}" if section.layout.is_shared else ""


def _require_open(section: Section) -> None:
    if section.state == Section.State.LEFT:
        raise InputError(f"{_called(section)} is not to be cut any more: no job needs its pieces.")
    if section.state != Section.State.OPEN:
        word = Section.State(section.state).label
        by = _by(section.cut_by, section.cut_at)
        raise InputError(f"{_called(section)} was ticked as {word} already{by}.")
    if section.layout.state != Layout.State.KEPT:
        raise InputError(f"Layout {section.layout.number} is not used; there is nothing to cut.")
    if sentence := why_busy(section):
        raise InputError(sentence)


def _require_untouched(cut: Cut, section: Section) -> None:
    called = capital(in_words(cut))
    if cut.state == Cut.State.LAID:
        raise InputError(f"{called}, lies on the car; the tick stays.")
    if cut.state != Cut.State.LOST:
        return
    if section.state == Section.State.CUT or cut.lost_at != section.cut_at:
        raise InputError(f"{called}, has been given up since; the tick stays.")
    newer = cut.piece.cuts.exclude(state=Cut.State.LOST).select_related("section__layout").first()
    if newer is not None:
        layout = newer.section.layout
        raise InputError(
            f"{called}, has been laid out again in layout {layout.number}; drop that one first."
        )


def _book(
    section: Section,
    length_mm: int,
    kind: Movement.Kind,
    *,
    who: Person | None,
    reason: str = "",
    source: Callable[[Section, Job], str] = source_of,
) -> dict[int, int]:
    """Take film for each job of an open section by its share; answers how much, by their keys.

    What its jobs' other sections need stays reserved, if the roll has film besides.
    """
    roll, shares = locked_roll(section.layout.roll_id), shares_of(section)
    found = split(length_mm, {job.pk: share_mm for job, share_mm in shares})
    for job, share_mm in shares:
        if found[job.pk]:
            take(
                roll,
                found[job.pk],
                kind=kind,
                job=job,
                who=who,
                source=source(section, job),
                reason=reason or f"{_called(section)}.",
                most_reserved_mm=meant_for(roll, job, share_mm),
            )
    return found


def _end(
    section: Section, state: Section.State, *, who: Person | None, at: datetime.datetime
) -> None:
    section.state, section.cut_at, section.cut_by = state, at, who
    section.save(update_fields=["state", "cut_at", "cut_by", "spoiled_because"])
    end_layout(section.layout)


def end_layout(layout: Layout) -> None:
    """Say that a layout is cut, once nothing of it is to be cut any more."""
    if not layout.sections.filter(state=Section.State.OPEN).exists():
        layout.state = Layout.State.CUT
        layout.version += 1
        layout.save(update_fields=["state", "version"])


def _because(reason: str, note: str) -> str:
    note = " ".join(note.split())
    if reason not in REASONS:
        raise InputError("Choose why the section is spoiled.")
    if not REASONS[reason]:
        if not note:
            raise InputError("Say in a few words why the section is spoiled.")
        return note[:200]
    return (f"{REASONS[reason]}: {note}" if note else REASONS[reason])[:200]


def _note(kind: str, sentence: str, section: Section, *, who: Person | None) -> None:
    tell(kind, sentence, section.layout, who=who, after={"section": section.pk})


def _note_film(kind: str, done: str, cuts: Sequence[Cut], job: Job, *, who: Person | None) -> None:
    """Write what was done with pieces of film of one job and one section."""
    words = ", ".join(f"{cut.number} {cut.piece.title}" for cut in cuts)
    after = {"section": cuts[0].section_id, "cuts": [cut.pk for cut in cuts]}
    write_event(kind, f"{done}: {words}.", who=who, job=job, after=after)


def _called(section: Section) -> str:
    return f"Section {section.number} of layout {section.layout.number}"


def _by(who: Person | None, at: datetime.datetime | None) -> str:
    by = f" by {who.shown}" if who else ""
    return f"{by} at {shop_time(at, the_shop()):%H:%M}" if at else by
