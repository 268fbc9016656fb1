"""Programs to send, written here by hand, and what a plotter has made of them."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count, cycle

from layflat.send import LineError, Outcome, Pace, Spool, account_of, spool_of
from layflat.send.drive import drive
from layflat.send.state import Sending
from layflat.send.stream import stream_of
from send.stand_in import Plotter

Polyline = list[tuple[float, float]]


def text(cuts: int = 6, *, points: int = 12) -> bytes:
    """A section: the blade's heading in the waste, then zigzags, each somewhere else."""
    lines = ["IN;PA;SP1;\n", "PU20,800;\n", "PD20,870,90,870;\n"]
    for i in range(cuts):
        x, y = 1000 + 700 * i, 500 + 40 * (i % 3)
        way = [f"{x + 9 * k},{y + 300 * (k % 2)}" for k in range(1, points + 1)]
        lines += [f"PU{x},{y};\n", f"PD{','.join(way)};\n"]
    return "".join([*lines, f"PU{1000 + 700 * cuts},0;\n", "SP0;\n"]).encode()


def spool(cuts: int = 6, *, points: int = 12) -> Spool:
    return spool_of(text(cuts, points=points), name="tray.plt")


def drawn(
    data: bytes, *, feed: tuple[tuple[float, float], ...] = ((1, 0), (0, 1))
) -> list[Polyline]:
    """What a plotter cuts that gets all of it in peace."""
    plotter = Plotter(size=len(data) + 1, feed=feed)
    plotter.receive(data)
    plotter.work(1e12)
    return plotter.cuts


@dataclass
class Film:
    """What lies on the film, cut by cut of the program, the heading's own left out.

    Attributes:
        whole: how often each cut was made from start to end.
        part: how often each was begun and not ended.
        strays: what belongs to no cut.
    """

    whole: list[int]
    part: list[int]
    strays: list[Polyline] = field(default_factory=list)

    @property
    def done(self) -> int:
        """How many cuts a person finds whole, from the first on, counted with the heading's."""
        return 1 + next((i for i, n in enumerate(self.whole) if n == 0), len(self.whole))


def is_begun(made: Polyline, wanted: Polyline) -> bool:
    """Whether a cut follows another from its start and ends on the way."""
    reached = len(made) - 1
    if reached == 0 or reached >= len(wanted) or made[:-1] != wanted[:reached]:
        return made == wanted[:1]
    a, b, end = wanted[reached - 1], wanted[reached], made[-1]
    return math.dist(a, end) + math.dist(end, b) < math.dist(a, b) + 1e-6


def film(made: Sequence[Polyline], wanted: Sequence[Polyline]) -> Film:
    heading, *cuts = wanted
    found = Film(whole=[0] * len(cuts), part=[0] * len(cuts))
    for each in made:
        if each[: len(heading)] == heading or each[:-1] == heading[: len(each) - 1]:
            continue
        at = next((i for i, cut in enumerate(cuts) if cut[0] == each[0]), None)
        if at is not None and each == cuts[at]:
            found.whole[at] += 1
        elif at is not None and is_begun(each, cuts[at]):
            found.part[at] += 1
        else:
            found.strays.append(each)
    return found


class Wire:
    """A line in memory to a plotter, without clock or thread: what is drawn decides all.

    Attributes:
        lost_at: after how many bytes handed over it is lost; what is on the way then arrives
            only in part.
    """

    tells = True

    def __init__(
        self,
        plotter: Plotter,
        *,
        takes: Sequence[int] = (1024,),
        works: Sequence[float] = (3000.0,),
        lost_at: int | None = None,
        arrives: int = 0,
    ) -> None:
        self.plotter = plotter
        self._takes, self._flows, self._works = cycle(takes), cycle(takes), cycle(works)
        self.lost_at, self.arrives = lost_at, arrives
        self.on_the_way = bytearray()
        self.handed = 0
        self.closed = ""

    def offer(self, data: bytes, *, wait_s: float) -> int:  # noqa: ARG002
        self._flow(next(self._flows))
        if self.lost_at is not None and self.handed >= self.lost_at:
            self._flow(self.arrives)
            self.on_the_way.clear()
            raise LineError("the wire was cut")
        most = 512 - len(self.on_the_way)
        if self.lost_at is not None:
            most = min(most, self.lost_at - self.handed)
        count = max(0, min(len(data), most, next(self._takes)))
        self.on_the_way += data[:count]
        self.handed += count
        return count

    def _flow(self, most: int) -> None:
        count = min(most, len(self.on_the_way), self.plotter.free) if self.plotter.is_on else 0
        self.plotter.receive(bytes(self.on_the_way[:count]))
        del self.on_the_way[:count]
        self.plotter.work(next(self._works))

    def waiting(self) -> int:
        return len(self.on_the_way)

    def heard(self) -> bytes:
        said = bytes(self.plotter.said)
        self.plotter.said.clear()
        return said

    def close(self, *, discard: bool) -> None:
        self.closed = "discarded" if discard else "in peace"


class Notes:
    """A record in memory."""

    def __init__(self) -> None:
        self.lines: list[dict[str, object]] = []

    def write(self, what: str, **values: object) -> None:
        self.lines.append({"what": what, **values})


def patient(plotter: Plotter) -> Pace:
    """A pace whose time goes on only while the plotter is without power."""
    ticks: Iterator[int] = count()
    now = [0]

    def clock() -> float:
        if not plotter.is_on:
            now[0] = next(ticks)
        return float(now[0])

    return Pace(tick_s=0.0, patience_s=5.0, clock=clock)


def run(
    program: Spool,
    wire: Wire,
    *,
    cut: int = 0,
    before: bytes | None = None,
    buffer: int = 0,
    answers: bool = False,
    record: Notes | None = None,
    pace: Pace | None = None,
    **more: Callable[..., object],
) -> Outcome:
    sending = Sending(
        stream=stream_of(program, cut=cut, before=before, asks=answers),
        buffer_bytes=buffer,
        tells=wire.tells,
    )
    return drive(
        program, sending, line=wire, record=record or Notes(),
        pace=pace or patient(wire.plotter), **more,
    )  # type: ignore[arg-type] # fmt: skip


def rest(plotter: Plotter) -> None:
    """Let it work off what it holds."""
    plotter.work(1e12)


__all__ = [
    "Film",
    "Notes",
    "Wire",
    "account_of",
    "drawn",
    "film",
    "patient",
    "rest",
    "run",
    "spool",
]
