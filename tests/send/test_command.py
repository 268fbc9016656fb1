"""`layflat send`: what a person sees, asks for and is told."""

import json
import os
import signal
from pathlib import Path

import pytest

from cut.shapes import machine, plate
from layflat.cli import main
from layflat.cut import cut_report, machine_toml, program
from layflat.pattern import dxf_text
from layflat.send import read_record
from send.programs import drawn, film, text
from send.stand_in import Plotter, SocketPlotter, TerminalPlotter

MADE = program(plate(), machine())
DATA = MADE.hpgl.encode()


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "plate.plt").write_bytes(DATA)
    (tmp_path / "cut.json").write_text(json.dumps(cut_report(MADE)))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    return tmp_path


def test_a_program_is_sent_and_reported(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with SocketPlotter(Plotter()) as there:
        assert main(["send", "plate.plt", "--to", there.address, "--cuts", "cut.json"]) == 0
        said = capsys.readouterr()
        assert "The emergency stop is on the machine." in said.err
        assert "all 4 cuts are sent" in said.out
        there.wait(lambda: there.plotter.is_idle and len(there.plotter.received) == len(DATA))
        assert there.plotter.cuts == drawn(DATA)
        assert main(["send", "plate.plt", "--to", there.address]) == 2
        assert "--record to send it once more" in capsys.readouterr().err
        again = ["send", "plate.plt", "--to", there.address, "--record", "b", "--json"]
        assert main([*again, "--report", "r.json"]) == 0
        report = json.loads(capsys.readouterr().out)
        assert report == json.loads((files / "r.json").read_text())
        assert (report["state"], report["cuts"], report["record"]) == ("done", 4, "b")


def test_a_machine_that_counts_in_its_own_way_is_sent_what_it_understands(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From layout to film: cut for such a machine, sent to it from the file, the same cuts made."""
    ours = machine(swap_axes=True, mirror_y=True, origin_y_mm=300.0, relative=True, name="Ours")
    (files / "ours.toml").write_text(machine_toml(ours))
    (files / "layout.dxf").write_text(dxf_text(plate()))
    assert main(["cut", "layout.dxf", "--machine", "ours.toml", "-o", "ours.plt"]) == 0
    assert main(["cut", "layout.dxf", "-o", "plain.plt"]) == 0
    plain = drawn((files / "plain.plt").read_bytes())
    sent = ["send", "ours.plt", "--machine", "ours.toml", "--to"]
    with SocketPlotter(Plotter()) as there:
        assert main([*sent, there.address]) == 0
        there.wait(lambda: there.plotter.is_idle and len(there.plotter.cuts) == len(plain))
        # Its x is 300 mm less what lies across the roll, its y what lies along.
        turned = [[(y, 12000 - x) for x, y in cut] for cut in there.plotter.cuts]
        assert turned == plain
        capsys.readouterr()
        assert main(["send", "plain.plt", "--machine", "ours.toml", "--to", there.address]) == 2
        assert "counts in its own way" in capsys.readouterr().err
        assert main(["send", "ours.plt", "--to", there.address, "--record", "c"]) == 2


def test_ctrl_c_stops_at_a_safe_point_and_resume_makes_the_rest(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = text(12, points=1500)
    (files / "long.plt").write_bytes(data)
    plotter = Plotter(size=200_000)
    with TerminalPlotter(plotter, wait_above=2000, speed=200_000.0) as there:
        first = ["send", "long.plt", "--to", there.address()]
        interrupt_when(there)
        assert main(first) == 130
        words = capsys.readouterr().err
        assert "Stopped before cut " in words
        assert "Go on by --resume long.plt.sending" in words
        past = read_record(files / "long.plt.sending")
        there.wait(lambda: plotter.is_idle and len(plotter.received) == past.most)
        assert past.how == "stopped"
        assert sum(film(plotter.cuts, drawn(data)).part) == 0
        assert main([*first, "--resume", "long.plt.sending"]) == 0
        there.wait(lambda: plotter.is_idle and plotter.at == (1000 + 700 * 12, 0))
        assert film(plotter.cuts, drawn(data)).whole == [1] * 12


def interrupt_when(there: TerminalPlotter) -> None:
    """Press Ctrl-C once, as soon as the plotter has said "wait"."""
    line = there.line

    def watched(wait_s: float) -> bool:
        got = line(wait_s)
        if there.waits and there.line is watched:
            there.line = line  # type: ignore[method-assign]
            os.kill(os.getpid(), signal.SIGINT)
        return got

    there.line = watched  # type: ignore[method-assign]


def test_what_cannot_be_is_refused_before_anything_is_sent(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (files / "short.plt").write_bytes(DATA[:-40])
    (files / "other.plt").write_bytes(b"%!PS nothing to cut")
    with SocketPlotter(Plotter()) as there:
        for arguments, words in (
            (["short.plt"], "it is not whole"),
            (["other.plt"], "no cut program that Layflat wrote"),
            (["plate.plt", "--done", "3"], "belong to --resume"),
            (["plate.plt", "--resume", "a", "--record", "b"], "leave --record out"),
            (["plate.plt", "--resume", "missing"], "missing cannot be written"),
            (["plate.plt", "--cuts", "plate.plt"], "no report of layflat cut"),
        ):
            assert main(["send", *arguments, "--to", there.address]) == 2
            assert words in capsys.readouterr().err
        assert there.connections == 0
        assert not list(files.glob("*.sending"))
