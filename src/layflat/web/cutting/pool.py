"""Which pieces of a job still need film."""

from collections.abc import Collection

from layflat.web.cover.models import Outcome, Piece
from layflat.web.cutting.models import Cut, Layout, Member
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
    """Numbers of the pieces that searches of this job are laying out, or layouts it shares."""
    return being_laid_out_of([job.pk]).get(job.pk, set())


def being_laid_out_of(jobs: Collection[int]) -> dict[int, set[int]]:
    """The same of several jobs, by their keys; two queries."""
    searching = Layout.State.SEARCHING
    own = Layout.objects.filter(job__in=jobs, state=searching, members__isnull=True)
    shared = Member.objects.filter(job__in=jobs, layout__state=searching)
    found: dict[int, set[int]] = {}
    for rows in (own, shared):
        for job, numbers in rows.order_by().values_list("job", "pieces"):
            found.setdefault(job, set()).update(numbers)
    return found
