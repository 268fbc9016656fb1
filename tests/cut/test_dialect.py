"""Programs as a machine counts, read by our own reader and by ezdxf's, and turned back."""

import dataclasses
import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from ezdxf.addons.hpgl2 import api
from ezdxf.addons.hpgl2.backend import RecordType

from cut.shapes import machine, plate
from layflat.base import CheckError, FitError, InputError, SettingError
from layflat.cut import (
    CutProgram,
    Wishes,
    machine_toml,
    plain_text,
    program,
    read_hpgl,
    read_machine,
    told_text,
)
from layflat.send import account_of, spool_of_section, told_spool
from layflat.send.resume import prelude
from send.stand_in import Plotter

WAYS: dict[str, dict[str, float | bool]] = {
    "swapped": {"swap_axes": True},
    "from the middle": {"origin_y_mm": 150.0},
    "from the far edge": {"origin_y_mm": 300.0, "mirror_y": True},
    "backward": {"origin_x_mm": 400.0, "mirror_x": True},
    "in steps": {"relative": True},
    "short": {"most_command_bytes": 60},
    "all": {
        "swap_axes": True, "origin_x_mm": 12.3, "origin_y_mm": 150.01, "mirror_x": True,
        "relative": True, "most_command_bytes": 40, "speed_by_curve": True,
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def made() -> CutProgram:
    return program(plate(), machine(speed_by_curve=True), wishes=Wishes(tabs=3, strip_mm=100.0))


def on_roll(points: np.ndarray, way: dict[str, float | bool]) -> np.ndarray:
    """Places in mm as the machine counts them, back on the roll: written out here by hand."""
    x, y = (points[:, 1], points[:, 0]) if way.get("swap_axes") else (points[:, 0], points[:, 1])
    x, y = -x if way.get("mirror_x") else x, -y if way.get("mirror_y") else y
    # An origin lies on a whole plotter unit.
    origin = [round(way.get(name, 0.0) * 40) / 40 for name in ("origin_x_mm", "origin_y_mm")]
    return np.column_stack((x, y)) + origin


@pytest.mark.parametrize("name", WAYS)
def test_what_is_told_cuts_the_same(made: CutProgram, name: str) -> None:
    way = WAYS[name]
    ours = machine(**way)
    told = told_text(made.hpgl, ours)
    plain, back = read_hpgl(made.hpgl), read_hpgl(told)
    assert told != made.hpgl
    for one, other in zip(plain[1:], back[1:], strict=True):
        assert one.speeds == other.speeds
        np.testing.assert_allclose(on_roll(other.points_mm, way), one.points_mm, atol=1e-9)
    assert plain_text(told, ours) == made.hpgl


@pytest.mark.parametrize("name", WAYS)
def test_another_reader_sees_the_same_cuts(made: CutProgram, name: str) -> None:
    way = WAYS[name]
    told = told_text(made.hpgl, machine(**way))
    player = api.record_plotter_output(b"\x1b%1B" + told.encode("ascii"), api.MergeControl.NONE)
    theirs = [
        np.array([(v.x, v.y) for v in points.vertices()]) / 40
        for kind, _, points in player.recordings()
        if kind == RecordType.POLYLINE
    ]
    # It gives every command by itself: what goes on where the last one ended is one cut.
    joined: list[np.ndarray] = []
    for part in theirs:
        if joined and np.array_equal(joined[-1][-1], part[0]):
            joined[-1] = np.vstack((joined[-1], part[1:]))
        else:
            joined.append(part)
    ours = [stroke.points_mm for stroke in read_hpgl(made.hpgl) if stroke.down]
    for part, cut in zip(joined, ours, strict=True):
        np.testing.assert_allclose(on_roll(part, way), cut, atol=1e-6)


def test_commands_are_as_short_as_wanted(made: CutProgram) -> None:
    told = told_text(made.hpgl, machine(most_command_bytes=60))
    lengths = [len(command) for command in re.findall(r"[^;\s]+;", told)]
    assert 40 < max(lengths) <= 60
    assert told.count("PD") > made.hpgl.count("PD")


def test_steps_start_from_an_absolute_place_at_every_cut(made: CutProgram) -> None:
    told = told_text(made.hpgl, machine(relative=True))
    for before, after in itertools.pairwise(re.findall(r"[A-Z]{2}[^;]*", told)):
        if after.startswith("PU"):
            assert before in ("PA", "SP1") or before.startswith(("PU", "VS"))
    steps = [int(n) for text in re.findall(r"PR;PD([^;]*)", told) for n in text.split(",")]
    places = [int(n) for text in re.findall(r"PD([^;]*)", made.hpgl) for n in text.split(",")]
    assert len(steps) == len(places)
    assert np.abs(steps).sum() < np.abs(places).sum() / 20


def test_a_coordinate_that_the_machine_does_not_take_is_refused(made: CutProgram) -> None:
    small = machine(largest_unit=12_000)
    with pytest.raises(FitError, match=r"its numbers end at 300\.0 mm"):
        told_text(made.hpgl, small)
    # From the middle of the section all is near enough.
    told_text(made.hpgl, dataclasses.replace(small, origin_x_mm=200.0, origin_y_mm=150.0))


@pytest.mark.parametrize(
    "fault",
    [
        lambda u, v: (u + 1, v),
        lambda u, v: (-u, v),
        lambda u, v: (v, u),
    ],
)
def test_a_fault_in_the_telling_hands_nothing_out(
    made: CutProgram, monkeypatch: pytest.MonkeyPatch, fault: object
) -> None:
    from layflat.cut import dialect

    right = dialect.told_place
    monkeypatch.setattr(dialect, "told_place", lambda x, y, m: fault(*right(x, y, m)))  # type: ignore[operator]
    with pytest.raises(CheckError, match="does not say what was checked"):
        told_text(made.hpgl, machine(swap_axes=True))


def test_a_step_that_is_lost_hands_nothing_out(
    made: CutProgram, monkeypatch: pytest.MonkeyPatch
) -> None:
    from layflat.cut import dialect

    right = dialect._chunks
    monkeypatch.setattr(
        dialect, "_chunks", lambda name, places, most: right(name, places[-1:], most)
    )
    with pytest.raises(CheckError):
        told_text(made.hpgl, machine(relative=True))


@pytest.mark.parametrize("other", ["in steps", "swapped", "short"])
def test_a_program_for_another_machine_is_not_read(made: CutProgram, other: str) -> None:
    told = told_text(made.hpgl, machine(**WAYS["all"]))
    with pytest.raises(InputError, match="counts in its own way"):
        plain_text(told, machine(**WAYS[other]))


@pytest.mark.parametrize("name", ["all", "in steps", "from the far edge"])
def test_a_sending_stops_and_goes_on_at_the_same_places(made: CutProgram, name: str) -> None:
    way = WAYS[name]
    ours = machine(**way)
    spool = spool_of_section(made.sections[0], name="plate")
    told = told_spool(spool, ours)
    assert told_spool(told, ours) is told
    assert told.data.decode() == told_text(made.sections[0].hpgl, ours)
    assert [cut.name for cut in told.cuts] == [cut.name for cut in spool.cuts]
    whole = drawn(told.data, way)
    for one, other in zip(whole, drawn(spool.data, {}), strict=True):
        np.testing.assert_allclose(one, other, atol=1e-9)
    for i, cut in enumerate(told.cuts):
        # At a safe point the head stands above the next cut, and what follows lowers the knife.
        assert told.data[cut.start :].startswith((b"PR;PD" if ours.relative else b"PD",))
        before = read_hpgl(told.data[: cut.start].decode())
        assert not before[-1].down
        assert tuple(np.rint(before[-1].points_mm[-1] * 40).astype(int)) == cut.point
        rest = prelude(told, cut=i, machine=ours) + told.data[cut.start :]
        again = drawn(rest, way)
        left = sum(one.strokes for one in told.cuts[i:])
        for one, other in zip(again[-left:], whole[-left:], strict=True):
            np.testing.assert_allclose(one, other, atol=1e-9)
        # What was sent until here is all of what comes before, and nothing of it.
        account = account_of(told, least=cut.start, most=cut.start)
        assert (account.whole, account.begun) == (i, i)


def drawn(data: bytes, way: dict[str, float | bool]) -> list[np.ndarray]:
    """What the stand-in plotter makes of it, with its own reader, in mm on the roll."""
    plotter = Plotter(size=len(data) + 1)
    plotter.receive(data)
    plotter.work(1e12)
    return [on_roll(np.array(cut) / 40, way) for cut in plotter.cuts]


def test_a_machine_file_says_how_it_counts(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    ours = machine(**WAYS["all"])
    path.write_text(machine_toml(ours), encoding="utf-8")
    assert read_machine(path) == ours
    path.write_text(machine_toml(machine(most_command_bytes=12)), encoding="utf-8")
    with pytest.raises(SettingError, match="at least 40"):
        read_machine(path)
