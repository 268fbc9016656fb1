"""What a job's page says of its offer: how it stands, and when one can be made."""

from typing import Any, Final

from django.db.models import QuerySet

from layflat.web.cover.models import Outcome
from layflat.web.cover.outcomes import take_over
from layflat.web.jobs.models import Job
from layflat.web.jobs.stages import Step
from layflat.web.offer.shown import job_offer
from layflat.web.people.shop import the_shop

MAKE: Final = Step("A cover is computed; make the offer from it.", "Make the offer", "offer:offer")


def read(job: Job) -> dict[str, Any]:
    """How the job's offer stands, for `offer/on_job.html`; one query and the shop's."""
    return {"offer": job_offer(job, the_shop())}


def next_step(job: Job) -> Step | None:
    """Making the offer, once one of the job's covers has been computed; two queries."""
    take_over(job)
    computed = computed_covers().filter(cover__job=job)
    return MAKE if computed.exists() else None


def computed_covers() -> QuerySet[Outcome]:
    """What was found for covers that are still offered."""
    return Outcome.objects.filter(cover__is_dropped=False)
