"""How long work says how far it is, and how it is stopped."""

from typing import Protocol


class Progress(Protocol):
    """Called by long work now and then.

    It may raise :class:`layflat.base.StoppedError` to stop the work; the work passes that on
    and leaves nothing half-done.
    """

    def __call__(self, step: str, fraction: float) -> None:
        """Take the name of the present step and the part done, from 0 to 1."""


def silent(step: str, fraction: float) -> None:
    """A progress that nobody watches."""


def part_of(progress: Progress, *, start: float, end: float, prefix: str = "") -> Progress:
    """The progress of a part of the work that runs from *start* to *end* of the whole."""

    def report(step: str, fraction: float) -> None:
        progress(f"{prefix}{step}", start + (end - start) * min(1.0, max(0.0, fraction)))

    return report
