"""The commands of a cut program with their places in its bytes.

Stricter than HP-GL: only what Layflat writes is taken, so that nothing foreign reaches a machine
with a knife in it. Two capital letters, whole numbers apart by commas, a semicolon.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from layflat.base import InputError

_COMMAND = re.compile(rb"([A-Z]{2})(-?\d[-\d,.]*)?;\s*")
_POINTS = re.compile(rb"-?\d{1,9},-?\d{1,9}(?:,-?\d{1,9},-?\d{1,9})*")
_PLAIN = re.compile(rb"\d{1,6}(?:\.\d{1,4})?")
_EMPTY = (b"IN", b"PA", b"PU", b"PD")
_WITH_POINTS = (b"PU", b"PD")
_WITH_NUMBER = (b"SP", b"VS", b"FS")


@dataclass(frozen=True)
class Command:
    """One command.

    Attributes:
        name: its two letters.
        rest: its parameters as they are written.
        start: offset of its first byte.
        stop: offset behind it and the white space that follows.
    """

    name: bytes
    rest: bytes
    start: int
    stop: int

    @property
    def last_point(self) -> tuple[int, int] | None:
        """Where it moves the head in the end, in plotter units."""
        if self.name not in _WITH_POINTS or not self.rest:
            return None
        *_, x, y = self.rest.rsplit(b",", 2)
        return int(x), int(y)


def commands(data: bytes) -> Iterator[Command]:
    """The commands of a program, in order.

    Raises:
        InputError: something in it is not a command that Layflat writes.
    """
    at, number = 0, 0
    while at < len(data):
        match = _COMMAND.match(data, at)
        number += 1
        if match is None:
            rest = data[at : at + 20]
            if re.fullmatch(rb"[A-Z]{0,2}[-\d,.]*", data[at:]):
                raise InputError(
                    f"it breaks off in command {number}: it is not whole. Write it anew and send "
                    "that"
                )
            raise InputError(f"it has {rest.decode('ascii', 'replace')!r} as command {number}")
        name, rest = match[1], match[2] or b""
        fits = (
            (name in _EMPTY and not rest)
            or (name in _WITH_POINTS and _POINTS.fullmatch(rest) is not None)
            or (name in _WITH_NUMBER and _PLAIN.fullmatch(rest) is not None)
        )
        if not fits:
            raise InputError(f"it has {match[0][:20].decode().strip()!r} as command {number}")
        yield Command(name=name, rest=rest, start=at, stop=match.end())
        at = match.end()
