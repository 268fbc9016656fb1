"""Real lines: a socket and a pseudo-terminal, with a plotter at the other end."""

import contextlib
import itertools
import os
import socket
import threading
from pathlib import Path

import pytest

from layflat.base import InputError, LayflatError, OutputError
from layflat.cut import Machine, generic_machine
from layflat.send import (
    Ask,
    GoOn,
    LineError,
    NetworkAddress,
    Outcome,
    Pace,
    Record,
    State,
    line_network,
    read_address,
    read_record,
    send,
)
from layflat.send.lock import one_sender
from send.programs import drawn, film, patient, spool
from send.stand_in import Plotter, SocketPlotter, TerminalPlotter

PROGRAM = spool(12, points=60)
WANTED = drawn(PROGRAM.data)
LONG = spool(10, points=1500)
MIDDLE = spool(10, points=600)
QUICK = Pace(tick_s=0.01, patience_s=60.0)


def machine(**changes: int | bool) -> Machine:
    import dataclasses

    return dataclasses.replace(generic_machine(), **changes)  # type: ignore[arg-type]


def sent(folder: Path, address: str, **more: object) -> Outcome:
    given: dict[str, object] = {
        "machine": machine(), "record_path": folder / "one.sending", "pace": QUICK,
        "lock_folder": folder, **more,
    }  # fmt: skip
    program = given.pop("program", PROGRAM)
    return send(program, address=read_address(address), **given)  # type: ignore[arg-type]


def test_a_program_goes_over_a_socket_whole(tmp_path: Path) -> None:
    with SocketPlotter(Plotter(size=1000)) as there:
        outcome = sent(tmp_path, there.address, machine=machine(answers_position=True))
        assert outcome.state is State.DONE
        assert outcome.account.whole == outcome.account.count == 13
        assert there.plotter.cuts == WANTED


def test_a_machine_that_stalls_is_waited_for_and_nothing_is_lost(tmp_path: Path) -> None:
    with SocketPlotter(Plotter(size=500), rate=100) as there:
        there.stall_at = 9000.0
        calls = itertools.count()

        def progress(_words: str, _fraction: float) -> None:
            if there.is_stalled and next(calls) == 10:
                there.go_on()

        outcome = sent(tmp_path, there.address, program=MIDDLE, progress=progress)
        there.wait(
            lambda: there.plotter.is_idle and len(there.plotter.received) == len(MIDDLE.data)
        )
        assert next(calls) > 10
        assert outcome.state is State.DONE
        assert there.plotter.cuts == drawn(MIDDLE.data)


def test_a_connection_that_drops_in_mid_cut_is_taken_up_again(tmp_path: Path) -> None:
    plotter = Plotter(size=600)
    with SocketPlotter(plotter, rate=100) as there:
        there.drop_at = 60_000.0
        most = machine(buffer_bytes=20_000)
        outcome = sent(tmp_path, there.address, program=MIDDLE, machine=most)
        assert outcome.state is State.BROKEN
        assert outcome.sentence.startswith("Lost: ")
        there.wait(lambda: plotter.is_idle)
        found = film(plotter.cuts, drawn(MIDDLE.data))
        assert outcome.account.whole <= found.done <= outcome.account.begun
        assert outcome.account.begun < outcome.account.count
        with pytest.raises(InputError, match=r"ended by force.*half a command"):
            sent(tmp_path, there.address, program=MIDDLE, machine=most, go_on=GoOn())
        with pytest.raises(InputError, match="Look at the film and give --done N"):
            sent(tmp_path, there.address, program=MIDDLE, machine=most, go_on=GoOn(cleared=True))
        plotter.clear()
        go_on = GoOn(done=found.done, cleared=True)
        again = sent(tmp_path, there.address, program=MIDDLE, machine=most, go_on=go_on)
        there.wait(lambda: plotter.is_idle and plotter.at == MIDDLE.end)
        assert again.state is State.DONE
        after = film(plotter.cuts, drawn(MIDDLE.data))
        assert (after.whole, after.strays) == ([1] * 10, [])
        assert there.connections == 2
        with pytest.raises(InputError, match="Nothing is left"):
            sent(tmp_path, there.address, program=MIDDLE, machine=most, go_on=GoOn())


def test_power_lost_in_mid_cut_is_noticed_and_bounded(tmp_path: Path) -> None:
    plotter = Plotter(size=600)
    plotter.power_lost_at = 60_000.0
    with SocketPlotter(plotter) as there:
        outcome = sent(
            tmp_path, there.address, program=MIDDLE, machine=machine(buffer_bytes=20_000),
            pace=patient(plotter),
        )  # fmt: skip
        assert outcome.state is State.BROKEN
        assert "has taken nothing for 5 s" in outcome.sentence
        found = film(plotter.cuts, drawn(MIDDLE.data))
        assert outcome.account.whole <= found.done < outcome.account.begun
        assert sum(found.part) == 1


class KilledError(BaseException):
    """The process ends without a word."""


def test_a_sender_that_is_killed_leaves_a_record_to_go_on_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plotter = Plotter(size=2000)
    with SocketPlotter(plotter) as there:

        def progress(_words: str, _fraction: float) -> None:
            if len(plotter.received) > 25_000:
                raise KilledError

        plain = Record.write
        with monkeypatch.context() as patch:
            patch.setattr(
                Record, "write", lambda *a, **k: None if a[1] == "ended" else plain(*a, **k)
            )
            with pytest.raises(KilledError):
                sent(tmp_path, there.address, program=MIDDLE, progress=progress)
        there.wait(lambda: there.is_free and plotter.is_idle)
        past = read_record(tmp_path / "one.sending")
        assert (past.how, past.least) == ("crashed", 0)
        assert len(plotter.received) <= past.most < len(MIDDLE.data)
        done = film(plotter.cuts, drawn(MIDDLE.data)).done
        plotter.clear()
        go_on = GoOn(done=done, cleared=True)
        assert sent(tmp_path, there.address, program=MIDDLE, go_on=go_on).state is State.DONE
        there.wait(lambda: plotter.is_idle and plotter.at == MIDDLE.end)
        assert film(plotter.cuts, drawn(MIDDLE.data)).whole == [1] * 10


@pytest.mark.parametrize("flow", ["xonxoff", "none"])
def test_xoff_holds_a_serial_line_and_without_it_bytes_are_lost(tmp_path: Path, flow: str) -> None:
    """The same plotter, that takes whatever comes, with and without flow control.

    Without it the plotter stands nearly still, so that what is lost does not hang on how fast the
    program comes.
    """
    program = spool(20, points=2000)
    assert len(program.data) > 300_000
    speed = 30_000.0 if flow == "xonxoff" else 1.0
    with TerminalPlotter(Plotter(size=150_000), wait_above=8000, speed=speed) as there:
        outcome = sent(tmp_path, there.address(flow=flow), program=program)
        assert outcome.state is State.DONE
        if flow == "none":
            there.wait(lambda: there.plotter.overrun > 0)
            return
        there.wait(lambda: len(there.plotter.received) == len(program.data))
        assert bytes(there.plotter.received) == program.data
        assert there.plotter.overrun == 0
        assert there.waits >= 1


def test_a_serial_port_that_goes_is_told_and_nothing_counts_as_certain(tmp_path: Path) -> None:
    with TerminalPlotter(Plotter(size=100_000), wait_above=2000, speed=1000.0) as there:
        there.drop_at = 9000.0
        most = machine(buffer_bytes=100)
        outcome = sent(tmp_path, there.address(), program=LONG, machine=most)
        assert outcome.state is State.BROKEN
        assert "was lost" in outcome.sentence
        assert outcome.account.whole == 0


def test_a_serial_machine_that_answers_says_what_is_done(tmp_path: Path) -> None:
    with TerminalPlotter(Plotter(size=4000), wait_above=2000) as there:
        outcome = sent(tmp_path, there.address(), machine=machine(answers_position=True))
        assert outcome.sentence.endswith("says the machine.")
        assert there.plotter.cuts == WANTED


def test_two_senders_are_not_mixed(tmp_path: Path) -> None:
    with SocketPlotter(Plotter()) as there:
        address = read_address(there.address)
        held, free = threading.Event(), threading.Event()

        def other() -> None:
            with one_sender(address, folder=tmp_path):
                held.set()
                free.wait(60.0)

        thread = threading.Thread(target=other)
        thread.start()
        held.wait(60.0)
        with pytest.raises(OutputError, match="Somebody is sending to tcp://"):
            sent(tmp_path, there.address)
        free.set()
        thread.join()
        assert not (tmp_path / "one.sending").exists()
        assert sent(tmp_path, there.address).state is State.DONE
        with pytest.raises(OutputError, match="was sent, or begun"):
            sent(tmp_path, there.address)
        there.wait(lambda: there.plotter.is_idle)
        assert there.plotter.cuts == WANTED


def test_a_stop_at_once_on_a_stalled_line_does_not_hang(tmp_path: Path) -> None:
    with TerminalPlotter(Plotter(size=100_000), wait_above=2000, speed=1000.0) as there:
        there.stall_at = 0.0
        outcome = sent(
            tmp_path, there.address(), program=LONG,
            asks=lambda: Ask.AT_ONCE if there.waits else None,
        )  # fmt: skip
        assert outcome.state is State.CUT_OFF


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("tcp://127.0.0.1:1", "cannot be reached: Connection refused. Is the machine on"),
        ("serial:/dev/no-such-port", "cannot be opened: No such file or directory. Is the cable"),
    ],
)
def test_a_machine_that_is_not_there_leaves_no_record(
    tmp_path: Path, address: str, words: str
) -> None:
    with pytest.raises(LineError, match=words) as raised:
        sent(tmp_path, address)
    assert isinstance(raised.value, LayflatError)
    assert not (tmp_path / "one.sending").exists()


def test_a_record_that_cannot_be_begun_is_not_left_in_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OutputError("one.sending cannot be written: No space left on device.")

    with SocketPlotter(Plotter()) as there:
        with monkeypatch.context() as patch:
            patch.setattr(Record, "write", full)
            with pytest.raises(OutputError, match="No space left"):
                sent(tmp_path, there.address)
        assert not (tmp_path / "one.sending").exists()
        assert there.plotter.received == b""
        assert sent(tmp_path, there.address).state is State.DONE


def test_half_a_line_of_a_record_does_not_spoil_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = Record(tmp_path / "one.sending")
    began = {"form": 1, "program": "p", "section": 0, "sha256": "", "begin": 0}
    record.write("began", **began)
    plain = os.write
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", lambda file, data: plain(file, data[:20]))
        with pytest.raises(OutputError, match="No space left on device"):
            record.write("window", through=512, least=0)
    record.write("ended", how="stopped", least=0, most=0, reason="")
    record.close()
    assert read_record(tmp_path / "one.sending").how == "stopped"


def test_a_machine_that_goes_on_talking_does_not_keep_the_sender(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(line_network, "_MOST_FAREWELL_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = line_network.NetworkLine(
            NetworkAddress(host="127.0.0.1", port=server.getsockname()[1])
        )
        other, _ = server.accept()
        closed = threading.Event()

        def talk() -> None:
            with other, contextlib.suppress(OSError):
                while not closed.is_set():
                    other.send(b"1,2,0\r")

        def close() -> None:
            line.close(discard=False)
            closed.set()

        talker = threading.Thread(target=talk, daemon=True)
        closer = threading.Thread(target=close, daemon=True)
        talker.start()
        closer.start()
        closed.wait(30.0)
        is_closed = closed.is_set()
        closed.set()
        talker.join()
        closer.join()
        assert is_closed
