"""Layouts that several jobs share: whose pieces they hold, what each job bears, and who is told.

The rule: jobs bear the film of a section that they share by the area of their pieces in it, what is
spoiled of it and the time that cutting takes likewise. Whoever changes such a section holds the
locks of all its jobs.
"""

import math
import time
from collections.abc import Mapping
from typing import Any, Final

from django.db import OperationalError, transaction
from django.db.models import Q

from layflat.base import InputError
from layflat.web.cover.models import Piece
from layflat.web.cutting.film import laying_turn
from layflat.web.cutting.models import Layout, Member, Section, apart, number_in_layout
from layflat.web.cutting.patterns import pattern_file
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_TRIES: Final = 5
_WAIT_S: Final = 0.1


def sections_of_job(job: Job) -> Q:
    """Which sections hold pieces of a job, or belong to a layout of it."""
    return Q(layout__job=job) | Q(layout__members__job=job, layout__members__left_because="")


def members_of(layout: Layout, *related: str) -> list[Member]:
    """The jobs of a layout that jobs share, by letter; none, and no query, of another.

    Args:
        layout: whose.
        related: what is read of each beside its job and outcome.
    """
    if not layout.is_shared:
        return []
    return list(layout.members.select_related("job", "outcome", *related))


def jobs_of(layout: Layout) -> list[Job]:
    """The job of a layout, then the others whose pieces are cut for them; a query where shared."""
    others = [one.job for one in members_of(layout) if not one.left_because]
    return [layout.job, *(job for job in others if job.pk != layout.job_id)]


def pattern_files_of(layout: Layout) -> dict[str, str]:
    """Hashes of a layout's pattern files by the pieces' numbers within it, as a task is given them.

    Raises:
        InputError: a piece was computed before patterns were kept.
    """
    return {str(number): pattern_file(piece) for number, piece in pieces_of(layout).items()}


def pieces_of(layout: Layout) -> dict[int, Piece]:
    """A layout's pieces by their numbers within it, each with its pattern's file."""
    members = members_of(layout)
    if not members:
        rows = layout.outcome.pieces.filter(number__in=layout.pieces)
        return {piece.number: piece for piece in rows.select_related("pattern")}
    return {
        number_in_layout(one.letter, piece.number): piece
        for one in members
        for piece in one.outcome.pieces.filter(number__in=one.pieces).select_related("pattern")
    }


def usual_turns(layout: Layout) -> dict[str, int]:
    """Turns in cutting by the pieces' numbers within a layout, as a search is given them.

    The job with the first letter comes first, of each what is laid first.
    """
    return {
        str(number): number_in_layout(apart(number)[0], laying_turn(piece))
        for number, piece in pieces_of(layout).items()
    }


def shares_of(section: Section) -> list[tuple[Job, int]]:
    """Each job of a section with the film that it bears, in whole mm; a query where shared."""
    if not section.layout.is_shared:
        return [(section.layout.job, section.film_mm)]
    return [(one.job, one.film_mm) for one in section.shares.select_related("job")]


def split(total_mm: int, by: Mapping[int, float]) -> dict[int, int]:
    """Whole millimetres shared out in proportion; all parts together are the total.

    Args:
        total_mm: 0 or more.
        by: what each key counts, 0 or more; at least one.
    """
    whole = sum(by.values())
    exact = {
        key: total_mm * part / whole if whole else total_mm / len(by) for key, part in by.items()
    }
    found = {key: math.floor(part) for key, part in exact.items()}
    # Who lost most by rounding down gets the first of what is left.
    first = sorted(found, key=lambda key: (found[key] - exact[key], key))
    for key in first[: total_mm - sum(found.values())]:
        found[key] += 1
    return found


def lock_all(layout: Layout, held: Job) -> None:
    """Lock the other jobs of a layout; call it in a transaction that has locked *held*.

    Locks are waited for in one order only, so that two people never wait for each other.

    Raises:
        InputError: one of them is being changed just now.
    """
    for key in sorted(_keys(layout) - {held.pk}):
        if key > held.pk:
            Job.objects.select_for_update().get(pk=key)
        else:
            _lock_soon(key)


def lock_jobs(layout: Layout) -> None:
    """Lock the jobs of a layout; call it in a transaction that has locked no job yet."""
    list(Job.objects.select_for_update().filter(pk__in=_keys(layout)).order_by("pk"))


def _keys(layout: Layout) -> set[int]:
    return {one.job_id for one in members_of(layout)} | {layout.job_id}


def _lock_soon(key: int) -> None:
    for _ in range(_TRIES):
        try:
            with transaction.atomic():
                Job.objects.select_for_update(nowait=True).get(pk=key)
        except OperationalError:
            time.sleep(_WAIT_S)
        else:
            return
    number = Job.objects.values_list("number", flat=True).get(pk=key)
    raise InputError(
        f"Job {number}, which shares this film, is being changed just now; do it once more."
    )


def tell(
    kind: str,
    sentence: str,
    layout: Layout,
    *,
    who: Person | None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Write what happened to a layout into the history of each of its jobs."""
    for job in jobs_of(layout):
        is_own = job.pk == layout.job_id
        write_event(
            kind,
            sentence if is_own else f"On film shared with job {layout.job.number}: {sentence}",
            who=who,
            job=job,
            before=before,
            after=after,
        )
