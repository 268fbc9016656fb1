"""A job whose pieces are not wanted any more leaves layouts that it shares with other jobs.

The others keep what was planned for them: the sections stay, with the pieces of the job that left
still in their programs, and bear the film of these from then on. A section that holds nothing else
is not to be cut any more, and its film is free.
"""

from collections.abc import Sequence

from django.db import transaction

from layflat.web.cutting.additions import was_begun
from layflat.web.cutting.keeping import drop
from layflat.web.cutting.models import Cut, Layout, Member, Section, called, number_in_layout
from layflat.web.cutting.reserved import keep_planned, let_go
from layflat.web.cutting.sharing import lock_all, members_of, split, tell
from layflat.web.cutting.ticking import end_layout
from layflat.web.jobs.models import Job
from layflat.web.record.models import write_event
from layflat.web.stock.booking import free_mm
from layflat.web.stock.rolls import locked_roll


def leave(layout: Layout, job: Job, *, because: str) -> str:
    """Have a job leave a layout that it shares; on a locked job, in a transaction.

    A layout whose programs are still being made is dropped for all its jobs, and one that no other
    job has pieces on, too.

    Args:
        layout: not dropped and not all cut.
        job: one of its jobs.
        because: why, within a sentence.

    Returns:
        What was done, in a sentence.

    Raises:
        InputError: no other job is left on it, and a section is cut.
    """
    lock_all(layout, job)
    members = {one.job_id: one for one in members_of(layout)}
    gone = members.pop(job.pk)
    others = [one for one in members.values() if not one.left_because]
    name = f"layout {layout.number} of job {layout.job.number}"
    if layout.state == Layout.State.SEARCHING or not others:
        with transaction.atomic():
            take_up(layout)
            drop(layout, who=None)
        return f"{name[:1].upper()}{name[1:]}, which jobs share, is dropped."
    gone.left_because = because[:200]
    gone.save(update_fields=["left_because"])
    freed_mm, ended = _hand_over(layout, gone)
    end_layout(layout)
    roll = locked_roll(layout.roll_id)
    let_go(roll, job, freed_mm, who=None)
    for one in others:
        keep_planned(roll, one.job, who=None, most_mm=free_mm(roll))
    pieces = ", ".join(called(number_in_layout(gone.letter, number)) for number in gone.pieces)
    after = {"layout": layout.pk, "left": job.pk}
    stays = (
        f"Job {job.number} has no use for its pieces {pieces} of layout {layout.number} any more: "
        f"{because}. Sections that are to be cut stay as they are, and their film is borne by the "
        "jobs that are left."
    ) + _ended_words(ended)
    tell("cutting.left", stays, layout, who=None, after=after)
    own = f"{name[:1].upper()}{name[1:]} goes on without pieces {pieces}.{_ended_words(ended)}"
    if job.pk != layout.job_id:
        write_event("cutting.left", own, who=None, job=job, after=after)
    return own


def take_up(layout: Layout) -> None:
    """Have a layout of which nothing is cut be dropped with what no job needed of it any more."""
    layout.sections.filter(state=Section.State.LEFT).update(state=Section.State.OPEN)


def _hand_over(layout: Layout, gone: Member) -> tuple[int, list[int]]:
    """Give the job's share of what is still to be cut to the others.

    Returns:
        How much film it was, and the numbers of sections that no job needs any more.
    """
    freed_mm, ended = 0, []
    for section in layout.sections.filter(state=Section.State.OPEN):
        section.cuts.filter(letter=gone.letter, state=Cut.State.PLACED).delete()
        shares = {one.job_id: one for one in section.shares.all()}
        own = shares.pop(gone.job_id, None)
        if own is None:
            continue
        if shares:
            more = split(own.film_mm, {key: one.film_mm for key, one in shares.items()})
            for key, one in shares.items():
                one.film_mm += more[key]
                one.save(update_fields=["film_mm"])
        elif was_begun(section):
            # How much film is gone, whoever cuts it says with a tick.
            continue
        else:
            # Film that was never cut was never there, and nothing remains of it.
            section.offcuts.all().delete()
            section.state = Section.State.LEFT
            section.save(update_fields=["state"])
            ended.append(section.number)
        own.delete()
        freed_mm += own.film_mm
    return freed_mm, ended


def _ended_words(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    name, verb = ("Section", "is") if len(numbers) == 1 else ("Sections", "are")
    listed = ", ".join(map(str, numbers))
    return f" {name} {listed} held nothing else and {verb} not to be cut any more."
