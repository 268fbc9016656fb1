"""When something was tapped, as far as a tablet's clock can be believed."""

import datetime
import math
from dataclasses import dataclass
from typing import Final

from layflat.web.taps.order import Sent

MOST_AGE: Final = datetime.timedelta(days=14)
LATE: Final = datetime.timedelta(minutes=1)
_JITTER: Final = datetime.timedelta(seconds=10)
"""How far the network's delay may put two taps out of their order without a word."""
_NOT_BELIEVED: Final = "The tablet's clock was changed; the time is that at which the tap came in."
_PUT_BACK: Final = (
    "By the tablet's clock it was tapped before the tap that came before it; the time is that of "
    "the earlier one."
)


@dataclass(frozen=True)
class Moment:
    """When something was tapped.

    Attributes:
        at: UTC.
        is_late: whether it came in more than a minute later.
        note: why the tablet's clock was not believed, or "".
    """

    at: datetime.datetime
    is_late: bool = False
    note: str = ""


def moment_of(
    received_at: datetime.datetime, sent: Sent | None, *, after: Moment | None = None
) -> Moment:
    """When a tap was tapped: never later than it came in, never before the tablet's last one.

    Args:
        received_at: when it came in, by the server's clock.
        sent: how the tablet timed it.
        after: of the tablet's tap before it.
    """
    if sent is None or sent.age_s is None:
        return Moment(received_at)
    at, note = received_at, _NOT_BELIEVED
    if math.isfinite(sent.age_s) and 0 <= sent.age_s <= MOST_AGE.total_seconds():
        at, note = received_at - datetime.timedelta(seconds=sent.age_s), ""
    if after is not None and at < after.at:
        # The server's own clock may have been set back: then what came in is the latest.
        last = min(after.at, received_at)
        note = note or (_PUT_BACK if last - at > _JITTER else "")
        at = last
    return Moment(at, received_at - at > LATE, note)
