"""A job that is checked, with a shop that prices nothing by accident."""

from decimal import Decimal

import pytest

from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role, Shop
from web.handback.rows import a_checked_job


@pytest.fixture
def shop(db: None) -> Shop:
    """What things cost appears in no other number."""
    return Shop.objects.create(
        name="Lampwick Yard",
        contact="555 0100",
        film_per_metre=Decimal("61.93"),
        rate_per_hour=Decimal("77.91"),
    )


@pytest.fixture
def job(people: dict[Role, Person]) -> Job:
    return a_checked_job(people)
