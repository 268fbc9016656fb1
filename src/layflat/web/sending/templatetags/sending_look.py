"""Numbers of machines and states of sendings as people read them."""

from typing import Final

from django import template

from layflat.web.sending.models import Sending

register = template.Library()
_SHAPES: Final = {
    Sending.State.ASKED: "waiting",
    Sending.State.SENDING: "today",
    Sending.State.DONE: "done",
    Sending.State.STOPPED: "waiting",
    Sending.State.CUT_OFF: "late",
    Sending.State.BROKEN: "late",
    Sending.State.CRASHED: "late",
    Sending.State.REFUSED: "none",
}


@register.filter
def as_scale(value: float) -> str:
    """A scale as its distance from true, in percent."""
    off = 100.0 * (value - 1.0)
    return "true" if abs(off) < 0.0005 else f"{off:+.3f} %"


@register.filter
def as_skew(value: float) -> str:
    """A skew in millimetres for a metre."""
    return "none" if abs(value) < 5e-6 else f"{1000.0 * value:+.2f} mm on 1 m"


@register.filter
def sending_shape(sending: Sending) -> str:
    """The class that draws where a sending stands."""
    return _SHAPES[Sending.State(sending.state)]
