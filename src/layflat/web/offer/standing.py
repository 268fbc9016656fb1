"""How an offer stands: open, accepted, expired, withdrawn or superseded."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from django.utils import timezone

from layflat.web.jobs.models import Job, Stage
from layflat.web.offer.canonical import sha256_of
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time


class State(StrEnum):
    """How one version stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    EXPIRED = "expired"
    WITHDRAWN = "withdrawn"
    SUPERSEDED = "superseded"


SHAPES = {
    State.OPEN: "waiting",
    State.ACCEPTED: "done",
    State.EXPIRED: "late",
    State.WITHDRAWN: "none",
    State.SUPERSEDED: "none",
}
"""The shape of `signs.css` that each state is shown with."""


@dataclass(frozen=True)
class Version:
    """One version with how it stands.

    Attributes:
        offer: its row.
        state: of it.
        acceptance: the customer's yes, or None.
        shop: whose clock and whose way to write days count.
    """

    offer: Offer
    state: State
    acceptance: Acceptance | None
    shop: Shop = field(repr=False)

    @property
    def shape(self) -> str:
        """Of `signs.css`."""
        return SHAPES[self.state]


def today(shop: Shop) -> datetime.date:
    """The day by the shop's clock."""
    return shop_time(timezone.now(), shop).date()


def versions_of(job: Job, shop: Shop) -> tuple[Version, ...]:
    """Every version of a job's offer, the newest first; one query."""
    offers = list(
        job.offers.select_related("acceptance__heard_by", "made_by", "pdf").order_by("-version")
    )
    return tuple(
        _version(offer, is_newest=place == 0, shop=shop) for place, offer in enumerate(offers)
    )


def _version(offer: Offer, *, is_newest: bool, shop: Shop) -> Version:
    acceptance = getattr(offer, "acceptance", None)
    if acceptance is not None:
        state = State.ACCEPTED
    elif offer.withdrawn_at is not None:
        state = State.WITHDRAWN
    elif not is_newest:
        state = State.SUPERSEDED
    elif offer.valid_until < today(shop):
        state = State.EXPIRED
    else:
        state = State.OPEN
    return Version(offer, state, acceptance, shop)


def accepted_among(versions: Sequence[Version]) -> Version | None:
    """The newest version that was accepted, of versions with the newest first."""
    return next((version for version in versions if version.acceptance is not None), None)


def is_whole(offer: Offer) -> bool:
    """Whether an offer's content is still the one that its hash was made from."""
    return sha256_of(offer.content) == offer.sha256


def is_shown_to_customer(version: Version, *, newest: Offer, job: Job) -> bool:
    """Whether a private link opens a version: the newest that stands, and what was accepted."""
    if version.acceptance is not None:
        return True
    is_open = version.state in (State.OPEN, State.EXPIRED)
    return is_open and version.offer.pk == newest.pk and job.stage == Stage.OFFERED
