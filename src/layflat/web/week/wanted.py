"""The jobs whose pieces need film, with their days of the calendar."""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field

from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut
from layflat.web.cutting.pool import being_laid_out_of
from layflat.web.cutting.starting import OPEN_AT
from layflat.web.diary.models import Booking
from layflat.web.jobs.models import Job
from layflat.web.offer.models import Acceptance
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time

MOST_LOOKED_AT = 200
"""More jobs with an accepted cover at once are no workshop of three."""
_WORKS = ("cut", "lay")


@dataclass(kw_only=True)
class Wanted:
    """A job with pieces that need film.

    Attributes:
        job: with its vehicle and customer.
        pieces: that need film and that no search lays out, by number.
        cut_on, laid_on: the day that the calendar has for cutting and for laying, or None.
    """

    job: Job
    pieces: list[Piece] = field(default_factory=list)
    cut_on: datetime.date | None = None
    laid_on: datetime.date | None = None

    @property
    def day(self) -> datetime.date | None:
        """When its film is needed."""
        days = [day for day in (self.cut_on, self.laid_on) if day is not None]
        return min(days, default=None)

    @property
    def is_old(self) -> bool:
        """Whether its cover was computed before patterns were kept."""
        return any(piece.pattern_id is None for piece in self.pieces)

    @property
    def area_m2(self) -> float:
        """Of its pieces."""
        return sum(piece.area_mm2 for piece in self.pieces) / 1e6


def wanted_jobs(shop: Shop, jobs: Iterable[int] | None = None) -> list[Wanted]:
    """Open jobs with an accepted cover and pieces that need film; those needed first come first.

    Seven queries, however many jobs there are.

    Args:
        shop: whose clock counts.
        jobs: keys of the jobs that are looked at; None for all.
    """
    rows = Job.objects.filter(stage__in=OPEN_AT).select_related(
        "vehicle__customer", "vehicle__body__body"
    )
    if jobs is not None:
        rows = rows.filter(pk__in=list(jobs))
    found = {job.pk: Wanted(job=job) for job in rows.order_by("-pk")[:MOST_LOOKED_AT]}
    outcomes = _accepted(found)
    searched = being_laid_out_of(found)
    good = Cut.objects.filter(piece__outcome__in=outcomes).exclude(state=Cut.State.LOST)
    pieces = Piece.objects.filter(outcome__in=outcomes).exclude(pk__in=good.values("piece"))
    for piece in pieces.select_related("pattern").order_by("number"):
        job = outcomes[piece.outcome_id]
        if piece.number not in searched.get(job, set()):
            found[job].pieces.append(piece)
    _read_days(found, shop)
    last = datetime.date.max
    return sorted(
        (one for one in found.values() if one.pieces),
        key=lambda one: (one.day or last, one.job.number),
    )


def _accepted(jobs: Iterable[int]) -> dict[int, int]:
    """The job of each newest accepted outcome."""
    rows = Acceptance.objects.filter(offer__job__in=list(jobs)).order_by("pk")
    newest = dict(rows.values_list("offer__job", "outcome"))
    return {outcome: job for job, outcome in newest.items() if outcome is not None}


def _read_days(found: dict[int, Wanted], shop: Shop) -> None:
    rows = Booking.objects.filter(job__in=list(found), work__in=_WORKS, is_withdrawn=False)
    for job, work, starts_at in rows.order_by("-starts_at").values_list("job", "work", "starts_at"):
        day = shop_time(starts_at, shop).date()
        if work == "cut":
            found[job].cut_on = day
        else:
            found[job].laid_on = day
