"""What the customer accepted, for the parts that carry it out."""

from layflat.base import InputError
from layflat.web.cover.models import Outcome
from layflat.web.jobs.models import Job
from layflat.web.offer.models import Acceptance


def newest_acceptance(job: Job) -> Acceptance | None:
    """The customer's last yes, or None."""
    return Acceptance.objects.select_related("offer").filter(offer__job=job).order_by("-pk").first()


def accepted_outcome(job: Job) -> Outcome:
    """The computed cover that the customer accepted: whose pieces are cut and laid.

    Raises:
        InputError: nothing is accepted, or the accepted offer names no computed cover.
    """
    acceptance = newest_acceptance(job)
    if acceptance is None:
        raise InputError("The customer has accepted no offer yet; there is nothing to cut.")
    chosen = acceptance.offer.content["alternatives"][acceptance.alternative - 1]
    outcome = Outcome.objects.filter(pk=chosen["outcome"]).first()
    if outcome is None:
        raise InputError("The accepted offer names a cover that is not computed; compute it anew.")
    return outcome
