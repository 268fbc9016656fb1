"""Computations in words and shapes."""

import datetime

from django import template

from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_moment
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import title_of

register = template.Library()

_WORDS = {
    State.OPEN: "Waiting",
    State.RUNNING: "Computing",
    State.DONE: "Done",
    State.FAILED: "Failed",
    State.STOPPED: "Stopped",
}
_SHAPES = {
    State.OPEN: "waiting",
    State.RUNNING: "computing",
    State.DONE: "done",
    State.FAILED: "late",
    State.STOPPED: "none",
}


@register.filter
def task_title(name: str) -> str:
    """What people read for a task."""
    return title_of(name)


@register.filter
def state_words(computation: Computation) -> str:
    """Its state in a word, also that it was asked to stop."""
    if computation.state == State.RUNNING and computation.stop_asked:
        return "Stopping"
    return _WORDS[State(computation.state)]


@register.filter
def shape(computation: Computation) -> str:
    """The class that draws the shape of its state."""
    return _SHAPES[State(computation.state)]


@register.filter
def percent(computation: Computation) -> int:
    """How far it is, rounded down: 100 only when it is done."""
    return int(100 * computation.progress)


@register.filter
def lasted(computation: Computation) -> str:
    """How long its last attempt took."""
    if computation.began_at is None or computation.ended_at is None:
        return ""
    seconds = (computation.ended_at - computation.began_at).total_seconds()
    if seconds < 1:
        return "less than a second"
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min"


@register.filter
def moment(at: datetime.datetime, shop: Shop) -> str:
    """A moment in the shop's own time."""
    return shown_moment(at, shop)
