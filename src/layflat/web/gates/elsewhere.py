"""Steps that are worked through on a page or tab of their own, and end by themselves there.

Parts above enter theirs when they start; the list of steps then leads there instead of offering a
"Done" that would be refused.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from layflat.web.gates.models import Kind
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """Where a step is done.

    Attributes:
        says: a sentence: where, and by whom.
        action: what is on the button; "" where this person goes nowhere.
        address: where the button leads.
        is_refused: whether it is somebody else's to do; `says` then says whose.
    """

    says: str
    action: str = ""
    address: str = ""
    is_refused: bool = False


Look = Callable[[Job, Person], Elsewhere | None]
"""Where a step of a kind is done on a job, for a person; None where it is ended by hand."""

_LOOKS: Final[dict[str, Look]] = {}


def done_elsewhere(kind: Kind, look: Look) -> None:
    """Have steps of *kind* say where they are done."""
    _LOOKS[kind] = look


def elsewhere(kind: str, job: Job, who: Person | None) -> Elsewhere | None:
    """Where a step of *kind* is done; None for one that is begun and ended in the list of steps."""
    look = _LOOKS.get(kind)
    return None if look is None or who is None else look(job, who)
