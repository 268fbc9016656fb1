"""What a sending needs of a line to a machine, whatever it is made of."""

import selectors
from typing import Protocol

from layflat.base import OutputError


class LineError(OutputError):
    """A line could not be opened, or was lost."""


class Line(Protocol):
    """An open line to a machine. It never waits longer than it is told to.

    Attributes:
        tells: whether it tells when what was handed over did not arrive.
    """

    tells: bool

    def offer(self, data: bytes, *, wait_s: float) -> int:
        """Hand bytes over, as many as go; how many went, 0 if none within *wait_s*.

        With no bytes to hand over it waits for answers or for the line's end.

        Raises:
            LineError: the line is lost.
        """

    def waiting(self) -> int:
        """How many of the bytes handed over may still be in this computer."""

    def heard(self) -> bytes:
        """What the machine has said since the last call."""

    def close(self, *, discard: bool) -> None:
        """Close it; with *discard* what is still in this computer is thrown away."""


def ready(file: int, *, write: bool, wait_s: float) -> tuple[bool, bool]:
    """Whether a file can be read and written, within *wait_s* seconds."""
    wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if write else 0)
    with selectors.DefaultSelector() as selector:
        selector.register(file, wanted)
        events = [found for _, found in selector.select(wait_s)]
    found = events[0] if events else 0
    return bool(found & selectors.EVENT_READ), bool(found & selectors.EVENT_WRITE)
