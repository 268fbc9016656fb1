"""What parts above this one add to a job's page and its history.

This part knows nothing of them; each enters what is its own when it starts (`AppConfig.ready`).
Django may start a part more than once: what is entered again is held once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from layflat.web.jobs.models import Job
from layflat.web.record.history import Undo
from layflat.web.record.models import Event

UndoMaker = Callable[[Job, Sequence[Event]], dict[int, Undo]]
"""Says of a job's events, the newest last, how the counter takes them back, by their keys."""


def _nothing(_job: Job) -> dict[str, Any]:
    return {}


@dataclass(frozen=True, kw_only=True)
class Section:
    """A sheet on a job's page.

    Attributes:
        template: of the sheet; it is given `job` and all that `read` found.
        read: finds what else the template shows, by its names there.
        is_work: whether it tells of the workshop: such sheets follow after the page, in an answer
            of their own, so that the page itself stays quick however many parts there are.
    """

    template: str
    read: Callable[[Job], dict[str, Any]] = _nothing
    is_work: bool = False


_sections: dict[Section, None] = {}
_undo_makers: dict[UndoMaker, None] = {}


def add_section(section: Section) -> None:
    """Show a sheet on every job's page, above those entered before: the newest work comes first."""
    _sections.setdefault(section)


def sections(*, is_work: bool) -> tuple[Section, ...]:
    """The sheets of other parts, from the top: those of the workshop, or the others."""
    return tuple(section for section in reversed(_sections) if section.is_work == is_work)


def add_undo(maker: UndoMaker) -> None:
    """Have *maker* say how events that its part wrote are taken back."""
    _undo_makers.setdefault(maker)


def undo_of(job: Job, events: Sequence[Event]) -> dict[int, Undo]:
    """How other parts take back what they wrote, by the events' keys."""
    return {key: undo for maker in _undo_makers for key, undo in maker(job, events).items()}
