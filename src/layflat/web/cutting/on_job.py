"""How far cutting is, on a job's page."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layflat.base import InputError
from layflat.web.cover.models import Outcome
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job, Stage
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.stock.models import Reservation

_SHOWN_AT = (Stage.ACCEPTED, Stage.BAY, Stage.CHECKED, Stage.HANDED, Stage.CLOSED)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How many pieces of the accepted cover are how far; each is counted once.

    Attributes:
        wanted: pieces in all.
        bare: that have no film.
        placed, cut, weeded, laid: whose film is to be cut, cut, weeded, on the car.
        lost: pieces of film that were lost.
    """

    wanted: int
    placed: int
    cut: int
    weeded: int
    laid: int
    lost: int

    @property
    def bare(self) -> int:
        """Pieces that have no film."""
        return self.wanted - self.placed - self.cut - self.weeded - self.laid

    @property
    def is_all_weeded(self) -> bool:
        """Whether every piece is weeded, or laid already."""
        return self.wanted == self.weeded + self.laid


def standing_of(outcome: Outcome) -> Standing:
    """How far cutting is, of an accepted cover; two queries."""
    states = Cut.objects.filter(piece__outcome=outcome).values_list("state", flat=True)
    return counted(outcome.pieces.count(), list(states))


def counted(wanted: int, states: Sequence[str]) -> Standing:
    """How far cutting is, of so many pieces and the states of all their film, lost film too."""
    return Standing(
        wanted=wanted,
        placed=states.count(Cut.State.PLACED),
        cut=states.count(Cut.State.CUT),
        weeded=states.count(Cut.State.WEEDED),
        laid=states.count(Cut.State.LAID),
        lost=states.count(Cut.State.LOST),
    )


def read(job: Job) -> dict[str, Any]:
    """What the sheet on a job's page shows.

    Returns:
        `film`, a `Standing`, or None where it says nothing; `held`, the reservations of a job that
        is closed: its kept layouts keep their film, since it can be opened again.
    """
    if job.stage not in _SHOWN_AT:
        return {"film": None}
    held: tuple[Reservation, ...] = ()
    if job.stage == Stage.CLOSED:
        held = tuple(job.reservations.filter(ended_at=None).select_related("roll"))
    try:
        return {"film": standing_of(accepted_outcome(job)), "held": held}
    except InputError:
        return {"film": None}
