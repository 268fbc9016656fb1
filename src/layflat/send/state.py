"""A sending as a value: what was handed over, what is asked, and what follows from it.

Nothing here waits or writes. The shell (`layflat.send.drive`) asks what to hand over next, tells
what became of it, and stops when a sending has ended.
"""

from bisect import bisect_left
from dataclasses import dataclass, replace
from enum import Enum

from layflat.send.stream import Stream

SLACK_BYTES = 256
"""What may be lost on a serial line before its loss is noticed: the port's own few bytes."""


class State(Enum):
    """Where a sending is."""

    SENDING = "sending"
    PAUSING = "pausing"
    PAUSED = "paused"
    STOPPING = "stopping"
    STOPPED = "stopped"
    DONE = "done"
    CUT_OFF = "cut off"
    BROKEN = "broken"


class Ask(Enum):
    """What a person may ask of a sending."""

    PAUSE = "pause"
    GO_ON = "go on"
    STOP = "stop"
    AT_ONCE = "at once"


_ENDED = (State.STOPPED, State.DONE, State.CUT_OFF, State.BROKEN)
_FOLLOWS = {
    (State.SENDING, Ask.PAUSE): State.PAUSING,
    (State.PAUSING, Ask.GO_ON): State.SENDING,
    (State.PAUSED, Ask.GO_ON): State.SENDING,
    (State.SENDING, Ask.STOP): State.STOPPING,
    (State.PAUSING, Ask.STOP): State.STOPPING,
    (State.PAUSED, Ask.STOP): State.STOPPING,
}


@dataclass(frozen=True, kw_only=True)
class Sending:
    """One sending.

    Attributes:
        stream: what goes down the line.
        buffer_bytes: how much the machine takes in before it has cut it, with all between it and
            this computer; 0 if nobody knows.
        tells: whether the line tells when what was handed over did not arrive.
        state: where it is.
        handed: offset in the stream up to which bytes were handed to the line.
        gone: offset up to which they have left this computer.
        answered: how many questions were answered as expected.
        awaits: whether the end waits for answers that are due.
        reason: why it broke, or stopped although nobody asked.
    """

    stream: Stream
    buffer_bytes: int = 0
    tells: bool = True
    state: State = State.SENDING
    handed: int = 0
    gone: int = 0
    answered: int = 0
    awaits: bool = True
    reason: str = ""

    @property
    def ended(self) -> bool:
        """Whether nothing follows any more."""
        return self.state in _ENDED

    @property
    def limit(self) -> int:
        """Offset in the stream up to which bytes may be handed over now."""
        if self.ended:
            return self.handed
        if self.state is State.SENDING:
            return len(self.stream.data)
        return self.stream.holds[bisect_left(self.stream.holds, self.handed)]

    @property
    def least(self) -> int:
        """Offset in the program before which the machine has surely taken everything up.

        By its answers; and, where its buffer is known and the line tells of losses, by what has
        left this computer less what the buffer may hold.
        """
        by_answer = (
            self.stream.questions[self.answered - 1].place if self.answered else self.stream.begin
        )
        if not (self.buffer_bytes and self.tells):
            return by_answer
        beyond = self.gone - self.buffer_bytes - SLACK_BYTES
        return max(by_answer, self.stream.place(beyond)) if beyond > 0 else by_answer

    @property
    def most(self) -> int:
        """Offset in the program behind which the machine has got nothing."""
        return self.stream.place(self.handed)

    def chunk(self, most_bytes: int) -> bytes:
        """What may be handed over next; nothing while it must wait."""
        return self.stream.data[self.handed : min(self.handed + most_bytes, self.limit)]


def asked(sending: Sending, ask: Ask) -> Sending:
    """The sending after a person asked for something; what does not apply changes nothing."""
    if sending.ended:
        return sending
    if ask is Ask.AT_ONCE:
        return replace(sending, state=State.CUT_OFF)
    follows = _FOLLOWS.get((sending.state, ask), sending.state)
    return _settled(replace(sending, state=follows))


def took(sending: Sending, count: int, *, waiting: int) -> Sending:
    """The sending after the line took *count* more bytes.

    Args:
        sending: as it was.
        count: at least 0.
        waiting: how many of the bytes handed over are still in this computer.
    """
    handed = sending.handed + count
    gone = max(sending.gone, handed - waiting)
    return _settled(replace(sending, handed=handed, gone=min(gone, handed)))


def answered(sending: Sending, point: tuple[int, int], *, within: int = 2) -> Sending:
    """The sending after the machine said where it stands, knife up.

    An answer counts only if a question that was handed over waits for it, and it names the place
    where the head must stand there, within *within* plotter units. It counts for the first such
    question: an answer that was lost on the way makes nothing certain that is not.
    """
    for i in range(sending.answered, len(sending.stream.questions)):
        question = sending.stream.questions[i]
        if question.at > sending.handed:
            break
        far = max(abs(point[0] - question.point[0]), abs(point[1] - question.point[1]))
        if far <= within:
            return _settled(replace(sending, answered=i + 1))
    return sending


def unanswered(sending: Sending) -> Sending:
    """The sending after the machine's answers were given up."""
    return _settled(replace(sending, awaits=False))


def broken(sending: Sending, reason: str) -> Sending:
    """The sending after the line was lost."""
    return sending if sending.ended else replace(sending, state=State.BROKEN, reason=reason)


def _settled(sending: Sending) -> Sending:
    """What has come to an end, or to a halt, is told so."""
    if sending.ended or sending.handed < sending.limit:
        return sending
    if sending.state is State.PAUSING:
        return replace(sending, state=State.PAUSED)
    if sending.gone < sending.handed or sending.state is State.PAUSED:
        return sending
    due = sum(question.at <= sending.handed for question in sending.stream.questions)
    if sending.awaits and sending.answered < due:
        return sending
    done = sending.handed == len(sending.stream.data)
    if done:
        return replace(sending, state=State.DONE)
    return replace(sending, state=State.STOPPED) if sending.state is State.STOPPING else sending
