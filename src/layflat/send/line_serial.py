"""The line to a machine over a serial port, by pyserial.

pyserial opens and sets the port. Bytes are written to its file directly: its own `write` does not
say how many bytes went when the time is up, and that is what everything here rests on.
"""

import os
import termios
from contextlib import suppress

import serial

from layflat.base import SettingError
from layflat.send.address import SerialAddress
from layflat.send.line import LineError, ready

_MOST_HEARD = 65536


class SerialLine:
    """An open serial port; see `layflat.send.line.Line`.

    With `rtscts` a machine without power takes nothing more, since its wire says "wait". With
    `xonxoff` or `none` bytes go out whether anybody listens or not.
    """

    def __init__(self, address: SerialAddress) -> None:
        """Open and set the port, for nobody else.

        Raises:
            LineError: it is not there, in use, or not allowed.
            SettingError: it cannot be set so.
        """
        self.tells = address.flow == "rtscts"
        self._name = address.device
        try:
            self._port = serial.Serial(
                port=address.device,
                baudrate=address.baud,
                bytesize=address.bits,
                parity=address.parity.upper(),
                stopbits=address.stop,
                xonxoff=address.flow == "xonxoff",
                rtscts=address.flow == "rtscts",
                timeout=0,
                write_timeout=0,
                exclusive=True,
            )
        except ValueError as error:
            raise SettingError(f"{address} cannot be set: {error}.") from error
        except (OSError, termios.error) as error:
            raise LineError(
                f"{self._name} cannot be opened: {_why(error)}. Is the cable in, is the name "
                "right, may your user use it, and does no other program hold it?"
            ) from error
        if not hasattr(self._port, "fileno"):
            self._port.close()
            raise SettingError(
                f"{address}: serial ports are driven on Linux and macOS only. Use the machine's "
                "network port, or carry the file there."
            )
        self._heard = bytearray()

    def offer(self, data: bytes, *, wait_s: float) -> int:
        """See `Line.offer`."""
        try:
            file = self._port.fileno()
            can_read, can_write = ready(file, write=bool(data), wait_s=wait_s)
            if can_read:
                self._hear(file)
            return os.write(file, data) if can_write and data else 0
        except BlockingIOError:
            return 0
        except OSError as error:
            raise LineError(f"the port {self._name} was lost: {_why(error)}") from error

    def _hear(self, file: int) -> None:
        with suppress(BlockingIOError):
            got = os.read(file, 4096)
            if not got:
                raise LineError(f"the port {self._name} was lost: it is gone")
            self._heard += got
            del self._heard[:-_MOST_HEARD]

    def waiting(self) -> int:
        """What the port has not sent; see `Line.waiting`."""
        try:
            return int(self._port.out_waiting)
        except OSError as error:
            raise LineError(f"the port {self._name} was lost: {_why(error)}") from error

    def heard(self) -> bytes:
        """See `Line.heard`."""
        said = bytes(self._heard)
        self._heard.clear()
        return said

    def close(self, *, discard: bool) -> None:
        """See `Line.close`. A port that closes with bytes to send would wait for them."""
        with suppress(OSError, termios.error):
            if discard or self._port.out_waiting:
                self._port.reset_output_buffer()
        with suppress(OSError, termios.error):
            self._port.close()


def _why(error: OSError | termios.error) -> str:
    """The system's own words. The errors of termios are no `OSError`."""
    number = error.errno if isinstance(error, OSError) else error.args[0]
    return os.strerror(number) if number else str(error)
