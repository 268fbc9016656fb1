"""Carry a sending out: a loop that hands over, listens, records, and ends whatever happens."""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from layflat.base import LayflatError, OutputError, Progress, StoppedError, silent
from layflat.send.account import Account, account_of, cut_at
from layflat.send.line import Line, LineError
from layflat.send.record import Record
from layflat.send.spool import Spool
from layflat.send.state import Ask, Sending, State, answered, asked, broken, took, unanswered

CHUNK_BYTES = 1024
WINDOW_BYTES = 512
_STALLS_AFTER_S = 3.0
_ANSWER = re.compile(rb"\s*(-?\d+)(?:\.\d*)?,\s*(-?\d+)(?:\.\d*)?,\s*([01])[\s;]*")


class HaltedError(LayflatError):
    """A sending was stopped by a person; the message says where."""

    exit_code = 130


def nothing_asked() -> Ask | None:
    """Nobody asks for anything."""
    return None


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How long a sending waits, and how much it hands over at once.

    Attributes:
        tick_s: the longest wait before it listens to the person again.
        patience_s: how long a machine may take nothing before the line counts as lost.
        chunk_bytes: handed over at once, at most.
        clock: seconds that only grow.
    """

    tick_s: float = 0.2
    patience_s: float = 600.0
    chunk_bytes: int = CHUNK_BYTES
    clock: Callable[[], float] = time.monotonic


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How a sending ended.

    Attributes:
        state: stopped, done, cut off or broken.
        account: what is cut for certain and what may be.
        next_cut: index of the first cut that was not begun.
        least: offset in the program before which all was surely taken up.
        most: offset behind which the machine has got nothing.
        reason: why it broke, or stopped although nobody asked; "" else.
        sentence: for a person.
    """

    state: State
    account: Account
    next_cut: int
    least: int
    most: int
    reason: str
    sentence: str


@dataclass
class _Run:
    """What the loop carries along."""

    spool: Spool
    line: Line
    record: Record
    pace: Pace
    sending: Sending
    window: int = 0
    moved_at: float = 0.0
    unread: bytearray = field(default_factory=bytearray)

    def ask(self, ask: Ask) -> None:
        before = self.sending
        self.sending = asked(before, ask)
        if self.sending.state is not before.state:
            self.record_or_stop("asked", ask=ask.value)

    def record_or_stop(self, what: str, **values: int | str) -> bool:
        """Write to the record; a record that cannot be written stops at the next safe point.

        All up to there stands in it already, so that the machine is brought there in peace.
        """
        try:
            self.record.write(what, **values)
        except OutputError as error:
            why = self.sending.reason or str(error).rstrip(".")
            self.sending = replace(asked(self.sending, Ask.STOP), reason=why)
            return False
        return True

    def open_window(self) -> None:
        """Before more is handed over: what it may be, up to a safe point, goes on the disk."""
        sending = self.sending
        if sending.handed < self.window or sending.handed >= sending.limit:
            return
        reach = min(sending.handed + WINDOW_BYTES, len(sending.stream.data))
        until = next(hold for hold in sending.stream.holds if hold >= reach)
        through = sending.stream.place(until)
        if self.record_or_stop("window", through=through, least=sending.least):
            self.window = until

    def step(self) -> None:
        """Hand over what goes now, and take in what came of it."""
        before = self.sending
        self.open_window()
        if self.sending.ended:
            return
        chunk = before.chunk(min(self.pace.chunk_bytes, max(0, self.window - before.handed)))
        try:
            count = self.line.offer(chunk, wait_s=self.pace.tick_s)
            self.sending = took(self.sending, count, waiting=self.line.waiting())
            self.take_answers(self.line.heard())
        except LineError as error:
            self.sending = broken(self.sending, str(error))
            return
        now = self.pace.clock()
        moved = (before.handed, before.gone, before.answered) != (
            self.sending.handed, self.sending.gone, self.sending.answered,
        )  # fmt: skip
        if moved or self.sending.state is State.PAUSED:
            self.moved_at = now
        elif now - self.moved_at > self.pace.patience_s:
            self.give_up()

    def give_up(self) -> None:
        """The machine takes nothing, or answers nothing, for too long."""
        sending = self.sending
        if sending.gone == sending.handed and sending.handed == sending.limit:
            self.sending = unanswered(sending)
        else:
            waited = f"{self.pace.patience_s:g} s"
            self.sending = broken(sending, f"the machine has taken nothing for {waited}")

    def take_answers(self, said: bytes) -> None:
        self.unread += said
        *lines, rest = re.split(rb"[\r\n]", bytes(self.unread))
        self.unread = bytearray(rest[-100:])
        for line in lines:
            match = _ANSWER.fullmatch(line)
            if match and match[3] == b"0":
                self.sending = answered(self.sending, (int(match[1]), int(match[2])))

    def show(self, progress: Progress) -> None:
        sending, spool = self.sending, self.spool
        place = sending.least if sending.buffer_bytes else sending.stream.place(sending.gone)
        cut = cut_at(spool, place)
        number = spool.cuts.index(cut) + 1
        words = f"{cut.name} ({number} of {len(spool.cuts)})"
        reached = cut_at(spool, sending.stream.place(sending.limit)).name
        stalled = self.pace.clock() - self.moved_at
        if sending.state is State.PAUSED:
            words = f"paused before {reached}"
        elif sending.state in (State.PAUSING, State.STOPPING):
            words = f"halts before {reached}: {words}"
        elif stalled > _STALLS_AFTER_S:
            words = f"the machine takes nothing for {stalled:.0f} s: {words}"
        done = sending.stream.place(sending.handed)
        progress(f"{words}, {done:,} of {len(spool.data):,} bytes", place / len(spool.data))


def drive(
    spool: Spool,
    sending: Sending,
    *,
    line: Line,
    record: Record,
    pace: Pace | None = None,
    asks: Callable[[], Ask | None] = nothing_asked,
    progress: Progress = silent,
) -> Outcome:
    """Carry a sending out to its end.

    Args:
        spool: the program.
        sending: as it begins; its beginning stands in the record.
        line: open; it is closed here.
        record: open; it stays so.
        pace: how long to wait.
        asks: what the person wants, asked several times a second.
        progress: told how far it is. When it raises `StoppedError` the machine is brought to the
            next safe point first, then the error is passed on.

    Raises:
        StoppedError: the progress stopped it, and it has come to its end.
    """
    run = _Run(spool=spool, line=line, record=record, pace=pace or Pace(), sending=sending)
    run.moved_at = run.pace.clock()
    stopped: StoppedError | None = None
    well = False
    try:
        while not run.sending.ended:
            ask = asks()
            if ask is not None:
                run.ask(ask)
            elif stopped is None:
                try:
                    run.show(progress)
                except StoppedError as error:
                    stopped = error
                    run.ask(Ask.STOP)
            run.step()
        well = run.sending.state in (State.DONE, State.STOPPED)
    finally:
        try:
            # Before the line is closed, which may take a while: how it ended is known by now.
            end = run.sending
            run.record_or_stop(
                "ended",
                how=end.state.value if end.ended else State.BROKEN.value,
                least=end.least,
                most=end.most,
                reason=end.reason,
            )
        finally:
            line.close(discard=not well)
    outcome = outcome_of(spool, run.sending)
    if stopped is not None:
        raise StoppedError(outcome.sentence) from stopped
    return outcome


def outcome_of(spool: Spool, sending: Sending) -> Outcome:
    """What an ended sending leaves."""
    account = account_of(spool, least=sending.least, most=sending.most)
    return Outcome(
        state=sending.state,
        account=account,
        next_cut=account.begun,
        least=sending.least,
        most=sending.most,
        reason=sending.reason,
        sentence=_sentence(spool, sending, account),
    )


def _sentence(spool: Spool, sending: Sending, account: Account) -> str:
    if sending.state is State.DONE:
        if sending.least == len(spool.data):
            return f"{spool.name}: all {account.count} cuts are made, says the machine."
        return (
            f"{spool.name}: all {account.count} cuts are sent; the machine goes on with what it "
            "still holds. Wait until it rests."
        )
    if sending.state is State.STOPPED:
        upcoming = spool.cuts[account.begun].name if account.begun < account.count else "the end"
        return (
            f"Stopped before {upcoming}: {account.begun} of {account.count} cuts are made when the "
            f"machine has come to rest, knife up.{f' {sending.reason}.' if sending.reason else ''}"
        )
    how = "Broken off at once" if sending.state is State.CUT_OFF else f"Lost: {sending.reason}"
    return (
        f"{how}. {account.sentence} The machine may go on with what it holds: wait until it rests, "
        "clear it by its own means, and look at the film before going on."
    )
