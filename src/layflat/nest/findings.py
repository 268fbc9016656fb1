"""What is wrong with a layout, finding by finding: what, which pieces, how much, and where."""

from dataclasses import dataclass
from enum import StrEnum


class Fault(StrEnum):
    """What can be wrong."""

    OVERLAP = "overlap"
    GAP = "gap"
    EDGE = "edge margin"
    END = "end margin"
    SPOILT = "fault of the roll"
    ORDER = "order of sections"
    LONG_SECTION = "long section"
    ROLL = "short roll"
    TURN = "turn"
    PIECES = "pieces"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that is wrong.

    Attributes:
        fault: what kind of thing.
        sentence: it in words, without a full stop; pieces by number and name.
        pieces: places of the pieces among the layout's placements; none where it is no piece's.
        amount_mm: the distance of two pieces that are too near (0 where they overlap), how far one
            reaches into a margin, or how much too long something is; None where it has no length.
        at_mm: (x, y) points on the roll that show it: of two pieces that are too near the
            nearest points of each, of an overlap a point inside it.
    """

    fault: Fault
    sentence: str
    pieces: tuple[int, ...] = ()
    amount_mm: float | None = None
    at_mm: tuple[tuple[float, float], ...] = ()
