"""A job's pieces and all their film, read once for all tabs of the bay."""

from dataclasses import dataclass

from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.film import cuts_of
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job
from layflat.web.jobs.shared import read_once
from layflat.web.offer.accepted import accepted_pieces


@dataclass(frozen=True, kw_only=True)
class InBay:
    """What is cut of what the customer accepted.

    Attributes:
        outcome: that was accepted, with its cover.
        pieces: of it, by number, with their maps and flats.
        cuts: every piece of film of the job, lost ones too, in the order of laying.
    """

    outcome: Outcome
    pieces: tuple[Piece, ...]
    cuts: tuple[Cut, ...]


def film_in_bay(job: Job) -> InBay:
    """All pieces and film of a job; two queries for one *job* in memory, see `read_once`.

    Raises:
        InputError: the customer has accepted nothing.
    """
    return read_once(job, _read)


def _read(job: Job) -> InBay:
    outcome, pieces = accepted_pieces(job, "map", "flat")
    return InBay(outcome=outcome, pieces=tuple(pieces), cuts=tuple(cuts_of(job)))
