"""Whether somebody answers at a machine's address; nothing is sent."""

import os
import socket
from pathlib import Path
from typing import Final

from layflat.base import OutputError
from layflat.send import NetworkAddress, one_sender, read_address

_WAIT_S: Final = 2.0


def look(address: str) -> str:
    """Say in a sentence that the machine is there.

    Raises:
        LayflatError: the address is none, nobody answers there, or somebody is sending there.
    """
    where = read_address(address)
    with one_sender(where):
        if isinstance(where, NetworkAddress):
            _connect(where)
            return f"Something answers at {where}. Nothing was sent; look whether it is the right."
        _require_port(where.device)
    return (
        f"The port {where.device} is there and may be used. Whether the machine is switched on "
        "shows only when something is sent."
    )


def _connect(where: NetworkAddress) -> None:
    try:
        socket.create_connection((where.host, where.port), timeout=_WAIT_S).close()
    except (OSError, UnicodeError) as error:
        told = getattr(error, "strerror", None)
        why = told or ("no answer" if isinstance(error, TimeoutError) else str(error))
        raise OutputError(
            f"Nobody answers at {where}: {why}. Is the machine on, is the cable in, and is the "
            "address right?"
        ) from error


def _require_port(device: str) -> None:
    try:
        is_port = Path(device).is_char_device()
        Path(device).stat()
    except OSError as error:
        raise OutputError(
            f"There is no port {device}: {error.strerror}. Is the cable in, and is the name right?"
        ) from error
    if not is_port:
        raise OutputError(f"{device} is no serial port; look at the name again.")
    if not os.access(device, os.R_OK | os.W_OK):
        raise OutputError(f"Layflat may not use {device}; its user must be in the port's group.")
