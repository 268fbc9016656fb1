"""One sender to a machine: two programs mixed on one line would cut anything."""

import fcntl
import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from layflat.base import OutputError
from layflat.send.address import Address


@contextmanager
def one_sender(address: Address, *, folder: Path | None = None) -> Iterator[None]:
    """Hold the machine at *address* while the block runs; the end of the process lets it go.

    Args:
        address: of the machine. It is known by this address only: by another name, or from
            another computer, it is another one.
        folder: where locks lie; the system's folder for temporary files without.

    Raises:
        OutputError: somebody is sending there, or the lock cannot be made.
    """
    name = hashlib.sha256(address.key.encode()).hexdigest()[:20]
    path = (folder or Path(tempfile.gettempdir())) / f"layflat-send-{name}.lock"
    try:
        # Another user's lock can be held, though not be written to.
        flags = os.O_RDONLY | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
        handle = os.open(path, flags, 0o644)
    except OSError as error:
        raise OutputError(f"{path} cannot be made: {error.strerror}.") from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise OutputError(
                f"Somebody is sending to {address} already; two programs at once would cut "
                "anything. Wait until that one has ended."
            ) from None
        yield
    finally:
        os.close(handle)
