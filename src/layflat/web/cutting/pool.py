"""Which pieces of a job still need film."""

from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.models import Cut, Layout
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome


def to_lay_out(job: Job) -> list[Piece]:
    """The pieces of the accepted cover that have no film that is not lost, by their numbers.

    Those that a search is laying out at the moment are among them; see `being_laid_out`.

    Raises:
        InputError: the customer has accepted nothing.
    """
    return without_film(accepted_outcome(job))


def without_film(outcome: Outcome) -> list[Piece]:
    """The pieces of an accepted cover that have no film that is not lost, by their numbers."""
    good = Cut.objects.filter(piece__outcome=outcome).exclude(state=Cut.State.LOST)
    return list(outcome.pieces.exclude(pk__in=good.values("piece")))


def being_laid_out(job: Job) -> set[int]:
    """Numbers of the pieces that searches of this job are laying out."""
    searching = Layout.objects.filter(job=job, state=Layout.State.SEARCHING)
    return {number for numbers in searching.values_list("pieces", flat=True) for number in numbers}
