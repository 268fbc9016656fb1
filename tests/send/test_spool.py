"""Which programs are sent, where they may halt, and what a resumed one begins with."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from shapely import LineString

from cut.shapes import machine, plate, two_sections
from layflat.base import InputError, OutputError, SettingError
from layflat.cut import program, read_hpgl, safe_points, simulate
from layflat.send import (
    NetworkAddress,
    Record,
    SerialAddress,
    Spool,
    read_address,
    read_record,
    sections_of,
    spool_of,
    spool_of_file,
    spool_of_section,
)
from layflat.send.account import account_of
from layflat.send.resume import prelude
from layflat.send.state import Ask, Sending, State, answered, asked, broken, took
from layflat.send.stream import stream_of
from send.programs import spool, text
from send.stand_in import Plotter

MADE = program(plate(), machine())
SECTION = MADE.sections[0]


def test_a_program_cut_short_anywhere_is_refused() -> None:
    whole = text(2)
    for end in range(1, len(whole) - 1):
        if whole[:end].strip() == whole.strip():
            continue
        with pytest.raises(InputError):
            spool_of(whole[:end], name="short.plt")
    with pytest.raises(InputError, match="breaks off in command 5: it is not whole"):
        spool_of(whole[:35], name="short.plt")
    with pytest.raises(InputError, match="last command is PD, not SP0"):
        spool_of(whole[: whole.index(b"PU1000")], name="short.plt")


@pytest.mark.parametrize(
    "data",
    [
        b"%PDF-1.7 nothing to cut",
        b"IN;PU;PD1,2;SP0;",
        text().replace(b"PA;", b"PA;SC0,1,0,1;", 1),
        text().replace(b"PU1000,500;", b"PR;PU1000,500;"),
        text().replace(b"PU1000,500;", b"PU1000,500;IN;"),
        text().replace(b"PU1000,500;", b"PU1000,5e2;"),
        text().replace(b"PD1009,800", b"PD1009,800,3"),
        text().replace(b"PU1000,500;", b"PU1000,500;\x1b.K"),
        text() + text(),
        text().replace(b"PU20,800;\n", b"", 1),
    ],
)
def test_foreign_programs_are_refused(data: bytes) -> None:
    with pytest.raises(InputError, match=r"^tray\.plt "):
        spool_of(data, name="tray.plt")


def test_safe_points_and_names_are_those_of_the_program() -> None:
    ours = spool_of_section(SECTION, name="plate")
    assert ours.safe_points == safe_points(SECTION)
    assert [cut.name for cut in ours.cuts] == list(SECTION.cut_names)
    assert ours.heading == 0
    by_itself = spool_of(SECTION.hpgl.encode(), name="plate")
    assert (by_itself.safe_points, by_itself.heading) == (ours.safe_points, 0)
    ups = [s.points_mm[-1] * 40 for s in read_hpgl(SECTION.hpgl) if not s.down]
    assert [cut.point for cut in ours.cuts] == [tuple(map(round, up)) for up in ups[:-1]]


def test_names_of_another_program_are_refused() -> None:
    with pytest.raises(InputError, match="lowered 4 times in it, and 5 times by its list"):
        spool_of(SECTION.hpgl.encode(), name="plate", cuts=[("all", 5)])


def test_a_file_of_several_sections_wants_one_named(tmp_path: Path) -> None:
    made = program(two_sections(), machine())
    path = tmp_path / "two.plt"
    path.write_text(made.hpgl)
    with pytest.raises(InputError, match="has 2 sections; name one by --section"):
        spool_of_file(path)
    second = spool_of_file(path, section=2)
    assert len(second.cuts) == made.sections[1].strokes
    joined = b"".join(part[11:-5] for part in sections_of(made.hpgl.encode(), name="two"))
    assert joined == made.hpgl.encode()[11:-5]
    bad = tmp_path / "cut.json"
    bad.write_text(json.dumps({"sections": [{"number": 1, "cuts": "x"}]}))
    for section, words in ((1, "no report of layflat cut"), (2, "has no section 2")):
        with pytest.raises(InputError, match=words):
            spool_of_file(path, section=section, cuts_path=bad)


def degrees(a: float, b: float) -> float:
    return math.degrees(abs(math.remainder(a - b, math.tau)))


@pytest.mark.parametrize("offset", [0.1, 0.25, 0.9])
def test_after_a_resume_the_tip_goes_where_it_would_have_gone(offset: float) -> None:
    """Whatever heading the blade had: known again by the short cut, then turned in the waste."""
    ours = machine(knife_offset_mm=offset)
    section = program(plate(), ours).sections[0]
    rest = spool_of_section(section, name="plate")
    downs = [s for s in read_hpgl(section.hpgl) if s.down]
    plain = simulate(downs, knife_offset_mm=offset)
    for k in range(1, len(rest.cuts)):
        words = prelude(rest, cut=k, machine=ours) + rest.data[rest.cuts[k].start :]
        again = [s for s in read_hpgl(words.decode()) if s.down]
        for heading in np.linspace(0.0, math.tau, 9):
            tip = simulate(again, knife_offset_mm=offset, heading_rad=float(heading))
            assert degrees(tip.headings_rad[0], plain.headings_rad[k - 1]) < 7.0
            # In the waste the tip stands while it turns: it leaves its own place by no more
            # than the rounding of plotter units.
            away = np.linalg.norm(tip.cuts[0] - plain.cuts[0][-1], axis=1)
            came = int(np.argmax(away < 0.06))
            assert away[came:].max() < 0.06
            for cut, wanted in zip(tip.cuts[1:], plain.cuts[k:], strict=True):
                assert LineString(cut).hausdorff_distance(LineString(wanted)) < 0.03


def test_speed_and_force_that_held_there_are_told_again() -> None:
    data = text().replace(b"PA;SP1;", b"PA;SP1;VS20;FS90;")
    slow = data.replace(b"PU2400", b"VS8;PU2400")
    rest = spool_of(slow, name="tray.plt")
    assert prelude(rest, cut=2, machine=machine()).startswith(b"IN;PA;SP1;VS20;FS90;\nPU20,800;")
    assert b"VS8;" not in prelude(rest, cut=2, machine=machine())
    assert prelude(rest, cut=4, machine=machine()).endswith(b"VS8;PU3100,500;\n")
    with pytest.raises(InputError, match="none is left"):
        prelude(rest, cut=7, machine=machine())


def test_what_does_not_apply_changes_nothing() -> None:
    sending = Sending(stream=stream_of(spool()), buffer_bytes=300)
    assert asked(sending, Ask.GO_ON) == sending
    assert asked(sending, Ask.PAUSE).state is State.PAUSED  # nothing is on the way: at once
    ended = broken(took(sending, 700, waiting=100), "gone")
    assert (asked(ended, Ask.STOP), broken(ended, "again")) == (ended, ended)
    assert (ended.most, ended.least) == (700, 600 - 300 - 256)
    assert took(sending, 700, waiting=0).limit == len(spool().data)
    assert answered(sending, (20, 800)) == sending
    stopping = asked(took(sending, 130, waiting=0), Ask.STOP)
    assert stopping.limit == spool().cuts[2].start
    assert stopping.chunk(9999) == spool().data[130 : stopping.limit]


def test_an_account_is_a_sentence() -> None:
    program: Spool = spool(3)
    third = program.cuts[2].start
    assert account_of(program, least=0, most=0).sentence == "Cuts 1 to 4 are untouched."
    some = account_of(program, least=third, most=third + 9)
    assert some.sentence == "Cuts 1 to 2 are whole; cut 3 is in doubt (cut 3), cut 4 is untouched."
    done = account_of(program, least=len(program.data), most=len(program.data))
    assert done.sentence == "All 4 cuts are made."
    assert (some.whole_strokes, some.begun_strokes) == (2, 3)


def test_the_stand_in_and_the_reader_see_the_same_strokes() -> None:
    """Two readers that share no code."""
    plotter = Plotter(size=1_000_000)
    plotter.receive(SECTION.hpgl.encode())
    plotter.work(1e12)
    ours = [np.rint(s.points_mm * 40).tolist() for s in read_hpgl(SECTION.hpgl) if s.down]
    assert [[list(point) for point in cut] for cut in plotter.cuts] == ours


@pytest.mark.parametrize(
    ("words", "address"),
    [
        ("tcp://plotter", NetworkAddress(host="plotter", port=9100)),
        ("tcp://[fe80::1]:9101", NetworkAddress(host="fe80::1", port=9101)),
        ("serial:/dev/ttyS0", SerialAddress(device="/dev/ttyS0")),
        (
            "serial:/dev/ttyS0?baud=19200&bits=7&parity=E&stop=2&flow=rtscts",
            SerialAddress(
                device="/dev/ttyS0", baud=19200, bits=7, parity="e", stop=2, flow="rtscts"
            ),
        ),
    ],
)
def test_an_address_is_read_and_says_itself(
    words: str, address: NetworkAddress | SerialAddress
) -> None:
    assert read_address(words) == address
    assert read_address(str(address)) == address


@pytest.mark.parametrize(
    "words",
    [
        "", "plotter", "http://plotter", "tcp://", "tcp://plotter:0", "tcp://plotter:99999",
        "tcp://plotter:x", "tcp://plotter/a", "tcp://me@plotter", "tcp://plotter?baud=9600",
        "serial:", "serial://host/dev", "serial:/dev/ttyS0?speed=1", "serial:/dev/ttyS0?baud=9601",
        "serial:/dev/ttyS0?flow", "serial:/dev/tty S0", "tcp://" + "a" * 400, "tcp://plo\x00tter",
        "tcp://the..plotter", "tcp://.plotter", "tcp://" + "a" * 64, "tcp://" + "a" * 250,
    ],
)  # fmt: skip
def test_what_is_no_address_is_refused(words: str) -> None:
    with pytest.raises(SettingError):
        read_address(words)


def record_with(path: Path, *lines: str) -> Path:
    record = Record(path)
    record.write("began", form=1, sha256=spool().sha256, program="tray.plt", section=0, begin=0)
    record.write("window", through=300, least=0)
    record.close()
    with path.open("a") as file:
        file.writelines(lines)
    return path


def test_a_record_tells_a_crash_and_leaves_out_what_was_not_finished(tmp_path: Path) -> None:
    path = record_with(tmp_path / "a", '{"what":"window","thr')
    assert (read_record(path).how, read_record(path).most) == ("crashed", 300)
    record = Record(path, again=True)
    record.write("ended", how="stopped", least=50, most=300, reason="")
    record.close()
    assert (read_record(path).how, read_record(path).least) == ("stopped", 50)


def test_a_damaged_or_foreign_record_is_refused(tmp_path: Path) -> None:
    for i, line in enumerate(('{"what":"window"}\n', "noise\n", "[1]\n", '{"no":1}\n')):
        with pytest.raises(InputError, match=r"damaged|no record"):
            read_record(record_with(tmp_path / str(i), line))
    empty = tmp_path / "empty"
    empty.write_text('{"what":"window"}\n')
    with pytest.raises(InputError, match="nothing was begun"):
        read_record(empty)


def test_a_record_is_held_by_one_process(tmp_path: Path) -> None:
    record = Record(tmp_path / "a")
    with pytest.raises(OutputError, match="is still going on"):
        Record(tmp_path / "a", again=True)
    record.close()
