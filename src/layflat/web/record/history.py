"""A history as people read it: what happened, by whom, and what can be taken back."""

from dataclasses import dataclass

from layflat.web.record.models import Event


@dataclass(frozen=True)
class Undo:
    """How something can be taken back.

    Attributes:
        word: on the button or link.
        address: that it leads or sends to.
        is_form: whether it sends a form; else it leads to a page that asks for a reason.
    """

    word: str
    address: str
    is_form: bool = False


@dataclass(frozen=True)
class Line:
    """One line of a history; `undo` is None for what stands."""

    event: Event
    undo: Undo | None
