"""Send a program to a machine: the lock, the record, the line and the loop together."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import layflat
from layflat.base import Progress, silent
from layflat.cut import Machine
from layflat.send.address import Address, NetworkAddress
from layflat.send.again import cut_to_begin_with
from layflat.send.drive import Outcome, Pace, drive, nothing_asked
from layflat.send.line import Line
from layflat.send.line_network import NetworkLine
from layflat.send.line_serial import SerialLine
from layflat.send.lock import one_sender
from layflat.send.record import FORM, Record, read_record
from layflat.send.resume import prelude
from layflat.send.spool import Spool, told_spool
from layflat.send.state import Ask, Sending
from layflat.send.stream import Stream, stream_of


@dataclass(frozen=True, kw_only=True)
class GoOn:
    """How a program goes on that was broken off.

    Attributes:
        done: how many cuts are whole on the film, as a person saw; None if nobody looked.
        cleared: whether a person says that the machine was cleared and counts from the same place.
    """

    done: int | None = None
    cleared: bool = False


def open_line(address: Address) -> Line:
    """The line to an address.

    Raises:
        LineError: it cannot be opened.
        SettingError: a serial port cannot be set so.
    """
    return NetworkLine(address) if isinstance(address, NetworkAddress) else SerialLine(address)


def send(
    spool: Spool,
    *,
    address: Address,
    machine: Machine,
    record_path: Path,
    section: int = 0,
    go_on: GoOn | None = None,
    pace: Pace | None = None,
    asks: Callable[[], Ask | None] = nothing_asked,
    progress: Progress = silent,
    lock_folder: Path | None = None,
) -> Outcome:
    """Send a program, or what is left of it.

    Nothing goes down the line before the lock is held, the line is open and the record on the
    disk. Whatever happens then, the record says how far it may have gone.

    Args:
        spool: the program; it is told in the machine's own way of counting.
        address: where the machine is.
        machine: what it takes in and answers, and the knife.
        record_path: the record; a new file, or, with *go_on*, that of what was begun.
        section: which of its file the program is, for the record; 0 for the whole.
        go_on: how to take up what was begun; None to begin.
        pace: how long to wait.
        asks: what the person wants, asked several times a second.
        progress: told how far it is; see `drive` for stopping.
        lock_folder: where the lock of the machine lies.

    Raises:
        InputError: it cannot be gone on with so.
        LineError: the machine cannot be reached.
        OutputError: somebody is sending there, or the record cannot be written.
        StoppedError: the progress stopped it.
    """
    spool = told_spool(spool, machine)
    with (
        one_sender(address, folder=lock_folder),
        ExitStack() as open_files,
        ExitStack() as unused,
    ):
        record = Record(record_path, again=go_on is not None)
        open_files.callback(record.close)
        if go_on is None:
            # A record in which nothing was begun would be in the way of the next sending.
            unused.callback(record_path.unlink, missing_ok=True)
        cut, stream = _what(spool, machine=machine, record_path=record_path, go_on=go_on)
        line = open_line(address)
        try:
            record.write(
                "began",
                form=FORM,
                layflat=layflat.__version__,
                program=spool.name,
                section=section,
                sha256=spool.sha256,
                bytes=len(spool.data),
                address=str(address),
                machine=machine.name,
                buffer_bytes=machine.buffer_bytes,
                cut=cut,
                begin=stream.begin,
            )
        except BaseException:
            line.close(discard=True)
            raise
        unused.pop_all()
        sending = Sending(stream=stream, buffer_bytes=machine.buffer_bytes, tells=line.tells)
        return drive(
            spool, sending, line=line, record=record, pace=pace, asks=asks, progress=progress
        )


def _what(
    spool: Spool, *, machine: Machine, record_path: Path, go_on: GoOn | None
) -> tuple[int, Stream]:
    """The first cut to be made, and the bytes from there on."""
    asks = machine.answers_position
    if go_on is None:
        return 0, stream_of(spool, asks=asks)
    past = read_record(record_path)
    cut = cut_to_begin_with(spool, past, done=go_on.done, cleared=go_on.cleared)
    before = prelude(spool, cut=cut, machine=machine)
    return cut, stream_of(spool, cut=cut, before=before, asks=asks)
