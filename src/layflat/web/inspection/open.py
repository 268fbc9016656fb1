"""Whether a job is checked: flags that are open, who may inspect, what is missing.

Public to the parts above: none of them writes flags, checks or rounds itself.
"""

from collections.abc import Iterable

from layflat.web.cutting.film import film_of
from layflat.web.cutting.models import Cut
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.jobs.models import Job
from layflat.web.laying.done import layings_of, why_not_all_laid
from layflat.web.laying.words import in_a_row
from layflat.web.people.models import Person


def flags_of(job: Job) -> list[Flag]:
    """All flags of a job by their numbers, with their pieces, people and pictures."""
    return list(
        job.flags.select_related(
            "cut__piece", "replaced_by", "photo", "thumb", "found_by", "mended_by", "ended_by"
        )
    )


def open_flags(job: Job) -> list[Flag]:
    """The flags that still hold the car: open, or mended and not seen by a second person."""
    return [flag for flag in flags_of(job) if flag.state != Flag.State.ENDED]


def checks_of(job: Job) -> dict[int, Check]:
    """The check that stands for each piece of film, by the film's key, with round and inspector.

    A check stands until the film is touched again; film that was lost has none.
    """
    found = (
        Check.objects.filter(round__job=job, stale_at__isnull=True, cut__state=Cut.State.LAID)
        .select_related("round__inspector")
        .order_by("pk")
    )
    return {check.cut_id: check for check in found}


def open_round(job: Job) -> Round | None:
    """The inspection that goes on, with its inspector, or None."""
    return job.rounds.select_related("inspector").filter(ended_at__isnull=True).first()


def last_round(job: Job) -> Round | None:
    """The newest inspection, whether it goes on or not, or None."""
    return job.rounds.select_related("inspector").last()


def may_inspect(job: Job, who: Person) -> str:
    """Why a person may not inspect a job, in a sentence; "" when nothing is against it.

    Whoever laid or mended anything of it overlooks the own faults; whether the pieces are ready for
    it is not asked here.
    """
    titles = [
        f"{laying.cut.piece.number} {laying.cut.piece.title}"
        for laying in layings_of(job)
        if who in laying.people.all()
    ]
    if not titles:
        return ""
    return (
        f"{who.shown} had {in_a_row(list(dict.fromkeys(titles)))} of this job in hand, and people "
        "overlook their own faults: somebody else inspects it."
    )


def is_checked(job: Job) -> str:
    """Why a job does not count as checked, in sentences; "" when it does.

    Every piece of the accepted cover is laid and was looked at since it was touched last, and no
    flag is open.
    """
    missing = [why_not_all_laid(job), _unchecked(job), still_open(open_flags(job))]
    return " ".join(sentence for sentence in missing if sentence)


def unchecked_cuts(job: Job) -> list[Cut]:
    """Film on the car that nobody looked at since it was touched last."""
    return list(
        film_of(job)
        .select_related("piece")
        .filter(state=Cut.State.LAID)
        .exclude(pk__in=list(checks_of(job)))
        .order_by("piece__number")
    )


def _unchecked(job: Job) -> str:
    left = unchecked_cuts(job)
    if not left:
        return ""
    named = in_a_row([f"{cut.piece.number} {cut.piece.title}" for cut in left])
    if len(left) == 1:
        return f"Piece {named} is not checked since it was last touched."
    return f"{len(left)} pieces are not checked since they were last touched: {named}."


def still_open(flags: Iterable[Flag]) -> str:
    """Which of some flags are not ended, in a sentence; "" for none."""
    left = [str(flag.number) for flag in flags if flag.state != Flag.State.ENDED]
    if not left:
        return ""
    if len(left) == 1:
        return f"Flag {left[0]} is not ended."
    return f"Flags {in_a_row(left)} are not ended."
