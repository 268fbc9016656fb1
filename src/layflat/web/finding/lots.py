"""Which cars carry film from a lot, what is cut of it and not laid, and what is left in stock."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Max, Prefetch

from layflat.web.cutting.models import Cut
from layflat.web.folding import bare
from layflat.web.handback.models import Passport
from layflat.web.jobs.models import Job
from layflat.web.laying.models import Laying
from layflat.web.laying.words import by_alphabet
from layflat.web.stock.listing import with_all
from layflat.web.stock.models import Roll

_AT_HAND: Final = (Cut.State.CUT, Cut.State.WEEDED)


@dataclass(frozen=True, kw_only=True)
class OnCar:
    """A piece of film that lies on a car.

    Attributes:
        cut: with its piece.
        roll: that it was cut from.
        laid_at: when laying it ended first; None when nobody tapped it.
        laid_by: who laid it.
    """

    cut: Cut
    roll: Roll
    laid_at: datetime | None
    laid_by: tuple[str, ...]


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
class AtHand:
    """A piece of film that is cut, and neither laid nor lost."""

    cut: Cut
    roll: Roll
    job: Job


@dataclass(frozen=True, kw_only=True)
class Recall:
    """All that came of a lot.

    Attributes:
        written: the ways in which the lot is written, the one that was asked for first.
        films: names of the films.
        rolls: every roll and offcut of it, also finished ones.
        cars: the last laid first.
        at_hand: the pieces that wait to be laid.
    """

    written: tuple[str, ...]
    films: tuple[str, ...]
    rolls: tuple[Roll, ...]
    cars: tuple[Car, ...]
    at_hand: tuple[AtHand, ...]

    @property
    def left_mm(self) -> int:
        """What is left of it in stock."""
        return sum(roll.left_mm for roll in self.rolls)

    @property
    def piece_count(self) -> int:
        """How many pieces lie on cars."""
        return sum(len(car.pieces) for car in self.cars)


def recall(lot: str) -> Recall | None:
    """What came of a lot, in eight queries whatever there is of it; None when there is no such lot.

    Lots that differ in capitals, spaces, hyphens and dots only are one: a car that is found
    without need is looked at once too often, one that is not found drives on.
    """
    rolls = list(with_all(Roll.objects.filter(lot_bare=bare(lot)).order_by("number")))
    if not rolls:
        return None
    by_key = {roll.pk: roll for roll in rolls}
    cuts = _cuts(by_key)
    written = sorted({roll.lot for roll in rolls}, key=lambda words: (words != lot, words))
    jobs = _jobs({_job(cut) for cut in cuts})
    return Recall(
        written=tuple(written),
        films=tuple(sorted({roll.film for roll in rolls})),
        rolls=tuple(rolls),
        cars=_cars([cut for cut in cuts if cut.state == Cut.State.LAID], by_key, jobs),
        at_hand=tuple(
            AtHand(
                cut=cut,
                roll=by_key[cut.section.layout.roll_id],
                job=jobs[_job(cut)],
            )
            for cut in cuts
            if cut.state in _AT_HAND
        ),
    )


def _cuts(rolls: Collection[int]) -> list[Cut]:
    """Cuts of rolls that are laid or wait to be, without the drawings of layouts and pieces."""
    layings = Laying.objects.only("cut", "ended_at").prefetch_related("people").order_by("id")
    return list(
        Cut.objects.filter(section__layout__roll__in=rolls)
        .filter(state__in=[Cut.State.LAID, *_AT_HAND])
        .select_related("piece__outcome__cover", "section__layout")
        .only(
            "number",
            "state",
            "piece__title",
            "piece__outcome__cover__job",
            "section__layout__roll",
        )
        .prefetch_related(Prefetch("layings", layings))
        .order_by("piece__outcome__cover__job", "section__layout__number", "number")
    )


def _job(cut: Cut) -> int:
    """Whose piece it is; the layout that it was cut from may be another job's."""
    return cut.piece.outcome.cover.job_id


def _jobs(keys: Iterable[int]) -> dict[int, Job]:
    rows = Job.objects.select_related("vehicle__customer", "vehicle__body__body")
    return rows.in_bulk(list(keys))


def _cars(
    laid: Sequence[Cut], rolls: Mapping[int, Roll], jobs: Mapping[int, Job]
) -> tuple[Car, ...]:
    by_job: dict[int, list[Cut]] = {}
    for cut in laid:
        by_job.setdefault(_job(cut), []).append(cut)
    passports = _passports(by_job)
    cars = [
        Car(
            job=jobs[job],
            pieces=tuple(_on_car(cut, rolls[cut.section.layout.roll_id]) for cut in cuts),
            passport=passports.get(job),
        )
        for job, cuts in by_job.items()
    ]
    cars.sort(key=lambda car: (car.laid_at is not None, car.laid_at, car.job.pk), reverse=True)
    return tuple(cars)


def _on_car(cut: Cut, roll: Roll) -> OnCar:
    layings = list(cut.layings.all())
    names = {person.shown: None for laying in layings for person in laying.people.all()}
    ended = [laying.ended_at for laying in layings if laying.ended_at is not None]
    return OnCar(
        cut=cut, roll=roll, laid_at=min(ended, default=None), laid_by=tuple(by_alphabet(names))
    )


def _passports(jobs: Iterable[int]) -> dict[int, int]:
    rows = Passport.objects.filter(job__in=list(jobs)).values("job")
    return dict(rows.order_by().annotate(newest=Max("version")).values_list("job", "newest"))
