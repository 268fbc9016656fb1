"""A plotter that stands in for one: its own reader of HP-GL, a bounded buffer, a knife, film.

It shares no code with what it tests. It reads character by character, as a machine does: a
coordinate is acted upon when a character after it shows that it is whole, so that half a command
stays half until more comes. Work is counted in plotter units of way, never in seconds.
"""

import contextlib
import math
import os
import pty
import select
import socket
import struct
import threading
import time
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable

XON, XOFF = b"\x11", b"\x13"


class Plotter:
    """The machine without its line.

    Attributes:
        size: what its buffer holds, in bytes.
        feed: 2 x 2: where on the film a told place comes to lie.
        cuts: polylines on the film, one for each lowering of the knife, in plotter units.
        said: what it has answered and nobody has fetched.
        received: all bytes that it took in since the power came on.
        overrun: how many bytes came when the buffer was full, and were lost.
        is_on: whether it has power.
        way: how far the head has gone in all.
    """

    def __init__(
        self, *, size: int = 2000, feed: tuple[tuple[float, float], ...] = ((1, 0), (0, 1))
    ) -> None:
        self.size, self.feed = size, feed
        self.cuts: list[list[tuple[float, float]]] = []
        self.received = bytearray()
        self.overrun = 0
        self.way = 0.0
        self.at = (0.0, 0.0)
        self.is_on = True
        self.power_lost_at = math.inf
        self._reset()

    def _reset(self) -> None:
        self.buffer = bytearray()
        self.said = bytearray()
        self._letters, self._number = "", ""
        self._numbers: list[int] = []
        self._goal: tuple[int, int] | None = None
        self._down = self._pen = self._is_between = self._in_steps = False

    @property
    def free(self) -> int:
        return self.size - len(self.buffer)

    @property
    def is_idle(self) -> bool:
        return not self.buffer and self._goal is None

    def receive(self, data: bytes) -> None:
        if not self.is_on:
            return
        fits = data[: self.free]
        self.overrun += len(data) - len(fits)
        self.buffer += fits
        self.received += fits

    def clear(self) -> None:
        """What a person does at the panel: forget all that was taken in, lift the knife."""
        self._reset()
        self.is_on = True
        self.power_lost_at = math.inf

    def work(self, units: float) -> None:
        """Go on until *units* of way are gone, nothing is left to do, or the power is lost."""
        while self.is_on:
            if self._goal is not None:
                left = math.dist(self.at, self._goal)
                to_loss = self.power_lost_at - self.way
                step = min(left, units, to_loss)
                self._go(self._goal if step == left else self._towards(self._goal, step / left))
                self._is_between = step < left
                self.way += step
                units -= step
                if step == to_loss:
                    self._reset()
                    self.is_on = False
                    return
                if step < left:
                    return
                self._goal = None
            elif self.buffer:
                self._read(chr(self.buffer.pop(0)))
            else:
                return

    def _towards(self, goal: tuple[int, int], part: float) -> tuple[float, float]:
        return (
            self.at[0] + part * (goal[0] - self.at[0]),
            self.at[1] + part * (goal[1] - self.at[1]),
        )

    def _go(self, place: tuple[float, float]) -> None:
        self.at = place
        if self._down and self._pen:
            if self._is_between:
                self.cuts[-1].pop()
            self.cuts[-1].append(self.on_film(place))

    def on_film(self, place: tuple[float, float]) -> tuple[float, float]:
        (a, b), (c, d) = self.feed
        return a * place[0] + b * place[1], c * place[0] + d * place[1]

    def _read(self, char: str) -> None:
        if char.isdigit() or char in "-.":
            self._number += char
            return
        if self._number:
            self._numbers.append(round(float(self._number)))
            self._number = ""
            if self._letters in ("PU", "PD") and len(self._numbers) == 2:
                x, y = (round(value) for value in self.at) if self._in_steps else (0, 0)
                self._goal = (x + self._numbers[0], y + self._numbers[1])
                self._numbers = []
        if char.isalpha() and len(self._letters) == 2:
            self._end_command()
        if char == ";":
            self._end_command()
        elif char.isalpha():
            self._letters += char
            if len(self._letters) == 2:
                self._begin_command()

    def _begin_command(self) -> None:
        if self._letters == "IN":
            self._down = self._pen = self._in_steps = False
        elif self._letters in ("PA", "PR"):
            self._in_steps = self._letters == "PR"
        elif self._letters == "PU":
            self._down = False
        elif self._letters == "PD":
            if not self._down and self._pen:
                self.cuts.append([self.on_film(self.at)])
            self._down = True

    def _end_command(self) -> None:
        if self._letters == "SP":
            self._pen = self._numbers[:1] not in ([], [0])
        elif self._letters == "OA":
            x, y = (round(value) for value in self.at)
            self.said += b"%d,%d,%d\r" % (x, y, self._down and self._pen)
        self._letters, self._numbers = "", []


class _Thread(ABC):
    """A plotter at the end of a line, in a thread of its own, until it is closed."""

    def __init__(self, plotter: Plotter, *, rate: int = 500, speed: float = 4000.0) -> None:
        self.plotter, self.rate, self.speed = plotter, rate, speed
        self.is_stalled = False
        self.stall_at = self.drop_at = math.inf
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "_Thread":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(60.0)
        assert not self._thread.is_alive()
        self.close()

    def wait(self, until: Callable[[], bool]) -> None:
        """Wait for something that must come; a test that hangs fails after a while."""
        end = time.monotonic() + 60.0
        while not until():
            assert time.monotonic() < end, "it did not come"
            time.sleep(0.001)

    def go_on(self) -> None:
        self.is_stalled, self.stall_at = False, math.inf

    def _run(self) -> None:
        while not self._stop.is_set():
            moved = False
            if self.plotter.is_on and not self.is_stalled:
                before = self.plotter.way
                self.plotter.work(self.speed)
                moved = self.plotter.way > before
                self.is_stalled = self.plotter.way >= self.stall_at
            if self.plotter.way >= self.drop_at:
                self.drop_at = math.inf
                self.drop()
            if not self.line(0.0 if moved else 0.002):
                time.sleep(0.0 if moved else 0.001)

    @abstractmethod
    def line(self, wait_s: float) -> bool: ...

    @abstractmethod
    def drop(self) -> None: ...

    @abstractmethod
    def close(self) -> None: ...


class SocketPlotter(_Thread):
    """On a socket: it takes no more than it has room for, and the network holds the rest back."""

    def __init__(self, plotter: Plotter, **more: float) -> None:
        super().__init__(plotter, **more)  # type: ignore[arg-type]
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self._line: socket.socket | None = None
        self.connections = 0

    @property
    def address(self) -> str:
        return f"tcp://127.0.0.1:{self._server.getsockname()[1]}"

    @property
    def is_free(self) -> bool:
        """Whether nobody is connected, and all that came has been read."""
        return self._line is None

    def line(self, wait_s: float) -> bool:
        if self._line is None:
            if not select.select([self._server], [], [], wait_s)[0]:
                return False
            self._line, _ = self._server.accept()
            self._line.setblocking(False)
            self.connections += 1
        most = min(self.rate, self.plotter.free)
        if not self.plotter.is_on or most <= 0:
            return False
        try:
            got = self._line.recv(most)
        except BlockingIOError:
            got = None
        except ConnectionError:
            got = b""
        if got == b"":
            self._line.close()
            self._line = None
            return False
        if got:
            self.plotter.receive(got)
        if self.plotter.said and self._line is not None:
            with contextlib.suppress(OSError):
                self._line.send(bytes(self.plotter.said))
            self.plotter.said.clear()
        return bool(got)

    def drop(self) -> None:
        if self._line is not None:
            gone = struct.pack("ii", 1, 0)
            self._line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, gone)
            self._line.close()
            self._line = None

    def close(self) -> None:
        self.drop()
        self._server.close()


class TerminalPlotter(_Thread):
    """On a pseudo-terminal: it takes whatever comes, and says “wait” by XOFF, “go on” by XON.

    What comes when its buffer is full is lost, as on a real line.
    """

    def __init__(self, plotter: Plotter, *, wait_above: int, **more: float) -> None:
        super().__init__(plotter, **more)  # type: ignore[arg-type]
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        self._slave: int | None = slave
        os.set_blocking(self._master, False)
        self.wait_above = wait_above
        self.waits = 0
        self._says_wait = False

    def address(self, *, flow: str = "xonxoff") -> str:
        return f"serial:{self.device}?baud=115200&flow={flow}"

    def line(self, wait_s: float) -> bool:
        if self._master < 0:
            return False
        got = b""
        if select.select([self._master], [], [], wait_s)[0]:
            with contextlib.suppress(BlockingIOError):
                got = os.read(self._master, 65536)
        self.plotter.receive(got)
        held = len(self.plotter.buffer)
        if not self._says_wait and held > self.wait_above:
            os.write(self._master, XOFF)
            self._says_wait = True
            self.waits += 1
        elif self._says_wait and held < self.wait_above // 4 and self.plotter.is_on:
            os.write(self._master, XON)
            self._says_wait = False
        if self.plotter.said:
            os.write(self._master, bytes(self.plotter.said))
            self.plotter.said.clear()
        return bool(got)

    def drop(self) -> None:
        for file in (self._master, self._slave):
            if file is not None and file >= 0:
                os.close(file)
        self._master, self._slave = -1, None

    def close(self) -> None:
        self.drop()
