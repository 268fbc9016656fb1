"""A shop with rates, and a job with two computed covers to choose from."""

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from layflat.web.cover.models import Cover
from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import make, token_of
from layflat.web.offer.making import Wanted, draft, keep_version, last_version, paper_of
from layflat.web.offer.models import Offer
from layflat.web.people.models import Person, Role, Shop
from web.covered import a_cover, a_job, an_outcome


@pytest.fixture
def shop(db: None) -> Shop:
    """What things cost, and what they cost the shop; one sum of it appears nowhere else."""
    return Shop.objects.create(
        name="Lampwick Yard",
        contact="555 0100",
        currency="EUR",
        tax_rate=Decimal("0.2000"),
        film_per_metre=Decimal("62.00"),
        rate_per_hour=Decimal("78.00"),
        consumables=Decimal("35.00"),
        film_cost_per_metre=Decimal("31.50"),
        hour_cost=Decimal("46.00"),
        consumables_cost=Decimal("21.00"),
    )


@pytest.fixture
def job(shop: Shop, people: dict[Role, Person]) -> Job:
    """A job at its cover, with two covers that were computed."""
    found = a_job()
    an_outcome(a_cover(found))
    doors = a_cover(found, "Nose and doors", panels=("hood", "door-left", "door-right"))
    an_outcome(doors, film_mm=11020.0)
    return found


@pytest.fixture
def covers(job: Job) -> tuple[Cover, ...]:
    return tuple(job.covers.all())


@pytest.fixture
def made(job: Job, shop: Shop, people: dict[Role, Person]) -> Callable[..., Offer]:
    """Makes the next version of the job's offer, of both covers unless others are named.

    Its paper is a stand-in, which costs no time, unless `on_paper` is asked for.
    """

    def version(*, on_paper: bool = False, **wanted: Any) -> Offer:
        job.refresh_from_db()
        keys = tuple(cover.pk for cover in job.covers.all() if not cover.is_dropped)
        asked = Wanted(**{"covers": keys, **wanted})
        who = people[Role.COUNTER]
        next_one = draft(job, asked, shop=shop, version=last_version(job) + 1)
        pdf = paper_of(next_one, shop=shop) if on_paper else next_one.sha256.encode()
        return keep_version(job, asked, next_one, pdf, shop=shop, who=who)

    return version


@pytest.fixture
def link(job: Job) -> PrivateLink:
    return make(job, Purpose.OFFER, days=30, who=None)


@pytest.fixture
def page(link: PrivateLink) -> str:
    """The address of the customer's page."""
    return f"/for-you/offer/{token_of(link)}/"


@pytest.fixture
def sent() -> Callable[..., dict[str, Any]]:
    """What a browser sends: the fields, with a token of a page of its own."""

    def form(**fields: Any) -> dict[str, Any]:
        return {"once": uuid.uuid4().hex, **fields}

    return form


def yes(offer: Offer, **changes: Any) -> dict[str, Any]:
    """What a customer sends who accepts the second alternative."""
    found = {"sha256": offer.sha256, "alternative": "2", "name": "Perrin Oake", "agreed": "yes"}
    return {**found, **changes}
