"""The line to a machine over TCP.

The network's own back-pressure is the flow control: a machine that is full takes nothing, and
nothing is lost. What left this computer is what the other side has acknowledged.
"""

import fcntl
import socket
import struct
import termios
import time
from contextlib import suppress

from layflat.send.address import NetworkAddress
from layflat.send.line import LineError, ready

_SEND_BUFFER = 4096
_MOST_HEARD = 65536
_FAREWELL_S = 1.0
_MOST_FAREWELL_S = 10.0


class NetworkLine:
    """An open connection; see `layflat.send.line.Line`."""

    tells = True

    def __init__(self, address: NetworkAddress, *, wait_s: float = 10.0) -> None:
        """Connect within *wait_s* seconds.

        Raises:
            LineError: nobody answers there.
        """
        self._name = str(address)
        try:
            self._socket = socket.create_connection((address.host, address.port), timeout=wait_s)
        except TimeoutError as error:
            raise LineError(
                f"{address} does not answer within {wait_s:g} s. Is the machine on, and the "
                "address right?"
            ) from error
        except (OSError, UnicodeError) as error:
            why = getattr(error, "strerror", None) or str(error)
            raise LineError(
                f"{address} cannot be reached: {why}. Is the machine on, and the address right?"
            ) from error
        self._socket.setblocking(False)
        # A small buffer on this side, so that little is on the way when somebody says stop.
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._heard = bytearray()

    def offer(self, data: bytes, *, wait_s: float) -> int:
        """See `Line.offer`."""
        try:
            can_read, can_write = ready(self._socket.fileno(), write=bool(data), wait_s=wait_s)
            if can_read:
                self._hear()
            return self._socket.send(data) if can_write and data else 0
        except BlockingIOError:
            return 0
        except OSError as error:
            raise LineError(f"the connection to {self._name} broke: {error.strerror}") from error

    def _hear(self) -> None:
        got = self._socket.recv(4096)
        if not got:
            raise LineError(f"{self._name} closed the connection")
        self._heard += got
        del self._heard[:-_MOST_HEARD]

    def waiting(self) -> int:
        """What the other side has not acknowledged; see `Line.waiting`."""
        held = struct.pack("i", 0)
        try:
            (count,) = struct.unpack("i", fcntl.ioctl(self._socket, termios.TIOCOUTQ, held))
        except OSError:
            count = self._socket.getsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF)
        return int(count)

    def heard(self) -> bytes:
        """See `Line.heard`."""
        said = bytes(self._heard)
        self._heard.clear()
        return said

    def close(self, *, discard: bool) -> None:
        """See `Line.close`."""
        with suppress(OSError):
            if discard:
                self._socket.setsockopt(
                    socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0)
                )
            else:
                # Closing with unread answers would make this side break the connection off.
                self._socket.shutdown(socket.SHUT_WR)
                until = time.monotonic() + _MOST_FAREWELL_S
                # One that goes on talking is not listened to for ever.
                while (left := until - time.monotonic()) > 0.0:
                    self._socket.settimeout(min(_FAREWELL_S, left))
                    if not self._socket.recv(4096):
                        break
        self._socket.close()
