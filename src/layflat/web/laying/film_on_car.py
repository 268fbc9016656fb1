"""A job's pieces with their film and what was done with it, read once for all tabs of the bay."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.film import laying_turn
from layflat.web.cutting.in_bay import film_in_bay
from layflat.web.cutting.models import Cut
from layflat.web.gates.standing import Standing, standing
from layflat.web.jobs.models import Job
from layflat.web.jobs.shared import read_once
from layflat.web.laying.done import layings_and_hands
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person


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
        hands: the keys of the people who did a laying, by its key.
    """

    outcome: Outcome
    pieces: tuple[Film, ...]
    layings: tuple[Laying, ...] = ()
    hands: Mapping[int, list[int]] = field(default_factory=dict)

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
            if person in self.hands.get(laying.pk, ()):
                found.setdefault(f"{laying.cut.piece.number} {laying.cut.piece.title}")
        return list(found)


def film_on_car(job: Job) -> FilmOnCar:
    """Read all film of a job; a query and those of `film_in_bay`.

    Raises:
        InputError: the customer has accepted nothing.
    """
    film = film_in_bay(job)
    cuts = {cut.piece_id: cut for cut in film.cuts if cut.state != Cut.State.LOST}
    layings, hands = layings_and_hands(job)
    by_cut: dict[int, list[Laying]] = {}
    for laying in layings:
        by_cut.setdefault(laying.cut_id, []).append(laying)
    films = []
    for piece in sorted(film.pieces, key=lambda piece: (laying_turn(piece), piece.number)):
        cut = cuts.get(piece.pk)
        done = by_cut.get(cut.pk, []) if cut else []
        films.append(Film(piece=piece, cut=cut, layings=tuple(done)))
    return FilmOnCar(outcome=film.outcome, pieces=tuple(films), layings=tuple(layings), hands=hands)


@dataclass(frozen=True, kw_only=True)
class InBay:
    """What several tabs of one page show of a job.

    Attributes:
        film: all of it.
        steps: how they stand.
        people: everybody, those who left too, by the names that others see.
    """

    film: FilmOnCar
    steps: tuple[Standing, ...]
    people: tuple[Person, ...]

    def others(self, who: Person) -> list[Person]:
        """Everybody who works here, but one."""
        return [person for person in self.people if person.is_active and person != who]

    def who_did(self, laying: Laying) -> list[Person]:
        """Everybody who did a laying, those who left too."""
        hands = self.film.hands.get(laying.pk, ())
        return [person for person in self.people if person.pk in hands]


def in_bay(job: Job) -> InBay:
    """What the tabs of one page show of a job.

    Read once for one *job* in memory, see `read_once`: tabs that are handed the same one share it.

    Raises:
        InputError: the customer has accepted nothing.
    """
    return read_once(job, _read)


def _read(job: Job) -> InBay:
    return InBay(
        film=film_on_car(job),
        steps=read_once(job, standing),
        people=tuple(Person.objects.order_by("shown", "pk")),
    )
