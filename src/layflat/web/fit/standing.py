"""How far a cover's fit is: what was found, whether that is of the choices as they are now."""

from dataclasses import dataclass

from layflat.web.cover.models import Cover, Outcome
from layflat.web.cover.outcomes import fill, is_current, newest
from layflat.web.people.models import Shop
from layflat.web.work.models import State


@dataclass(frozen=True)
class Standing:
    """How far a cover's fit is.

    Attributes:
        outcome: the newest, or None.
        is_current: whether it is of the cover as it is now.
        is_computing: whether the computation that was asked for last goes on.
        has_failed: whether it ended without an outcome.
    """

    outcome: Outcome | None
    is_current: bool
    is_computing: bool
    has_failed: bool


def standing_of(cover: Cover, *, shop: Shop) -> Standing:
    """How far the fit of *cover* is; a computation that is done is taken over first."""
    outcome = fill(cover) or newest(cover)
    asked = cover.computation
    return Standing(
        outcome=outcome,
        is_current=outcome is not None and is_current(cover, outcome, shop=shop),
        is_computing=asked is not None and not asked.is_over,
        has_failed=asked is not None and asked.state in (State.FAILED, State.STOPPED),
    )
