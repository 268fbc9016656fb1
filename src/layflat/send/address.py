"""Where a machine is: over the network or on a serial line, written as one address."""

import re
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

from layflat.base import SettingError

RAW_PORT = 9100
"""The port that printers and plotters listen on for plain data ("pdl-datastream" at IANA)."""

_BAUDS = (300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400)
_CHOICES = {
    "baud": tuple(map(str, _BAUDS)),
    "bits": ("7", "8"),
    "parity": ("n", "e", "o"),
    "stop": ("1", "2"),
    "flow": ("xonxoff", "rtscts", "none"),
}
_FORMS = "tcp://HOST:9100 or serial:/dev/ttyUSB0?baud=9600&bits=8&parity=n&stop=1&flow=xonxoff"
_MOST = 300


@dataclass(frozen=True, kw_only=True)
class NetworkAddress:
    """A machine that takes its program over TCP.

    Attributes:
        host: its name or number.
        port: 1 to 65535.
    """

    host: str
    port: int = RAW_PORT

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"tcp://{host}:{self.port}"

    @property
    def key(self) -> str:
        """What is the same for all ways to write this address."""
        return f"tcp {self.host.lower()} {self.port}"


@dataclass(frozen=True, kw_only=True)
class SerialAddress:
    """A machine on a serial line; the settings must be those of the machine.

    Attributes:
        device: the port's path.
        baud: bits a second.
        bits: of a character, 7 or 8.
        parity: n (none), e (even) or o (odd).
        stop: stop bits, 1 or 2.
        flow: how the machine says "wait": xonxoff (by characters), rtscts (by a wire) or none.
    """

    device: str
    baud: int = 9600
    bits: int = 8
    parity: str = "n"
    stop: int = 1
    flow: str = "xonxoff"

    def __str__(self) -> str:
        return (
            f"serial:{self.device}?baud={self.baud}&bits={self.bits}"
            f"&parity={self.parity}&stop={self.stop}&flow={self.flow}"
        )

    @property
    def key(self) -> str:
        """What is the same for all names of this port."""
        return f"serial {Path(self.device).resolve()}"


Address = NetworkAddress | SerialAddress


def read_address(text: str) -> Address:
    """The address that *text* says.

    Raises:
        SettingError: it is none, or has an unknown or impossible setting.
    """
    if len(text) > _MOST or not re.fullmatch(r"[!-~]+", text):
        raise SettingError(f"{text[:40]!r} is no address; write {_FORMS}.")
    try:
        parts = urlsplit(text)
        port = parts.port if parts.scheme == "tcp" else None
        options = dict(parse_qsl(parts.query, keep_blank_values=True, strict_parsing=True))
    except ValueError as error:
        if "?" in text or "tcp:" not in text:
            raise SettingError(f"{text} is no address; write {_FORMS}.") from error
        raise SettingError(f"{text}: the port must be a number from 1 to 65535.") from error
    if parts.scheme == "tcp":
        return _network(text, parts.hostname, port, plain=not (parts.path or parts.username))
    if parts.scheme == "serial" and parts.path and not parts.netloc:
        return _serial(text, parts.path, options)
    raise SettingError(f"{text} is no address; write {_FORMS}.")


def _network(text: str, host: str | None, port: int | None, *, plain: bool) -> NetworkAddress:
    if not host or not plain or "?" in text or "#" in text:
        raise SettingError(f"{text} is no address of a machine; write tcp://HOST:{RAW_PORT}.")
    try:
        host.encode("idna")
    except UnicodeError as error:
        raise SettingError(
            f"{text[:80]}: “{host[:40]}” can be no machine's name; between its dots stand 1 to 63 "
            "letters."
        ) from error
    if port == 0:
        raise SettingError(f"{text}: the port must be a number from 1 to 65535.")
    return NetworkAddress(host=host, port=RAW_PORT if port is None else port)


def _serial(text: str, device: str, options: dict[str, str]) -> SerialAddress:
    for name, value in options.items():
        if name not in _CHOICES:
            known = ", ".join(_CHOICES)
            raise SettingError(f"{text}: “{name}” is not known here; known are {known}.")
        if value.lower() not in _CHOICES[name]:
            listed = ", ".join(_CHOICES[name])
            raise SettingError(f"{text}: “{name}” is {value!r}; it must be one of {listed}.")
    chosen = {name: value.lower() for name, value in options.items()}
    return SerialAddress(
        device=device,
        baud=int(chosen.get("baud", "9600")),
        bits=int(chosen.get("bits", "8")),
        parity=chosen.get("parity", "n"),
        stop=int(chosen.get("stop", "1")),
        flow=chosen.get("flow", "xonxoff"),
    )
