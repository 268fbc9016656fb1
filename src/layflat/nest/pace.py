"""Work that is done beside other work, kept to a part of the time."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Pace:
    """Says when work may be done again, by how long it took the last time.

    Attributes:
        part: how much of the time it may take, more than 0 and at most 1.
        least_s: it is not due again before so many seconds have passed since.
    """

    part: float
    least_s: float = 0.0
    _due_at: float = field(default=-float("inf"), init=False)

    @property
    def is_due(self) -> bool:
        """Whether it may be done now."""
        return time.monotonic() >= self._due_at

    @contextmanager
    def working(self) -> Iterator[None]:
        """While it is done; also if it ends with an error."""
        began = time.monotonic()
        try:
            yield
        finally:
            now = time.monotonic()
            # Of the time from its beginning to the next one it takes its part.
            self._due_at = now + max(self.least_s, (now - began) * (1.0 / self.part - 1.0))
