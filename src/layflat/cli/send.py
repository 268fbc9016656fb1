"""`layflat send`: a cut program to the machine."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import click

from layflat.base import InputError, OutputError, Report
from layflat.cli.console import (
    FILE,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
)
from layflat.cut import generic_machine, read_machine
from layflat.send import (
    Ask,
    GoOn,
    HaltedError,
    Outcome,
    Pace,
    Spool,
    State,
    read_address,
    send,
    spool_of_file,
)

_CAUTION = (
    "The emergency stop is on the machine. Hands, hair and sleeves off the head while it may move; "
    "its maker's instructions go first."
)


@contextmanager
def _asks() -> Iterator[Callable[[], Ask | None]]:
    """What signals ask for: the first Ctrl-C stops, the second at once; Ctrl-Z pauses, goes on."""
    asked: list[Ask] = []
    stops, pauses = [Ask.AT_ONCE, Ask.STOP], [Ask.PAUSE]

    def stop(_number: int, _frame: FrameType | None) -> None:
        asked.append(stops.pop() if len(stops) > 1 else stops[0])

    def pause(_number: int, _frame: FrameType | None) -> None:
        asked.append(pauses[0])
        pauses[0] = Ask.GO_ON if pauses[0] is Ask.PAUSE else Ask.PAUSE

    handlers = {signal.SIGINT: stop, signal.SIGTERM: stop, signal.SIGHUP: stop}
    handlers[signal.SIGTSTP] = pause
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield lambda: asked.pop(0) if asked else None
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@click.command("send")
@click.argument("program", type=FILE)
@click.option(
    "--to",
    "to",
    required=True,
    help="tcp://HOST:9100, or serial:/dev/ttyUSB0?baud=9600&bits=8&parity=n&stop=1"
    "&flow=xonxoff|rtscts|none",
)
@click.option(
    "--machine",
    "machine_path",
    type=FILE,
    help="Machine file (TOML) that the program was made with; the generic plotter without.",
)
@click.option("--section", type=int, default=0, help="The section of PROGRAM, from 1.")
@click.option(
    "--cuts", "cuts_path", type=FILE, help="The report of `layflat cut`, for the names of cuts."
)
@click.option(
    "--record",
    "record_path",
    type=FILE,
    help="The record of this sending, a new file; PROGRAM.sending without.",
)
@click.option("--resume", "resume_path", type=FILE, help="Go on with what this record began.")
@click.option("--done", type=int, help="With --resume: how many cuts are whole on the film.")
@click.option(
    "--cleared",
    is_flag=True,
    help="With --resume: the machine was cleared, its knife is up, and it counts from the same "
    "place as before.",
)
@click.option(
    "--patience",
    type=click.FloatRange(1.0, 86400.0),
    default=600.0,
    show_default=True,
    help="Seconds that the machine may take nothing before the line counts as lost.",
)
@report_option
@json_option
def command(
    program: Path,
    to: str,
    machine_path: Path | None,
    section: int,
    cuts_path: Path | None,
    record_path: Path | None,
    resume_path: Path | None,
    done: int | None,
    cleared: bool,
    patience: float,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Send PROGRAM, a cut program of `layflat cut` or `layflat job`, to the machine.

    Ctrl-C stops at the next safe point: the knife up, between two cuts. A second Ctrl-C stops at
    once and says what is in doubt. Ctrl-Z pauses at the next safe point, and again goes on.

    What may have been sent is on the disk before it is sent, so that a program can be gone on with
    after a cable was pulled or this computer stopped. Nothing is sent twice unasked. The file can
    always be carried to the machine instead.

    \b
    Examples:
      layflat send layout.plt --to tcp://plotter:9100 --machine plotter.toml
      layflat send layout.plt --to "serial:/dev/ttyUSB0?baud=9600&flow=rtscts"
      layflat send layout.plt --to tcp://plotter --resume layout.plt.sending --done 12 --cleared

    The emergency stop is on the machine. Keep hands, hair and sleeves off the head while it may
    move, paused or not; the machine maker's instructions go first.
    """
    read = [path for path in (program, machine_path, cuts_path) if path is not None]
    require_outputs(report_path, inputs=read)
    address = read_address(to)
    machine = generic_machine() if machine_path is None else read_machine(machine_path)
    if resume_path is None and (done is not None or cleared):
        raise InputError("--done and --cleared belong to --resume RECORD.")
    if resume_path is not None and record_path is not None:
        raise OutputError("A resumed sending goes on in its own record; leave --record out.")
    spool = spool_of_file(program, section=section, cuts_path=cuts_path, machine=machine)
    tail = f"-{section}.sending" if section else ".sending"
    record = resume_path or record_path or program.with_name(program.name + tail)
    click.echo(_CAUTION, err=True)
    with progress_shown() as progress, _asks() as asks:
        outcome = send(
            spool,
            address=address,
            machine=machine,
            record_path=record,
            section=section,
            go_on=None if resume_path is None else GoOn(done=done, cleared=cleared),
            pace=Pace(patience_s=patience),
            asks=asks,
            progress=progress,
        )
    report = Report(
        kind="send",
        inputs=Report.hashes(*read),
        results=_results(outcome, spool, to=str(address), record=record),
    )
    well = outcome.state is State.DONE
    hand_out(
        report,
        lines=[outcome.sentence, f"{record}: the record."] if well else [],
        as_json=as_json,
        report_path=report_path,
    )
    if not well:
        ending = f"{outcome.sentence} Go on by --resume {record}."
        raise OutputError(ending) if outcome.reason else HaltedError(ending)


def _results(outcome: Outcome, spool: Spool, *, to: str, record: Path) -> dict[str, object]:
    """What a report says of a sending."""
    account = outcome.account
    return {
        "state": outcome.state.value,
        "sentence": outcome.sentence,
        "program": spool.name,
        "bytes": len(spool.data),
        "address": to,
        "record": record,
        "cuts": account.count,
        "whole_for_certain": account.whole,
        "begun_at_most": account.begun,
        "in_doubt": list(account.doubtful),
        "strokes_whole_for_certain": account.whole_strokes,
        "strokes_begun_at_most": account.begun_strokes,
    }
