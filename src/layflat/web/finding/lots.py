"""Which cars carry film from a lot, what is cut of it and not laid, and what is left in stock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Max, Prefetch

from layflat.web.cutting.models import Cut
from layflat.web.folding import bare
from layflat.web.handback.models import Passport
from layflat.web.jobs.models import Job
from layflat.web.laying.models import Laying
from layflat.web.stock.listing import with_all
from layflat.web.stock.models import Roll

_AT_HAND: Final = (Cut.State.CUT, Cut.State.WEEDED)


@dataclass(frozen=True, kw_only=True)
class OnCar:
    """A piece of film that lies on a car.

    Attributes:
        cut: with its piece and its roll.
        laid_at: when laying it ended first; None when nobody tapped it.
        laid_by: who laid it.
    """

    cut: Cut
    laid_at: datetime | None
    laid_by: tuple[str, ...]

    @property
    def roll(self) -> Roll:
        """That it was cut from."""
        return self.cut.section.layout.roll


@dataclass(frozen=True, kw_only=True)
class Car:
    """A job whose car carries film from the lot.

    Attributes:
        passport: the newest version of its passport, or None.
    """

    job: Job
    pieces: tuple[OnCar, ...]
    passport: int | None

    @property
    def laid_at(self) -> datetime | None:
        """When the last of the pieces was laid."""
        return max((piece.laid_at for piece in self.pieces if piece.laid_at), default=None)


@dataclass(frozen=True, kw_only=True)
class Recall:
    """All that came of a lot.

    Attributes:
        written: the ways in which the lot is written, the one that was asked for first.
        films: names of the films.
        rolls: every roll and offcut of it, also finished ones.
        cars: the last laid first.
        at_hand: cut, and neither laid nor lost.
    """

    written: tuple[str, ...]
    films: tuple[str, ...]
    rolls: tuple[Roll, ...]
    cars: tuple[Car, ...]
    at_hand: tuple[Cut, ...]

    @property
    def left_mm(self) -> int:
        """What is left of it in stock."""
        return sum(roll.left_mm for roll in self.rolls)

    @property
    def piece_count(self) -> int:
        """How many pieces lie on cars."""
        return sum(len(car.pieces) for car in self.cars)


def recall(lot: str) -> Recall | None:
    """What came of a lot, in five queries whatever there is of it; None when there is no such lot.

    Lots that differ in capitals, spaces, hyphens and dots only are one: a car that is found
    without need is looked at once too often, one that is not found drives on.
    """
    rolls = list(with_all(Roll.objects.filter(lot_bare=bare(lot)).order_by("number")))
    if not rolls:
        return None
    layings = Laying.objects.prefetch_related("people").order_by("id")
    cuts = list(
        Cut.objects.filter(section__layout__roll__in=[roll.pk for roll in rolls])
        .filter(state__in=[Cut.State.LAID, *_AT_HAND])
        .select_related(
            "piece",
            "section__layout__roll",
            "section__layout__job__vehicle__customer",
            "section__layout__job__vehicle__body__body",
        )
        .prefetch_related(Prefetch("layings", layings))
        .order_by("section__layout__job", "section__layout__number", "number")
    )
    laid = [cut for cut in cuts if cut.state == Cut.State.LAID]
    written = sorted({roll.lot for roll in rolls}, key=lambda words: (words != lot, words))
    return Recall(
        written=tuple(written),
        films=tuple(sorted({roll.film for roll in rolls})),
        rolls=tuple(rolls),
        cars=_cars(laid),
        at_hand=tuple(cut for cut in cuts if cut.state in _AT_HAND),
    )


def _cars(laid: Sequence[Cut]) -> tuple[Car, ...]:
    by_job: dict[Job, list[Cut]] = {}
    for cut in laid:
        by_job.setdefault(cut.section.layout.job, []).append(cut)
    passports = _passports(by_job)
    cars = [
        Car(
            job=job,
            pieces=tuple(_on_car(cut) for cut in cuts),
            passport=passports.get(job.pk),
        )
        for job, cuts in by_job.items()
    ]
    cars.sort(key=lambda car: (car.laid_at is not None, car.laid_at, car.job.pk), reverse=True)
    return tuple(cars)


def _on_car(cut: Cut) -> OnCar:
    layings = list(cut.layings.all())
    names = {person.shown: None for laying in layings for person in laying.people.all()}
    ended = [laying.ended_at for laying in layings if laying.ended_at is not None]
    return OnCar(cut=cut, laid_at=min(ended, default=None), laid_by=tuple(names))


def _passports(jobs: Iterable[Job]) -> dict[int, int]:
    rows = Passport.objects.filter(job__in=[job.pk for job in jobs]).values("job")
    return dict(rows.order_by().annotate(newest=Max("version")).values_list("job", "newest"))
