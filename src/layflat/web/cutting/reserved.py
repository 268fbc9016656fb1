"""How much of a roll a job's layouts may use, and what they keep of it for themselves."""

from collections import Counter
from collections.abc import Iterable

from django.db.models import Sum

from layflat.web.cutting.models import Layout, Section, Share
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.stock.booking import free_mm, release, reserve
from layflat.web.stock.models import Reservation, Roll
from layflat.web.stock.reserving import GIVEN_BACK


def available_mm(roll: Roll, job: Job) -> int:
    """What one more layout of *job* may use of *roll*.

    That is what is free, and what the job has reserved beyond the sections it is still to cut.
    """
    return available_for(roll, [job])


def available_for(roll: Roll, jobs: Iterable[Job]) -> int:
    """What one more layout that jobs share may use of *roll*, as `available_mm` for each."""
    return free_mm(roll) + sum(_spare_mm(roll, job) for job in jobs)


def keep_film(roll: Roll, job: Job, length_mm: int, *, who: Person | None) -> None:
    """Reserve film for a layout; what the job has reserved and not planned counts first.

    Raises:
        InputError: less is available.
    """
    more = length_mm - _spare_mm(roll, job)
    if more > 0:
        reserve(roll, job, more, who=who)


def let_go(roll: Roll, job: Job, length_mm: int, *, who: Person | None) -> None:
    """Give back what a layout does not need any more, never what other sections need."""
    length_mm = min(length_mm, _spare_mm(roll, job))
    if length_mm > 0:
        release(roll, job, how=GIVEN_BACK, who=who, length_mm=length_mm)


def keep_planned(roll: Roll, job: Job, *, who: Person | None, most_mm: int | None = None) -> None:
    """Reserve what sections that are still to be cut need beyond what is reserved.

    Raises:
        InputError: less is free, and no *most_mm* says how much of it will do.
    """
    lacks = _planned_mm(roll, job) - _reserved_mm(roll, job)
    more = lacks if most_mm is None else min(lacks, most_mm)
    if more > 0:
        reserve(roll, job, more, who=who)


def meant_for(roll: Roll, job: Job, share_mm: int) -> int:
    """What a job has reserved that its other sections do not need, nor others its open share."""
    return share_mm + _reserved_mm(roll, job) - _planned_mm(roll, job)


def _spare_mm(roll: Roll, job: Job) -> int:
    """What is reserved beyond what sections that are still to be cut take."""
    return max(0, _reserved_mm(roll, job) - _planned_mm(roll, job))


def _reserved_mm(roll: Roll, job: Job) -> int:
    standing = Reservation.objects.filter(roll=roll, job=job, ended_at__isnull=True)
    reserved: int = standing.aggregate(sum=Sum("length_mm"))["sum"] or 0
    return reserved


def _planned_mm(roll: Roll, job: Job) -> int:
    return planned_of(job).get(roll.pk, 0)


def planned_of(job: Job) -> Counter[int]:
    """What a job's sections that are still to be cut need, by roll; its shares of shared ones."""
    own = Section.objects.filter(
        layout__job=job,
        layout__state=Layout.State.KEPT,
        state=Section.State.OPEN,
        shares__isnull=True,
    )
    shared = Share.objects.filter(
        job=job, section__layout__state=Layout.State.KEPT, section__state=Section.State.OPEN
    )
    found: Counter[int] = Counter()
    for roll, film_mm in (
        *own.order_by().values_list("layout__roll").annotate(Sum("film_mm")),
        *shared.order_by().values_list("section__layout__roll").annotate(Sum("film_mm")),
    ):
        found[roll] += film_mm
    return found
