"""How much of a roll a job's layouts may use, and what they keep of it for themselves."""

from django.db.models import Sum

from layflat.web.cutting.models import Layout, Section
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.stock.booking import free_mm, release, reserve
from layflat.web.stock.models import Reservation, Roll
from layflat.web.stock.reserving import GIVEN_BACK


def available_mm(roll: Roll, job: Job) -> int:
    """What one more layout of *job* may use of *roll*.

    That is what is free, and what the job has reserved beyond the sections it is still to cut.
    """
    return free_mm(roll) + _spare_mm(roll, job)


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


def _spare_mm(roll: Roll, job: Job) -> int:
    """What is reserved beyond what sections that are still to be cut take."""
    return max(0, _reserved_mm(roll, job) - _planned_mm(roll, job))


def _reserved_mm(roll: Roll, job: Job) -> int:
    standing = Reservation.objects.filter(roll=roll, job=job, ended_at__isnull=True)
    reserved: int = standing.aggregate(sum=Sum("length_mm"))["sum"] or 0
    return reserved


def _planned_mm(roll: Roll, job: Job) -> int:
    sections = Section.objects.filter(
        layout__job=job,
        layout__roll=roll,
        layout__state=Layout.State.KEPT,
        state=Section.State.OPEN,
    )
    planned: int = sections.aggregate(sum=Sum("film_mm"))["sum"] or 0
    return planned
