"""What a roll's page shows of cutting: what is to be cut of it, and where its film went."""

from typing import Any

from layflat.web.cutting.account import account_of
from layflat.web.cutting.along import queue_of, sections_of
from layflat.web.stock.faults import faults_of
from layflat.web.stock.models import Roll


def read(roll: Roll) -> dict[str, Any]:
    """What `cutting/on_stock_roll.html` shows of a roll from `layflat.web.stock.listing.with_all`.

    Returns:
        `queue`, sections in turn; `account`, where its film went, or None while nothing is cut.
    """
    sections = list(sections_of(roll))
    places = faults_of([roll]).get(roll.pk, [])
    return {
        "queue": queue_of(roll, places, sections=sections),
        "account": account_of(roll, sections),
    }
