"""Where a program goes on that was broken off: at a safe point, with nothing made twice unasked."""

from layflat.base import InputError
from layflat.send.account import account_of
from layflat.send.record import Past
from layflat.send.spool import Spool

_LEAVES_DOUBT = ("broken", "cut off", "crashed")


def cut_to_begin_with(spool: Spool, past: Past, *, done: int | None, cleared: bool) -> int:
    """Index of the first cut that is still to be made.

    Args:
        spool: the program as it is now.
        past: what the record says.
        done: how many cuts are whole on the film, as a person saw; None if nobody looked.
        cleared: whether a person says that the machine holds nothing any more, stands with the
            knife up, and counts from the place it counted from.

    Raises:
        InputError: the program is another, nothing is left, or a person must look first.
    """
    if spool.sha256 != past.sha256:
        raise InputError(
            f"{spool.name} is not the program that was begun: its bytes are others. What was begun "
            "can only be gone on with from the same file."
        )
    account = account_of(spool, least=past.least, most=past.most)
    if past.how in _LEAVES_DOUBT and not cleared:
        raise InputError(
            f"That sending ended by force ({past.reason or past.how}). {account.sentence} The "
            "machine may hold half a command: clear it by its own means, see that the knife is up "
            "and that it counts from the same place as before, then give --cleared."
        )
    if done is None:
        done = account.begun
        if past.how in _LEAVES_DOUBT and account.whole < account.begun:
            raise InputError(
                f"{account.sentence} Look at the film and give --done N: how many cuts are whole, "
                f"from {account.whole} to {account.begun}. Cut N + 1 is then made from its start."
            )
    if not account.whole <= done <= account.begun:
        raise InputError(
            f"{done} whole cuts cannot be: {account.sentence} Give a number from {account.whole} "
            f"to {account.begun}."
        )
    if done == account.count:
        raise InputError(f"Nothing is left to send: all {account.count} cuts were handed over.")
    return done
