"""What the customer accepted, for the parts that carry it out."""

from django.db.models import QuerySet

from layflat.base import InputError
from layflat.web.cover.models import Outcome, Piece
from layflat.web.jobs.models import Job
from layflat.web.offer.models import Acceptance


def newest_acceptance(job: Job) -> Acceptance | None:
    """The customer's last yes, or None."""
    return _acceptances(job).select_related("offer").first()


def accepted_outcome(job: Job) -> Outcome:
    """The computed cover that the customer accepted: whose pieces are cut and laid; one query.

    Raises:
        InputError: nothing is accepted, or the accepted offer names no computed cover.
    """
    acceptance = _acceptances(job).select_related("offer", "outcome__cover").first()
    if acceptance is None:
        raise InputError("The customer has accepted no offer yet; there is nothing to cut.")
    outcome = acceptance.outcome
    if outcome is None:  # the row is older than its outcome's column
        chosen = acceptance.offer.content["alternatives"][acceptance.alternative - 1]
        outcome = Outcome.objects.select_related("cover").filter(pk=chosen["outcome"]).first()
    if outcome is None:
        raise InputError("The accepted offer names a cover that is not computed; compute it anew.")
    return outcome


def accepted_pieces(job: Job, *related: str) -> tuple[Outcome, list[Piece]]:
    """What `accepted_outcome` finds, and its pieces by their numbers; one query where it has any.

    Args:
        job: whose customer accepted it.
        related: rows to read along with each piece, such as "map".

    Raises:
        InputError: as `accepted_outcome`.
    """
    asked = Piece.objects.select_related("outcome__cover", *related)
    pieces = list(asked.filter(outcome=_acceptances(job).values("outcome")[:1]))
    if pieces:
        return pieces[0].outcome, pieces
    outcome = accepted_outcome(job)
    return outcome, list(asked.filter(outcome=outcome))


def _acceptances(job: Job) -> QuerySet[Acceptance]:
    return Acceptance.objects.filter(offer__job=job).order_by("-pk")
