"""Rolls for the pages."""

import pytest

from layflat.web.people.models import Shop
from layflat.web.stock.models import Roll
from web.stock.test_booking import a_new_roll


@pytest.fixture
def roll(shop: Shop) -> Roll:
    return a_new_roll()
