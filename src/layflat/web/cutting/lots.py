"""The lot that a job's film is of: film that shows its direction differs from lot to lot."""

from collections import Counter

from django.db.models import Q

from layflat.web.cutting.film import film_of
from layflat.web.cutting.models import Cut, Layout, Member
from layflat.web.cutting.turns import turns_for
from layflat.web.jobs.models import Job


def lot_of_job(job: Job, film: str) -> str | None:
    """The lot that most of a job's pieces of a film are of; None where it has none. Three queries.

    Those that are to be cut and those that a search lays out count, those that are lost do not.

    Args:
        job: whose.
        film: its name, as the stock has it.
    """
    here = film_of(job).filter(section__layout__roll__film=film).exclude(state=Cut.State.LOST)
    found = Counter(here.order_by().values_list("section__layout__roll__lot", flat=True))
    searching = Layout.State.SEARCHING
    own = Layout.objects.filter(
        Q(members__isnull=True), job=job, state=searching, roll__film=film
    ).values_list("roll__lot", "pieces")
    shared = Member.objects.filter(
        job=job, layout__state=searching, layout__roll__film=film
    ).values_list("layout__roll__lot", "pieces")
    for rows in (own, shared):
        for lot, pieces in rows.order_by():
            found[lot] += len(pieces)
    return min(found, key=lambda lot: (-found[lot], lot), default=None)


def lot_for(job: Job, film: str) -> str | None:
    """The lot that more pieces of a job come from on a film whose kind nobody says; None for any.

    Where the job's pieces may be turned, the film is clear, and lots may be mixed.
    """
    return lot_of_job(job, film) if len(turns_for(job, film)) == 1 else None
