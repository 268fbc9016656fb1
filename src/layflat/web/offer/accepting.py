"""A customer's yes, once and for what was seen; and taking an open offer back.

Functions here are called on a locked job within a transaction.
"""

from django.utils import timezone

from layflat.base import CheckError, InputError
from layflat.web.cover.models import Outcome
from layflat.web.jobs.models import Job, Stage
from layflat.web.links.models import PrivateLink
from layflat.web.links.private import is_open
from layflat.web.offer.canonical import in_short
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.offer.standing import State, accepted_among, is_whole, versions_of
from layflat.web.people.models import Person, Shop
from layflat.web.record.models import write_event

_MOST_NAME = 80


def accept(
    job: Job,
    *,
    seen: str,
    alternative: int,
    name: str,
    shop: Shop,
    through: PrivateLink | None = None,
    heard_by: Person | None = None,
) -> Acceptance:
    """Write a customer's yes down; the same yes again changes nothing.

    Args:
        job: locked.
        seen: hash of the content that the customer saw.
        alternative: its place in the content, from 1.
        name: of the person who accepts.
        shop: whose day counts for validity.
        through: the private link, or None at the counter.
        heard_by: the person of the shop who heard it, or None.

    Raises:
        InputError: there is a newer version, the offer has ended, or something is missing.
        CheckError: the content in the database is no longer what its hash says.
    """
    versions = versions_of(job, shop)
    given = accepted_among(versions)
    if given is not None and given.acceptance is not None and given.offer.sha256 == seen:
        if given.acceptance.alternative == alternative and job.stage != Stage.OFFERED:
            return given.acceptance
        raise InputError("This version has been accepted already; see below what was.")
    if through is not None and not is_open(PrivateLink.objects.get(pk=through.pk)):
        # It opened the page, and was taken back or ran out since.
        raise InputError("This link has run out; nothing was accepted. Ask for a new one.")
    offer = _require_open(job, seen, shop)
    name = " ".join(name.split())[:_MOST_NAME]
    if not name:
        raise InputError("Type the name of the person who accepts.")
    items = offer.content["alternatives"]
    if not 1 <= alternative <= len(items):
        raise InputError("Choose one of the alternatives.")
    item = items[alternative - 1]
    acceptance = Acceptance.objects.create(
        offer=offer,
        alternative=alternative,
        outcome=Outcome.objects.filter(pk=item.get("outcome")).first(),
        name=name,
        sha256=seen,
        through=through,
        heard_by=heard_by,
    )
    how = f"as {heard_by.shown} heard" if heard_by else "through a private link"
    before = {"stage": job.stage, "version": job.version}
    job.stage = Stage.ACCEPTED
    job.version += 1
    job.save(update_fields=["stage", "version", "changed_at"])
    write_event(
        "offer.accepted",
        # Without the sum: installers read the history, and see no prices.
        f"{name} accepted “{item['title']}” of version {offer.version}, {how} "
        f"(hash {in_short(seen)}).",
        who=heard_by,
        by=f"{name} (customer)",
        job=job,
        before=before,
        after={"offer": offer.version, "sha256": seen, "stage": job.stage, "version": job.version},
    )
    return acceptance


def _require_open(job: Job, seen: str, shop: Shop) -> Offer:
    versions = versions_of(job, shop)
    if not versions:
        raise InputError("There is no offer yet.")
    newest = versions[0]
    if newest.offer.sha256 != seen:
        raise InputError(
            "The offer has been changed in the meantime; nothing was accepted. Please read version "
            f"{newest.offer.version} below, and accept that if it is right."
        )
    if newest.state is State.EXPIRED:
        raise InputError("The offer has run out; nothing was accepted. Ask for a new one.")
    if newest.state is not State.OPEN or job.stage != Stage.OFFERED:
        raise InputError("The offer was taken back; nothing was accepted. Ask for a new one.")
    if not is_whole(newest.offer):
        raise CheckError(
            "The offer is no longer as it was made, so it cannot be accepted; ask for a new one."
        )
    return newest.offer


def withdraw_open(job: Job) -> str:
    """Take the open offer back, without an event of its own.

    Returns:
        What was done in a sentence, or "" when no offer was open.
    """
    offer = job.offers.order_by("-version").first()
    if offer is None or offer.withdrawn_at is not None or hasattr(offer, "acceptance"):
        return ""
    offer.withdrawn_at = timezone.now()
    offer.save(update_fields=["withdrawn_at"])
    return f"Version {offer.version} of the offer was withdrawn."


def reopened(job: Job) -> str:
    """What stands on record when an accepted job is opened again, in a sentence."""
    offer = job.offers.filter(acceptance__isnull=False).order_by("-version").first()
    return f"What was accepted, version {offer.version}, stays on record." if offer else ""
