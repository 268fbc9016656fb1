"""The order of one tablet's taps: each is taken only when all before it were."""

from dataclasses import dataclass

from layflat.base import InputError
from layflat.web.record.models import write_event
from layflat.web.taps.models import Device


@dataclass(frozen=True, kw_only=True)
class Sent:
    """How a tablet counted and timed a tap.

    Attributes:
        device: the tablet's key, 32 hexadecimal digits.
        number: the tap's place among the tablet's taps, from 1.
        age_s: seconds from tapping to sending by the tablet's own clock; None when it gave none.
        lacks: the number of an earlier tap that the server asked for and the tablet has no more;
            0 for none.
        is_set_aside: whether a person gave it up since the server failed on it again and again.
    """

    device: str
    number: int
    age_s: float | None = None
    lacks: int = 0
    is_set_aside: bool = False


class EarlierError(InputError):
    """An earlier tap of the same tablet has not come in yet.

    Attributes:
        wanted: the number of the tap that must come first.
    """

    def __init__(self, wanted: int) -> None:
        super().__init__(f"Tap {wanted} of this tablet must come in first.")
        self.wanted = wanted


@dataclass(frozen=True, kw_only=True)
class Turn:
    """The place that a tap is given.

    Attributes:
        number: its number on the tablet; None for a plain form, or where another tap has it.
        refused: why it cannot be taken in its place, or "".
        missing: how many taps before it never came in.
    """

    number: int | None = None
    refused: str = ""
    missing: int = 0


def locked_device(key: str) -> Device:
    """The row of a tablet, locked until the transaction ends."""
    Device.objects.get_or_create(key=key)
    return Device.objects.select_for_update().get(key=key)


def turn_of(device: Device, sent: Sent) -> Turn:
    """Whether it is this tap's turn.

    Raises:
        EarlierError: it is not, and the tablet has not said that it lacks the one wanted.
    """
    wanted = device.last + 1
    if sent.number > wanted and sent.lacks != wanted:
        raise EarlierError(wanted)
    if sent.number < wanted:
        return Turn(
            refused=f"Another tap came in as number {sent.number} of this tablet; look whether "
            "this one is still to be done."
        )
    return Turn(number=sent.number, missing=sent.number - wanted)


def note_again(device: Device, sent: Sent) -> None:
    """Count a tap that came in before under another number: from a page that was opened again."""
    if sent.number == device.last + 1:
        count(device, Turn(number=sent.number))


def count(device: Device, turn: Turn) -> None:
    """Note on a locked tablet's row that a tap was taken, and say which never came in."""
    if turn.missing:
        write_event(
            "taps.missing",
            f"{turn.missing} earlier tap{'' if turn.missing == 1 else 's'} of a tablet never came "
            "in, and the tablet has no more of it; "
            "look at what was done in the bay.",
            who=None,
            after={"device": device.key, "from": device.last + 1, "missing": turn.missing},
        )
    if turn.number is not None:
        device.last = turn.number
    device.save(update_fields=["last", "seen_at"])
