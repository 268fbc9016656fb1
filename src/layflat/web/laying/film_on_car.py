"""A job's pieces with their film and what was done with it, read once for all tabs of the bay."""

from dataclasses import dataclass
from typing import Final

from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.film import good_cuts, laying_turn
from layflat.web.cutting.models import Cut
from layflat.web.gates.standing import Standing, standing
from layflat.web.jobs.models import Job
from layflat.web.laying.done import layings_of
from layflat.web.laying.models import Laying
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person

_KEPT: Final = "_in_bay"


@dataclass(frozen=True, kw_only=True)
class Film:
    """One piece of the accepted cover and its film.

    Attributes:
        piece: the row.
        cut: its film that is not lost, or None.
        layings: what was done with that film, in the order of doing.
    """

    piece: Piece
    cut: Cut | None = None
    layings: tuple[Laying, ...] = ()

    @property
    def in_hand(self) -> Laying | None:
        """What goes on with it now, or None."""
        return next((laying for laying in self.layings if laying.ended_at is None), None)

    @property
    def is_laid(self) -> bool:
        """Whether it lies on the car."""
        return self.cut is not None and self.cut.state == Cut.State.LAID


@dataclass(frozen=True, kw_only=True)
class FilmOnCar:
    """All film of a job.

    Attributes:
        outcome: what the customer accepted.
        pieces: in the order of laying.
        layings: all of the job, those of lost film too.
    """

    outcome: Outcome
    pieces: tuple[Film, ...]
    layings: tuple[Laying, ...] = ()

    @property
    def laid(self) -> int:
        """How many pieces lie on the car."""
        return sum(film.is_laid for film in self.pieces)

    @property
    def is_all_laid(self) -> bool:
        """Whether every piece lies on the car."""
        return self.laid == len(self.pieces)

    @property
    def order_is_known(self) -> bool:
        """Whether the computation gave an order of laying to each piece."""
        return all("lay" in film.piece.details for film in self.pieces)

    def titles_of(self, person: int) -> list[str]:
        """The pieces, lost ones too, that a person laid or mended, each once."""
        found: dict[str, None] = {}
        for laying in self.layings:
            if any(one.pk == person for one in laying.people.all()):
                found.setdefault(f"{laying.cut.piece.number} {laying.cut.piece.title}")
        return list(found)


def film_on_car(job: Job) -> FilmOnCar:
    """Read all film of a job; six queries.

    Raises:
        InputError: the customer has accepted nothing.
    """
    outcome = accepted_outcome(job)
    pieces = outcome.pieces.select_related("outcome__cover", "map", "flat")
    cuts = {cut.piece_id: cut for cut in good_cuts(job)}
    layings = tuple(layings_of(job))
    by_cut: dict[int, list[Laying]] = {}
    for laying in layings:
        by_cut.setdefault(laying.cut_id, []).append(laying)
    films = []
    for piece in sorted(pieces, key=lambda piece: (laying_turn(piece), piece.number)):
        cut = cuts.get(piece.pk)
        done = by_cut.get(cut.pk, []) if cut else []
        films.append(Film(piece=piece, cut=cut, layings=tuple(done)))
    if films:
        outcome = films[0].piece.outcome  # the same, with its cover
    return FilmOnCar(outcome=outcome, pieces=tuple(films), layings=layings)


@dataclass(frozen=True, kw_only=True)
class InBay:
    """What several tabs of one page show of a job.

    Attributes:
        film: all of it.
        steps: how they stand.
        staff: everybody who works here, by the names that others see.
    """

    film: FilmOnCar
    steps: tuple[Standing, ...]
    staff: tuple[Person, ...]

    def others(self, who: Person) -> list[Person]:
        """Everybody but one."""
        return [person for person in self.staff if person != who]


def in_bay(job: Job) -> InBay:
    """What the tabs of one page show of a job.

    Read once for one *job* in memory: tabs that are handed the same one share it. Whoever changes
    something reads the rows again.

    Raises:
        InputError: the customer has accepted nothing.
    """
    kept: InBay | None = getattr(job, _KEPT, None)
    if kept is None:
        staff = Person.objects.filter(is_active=True).order_by("shown", "pk")
        kept = InBay(film=film_on_car(job), steps=standing(job), staff=tuple(staff))
        setattr(job, _KEPT, kept)
    return kept
