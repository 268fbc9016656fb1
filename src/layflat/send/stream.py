"""What goes down the line: the program or its rest, and where each byte of it belongs."""

from bisect import bisect_right
from dataclasses import dataclass

from layflat.send.spool import Spool

QUESTION = b"OA;"


@dataclass(frozen=True)
class Question:
    """Where a machine is asked whether it has come so far.

    Attributes:
        at: offset in the stream behind the question.
        place: offset in the program up to which all has been done once it answers.
        point: where the head stands there, knife up, in plotter units.
    """

    at: int
    place: int
    point: tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class Stream:
    """The bytes of one sending.

    Attributes:
        data: what goes down the line.
        begin: offset in the program where it takes up.
        holds: offsets in the stream with the knife up between cuts, rising; the last is its end.
        places: pairs of offsets, in the stream and in the program, rising; between two of them
            both run together, or the program's stands still.
        questions: in order; none where the machine does not answer.
    """

    data: bytes
    begin: int
    holds: tuple[int, ...]
    places: tuple[tuple[int, int], ...]
    questions: tuple[Question, ...] = ()

    def place(self, at: int) -> int:
        """The offset in the program that belongs to an offset in the stream."""
        i = bisect_right(self.places, at, key=lambda pair: pair[0]) - 1
        start, place = self.places[i]
        if i + 1 == len(self.places):
            return place
        return min(place + at - start, self.places[i + 1][1])


def stream_of(
    spool: Spool, *, cut: int = 0, before: bytes | None = None, asks: bool = False
) -> Stream:
    """The stream of a program, or of its rest.

    Args:
        spool: the program.
        cut: index of the first cut that is to be made.
        before: what goes before that cut (see `prelude`); None to send the program from its very
            beginning.
        asks: whether the machine is asked where it is before every cut and at the end.
    """
    begin = 0 if before is None else spool.cuts[cut].start
    data = bytearray(before or b"")
    places, holds = [(0, begin)], [0]
    questions: list[Question] = []
    place = begin
    if data:
        places.append((len(data), begin))
    stops = [(each.start, each.point) for each in spool.cuts[cut:]]
    stops.append((len(spool.data), spool.end))
    for stop, point in stops:
        data += spool.data[place:stop]
        place = stop
        places.append((len(data), place))
        if asks:
            data += QUESTION
            questions.append(Question(at=len(data), place=place, point=point))
            places.append((len(data), place))
        if holds[-1] != len(data):
            holds.append(len(data))
    return Stream(
        data=bytes(data),
        begin=begin,
        holds=tuple(holds),
        places=tuple(places),
        questions=tuple(questions),
    )
