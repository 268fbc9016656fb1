"""A cover, and what computing it found."""

import pytest

from layflat.web.cover.models import Cover, Outcome
from layflat.web.people.models import Shop
from web.bodies.conftest import dome
from web.fit.pieces import a_piece
from web.fit.rows import a_body, a_cover, a_job, an_outcome


@pytest.fixture
def cover(shop: Shop) -> Cover:
    """A cover that nobody has had computed."""
    body = a_body()
    return a_cover(a_job(body), body)


@pytest.fixture
def outcome(cover: Cover) -> Outcome:
    """What computing it found: one piece."""
    return an_outcome(cover, [a_piece()], body=dome())
