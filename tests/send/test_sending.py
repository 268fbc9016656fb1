"""Sendings over a wire in memory: every chunking, every place where it may be lost."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import OutputError, StoppedError
from layflat.cut import generic_machine
from layflat.send import Ask, State
from layflat.send.again import cut_to_begin_with
from layflat.send.record import Past
from layflat.send.resume import prelude
from send.programs import Notes, Wire, drawn, film, rest, run, spool, text
from send.stand_in import Plotter

PROGRAM = spool()
WANTED = drawn(PROGRAM.data)
MACHINE = generic_machine()
QUICK = settings(max_examples=25, deadline=None, derandomize=True)
TAKES = st.lists(st.integers(0, 700), min_size=1, max_size=5).filter(lambda each: max(each) > 20)
WORKS = st.lists(st.integers(0, 9000), min_size=1, max_size=5).filter(lambda each: max(each) > 999)


def past_of(outcome, how: str) -> Past:  # type: ignore[no-untyped-def]
    return Past(
        sha256=PROGRAM.sha256, program=PROGRAM.name, section=0, how=how,
        least=outcome.least, most=outcome.most, reason="",
    )  # fmt: skip


@given(takes=TAKES, works=WORKS, size=st.integers(16, 3000))
@QUICK
def test_a_program_arrives_whole_and_equal_under_every_chunking(
    takes: list[int], works: list[int], size: int
) -> None:
    plotter = Plotter(size=size)
    outcome = run(PROGRAM, Wire(plotter, takes=takes, works=works))
    rest(plotter)
    assert outcome.state is State.DONE
    assert bytes(plotter.received) == PROGRAM.data
    assert plotter.cuts == WANTED
    assert plotter.overrun == 0


@given(
    takes=TAKES, works=WORKS, size=st.integers(16, 900), lost=st.integers(0, len(PROGRAM.data) - 1),
    arrives=st.integers(0, 512), answers=st.booleans(),
)  # fmt: skip
@QUICK
def test_a_line_lost_anywhere_and_taken_up_again_makes_every_cut_once(
    takes: list[int], works: list[int], size: int, lost: int, arrives: int, answers: bool
) -> None:
    plotter = Plotter(size=size)
    wire = Wire(plotter, takes=takes, works=works, lost_at=lost, arrives=arrives)
    outcome = run(PROGRAM, wire, buffer=size, answers=answers)
    assert outcome.state is State.BROKEN
    assert wire.closed == "discarded"
    rest(plotter)
    go_on(plotter, outcome, "broken")


@given(
    takes=TAKES, works=WORKS, size=st.integers(16, 900),
    way=st.floats(0.0, 30000.0), answers=st.booleans(),
)  # fmt: skip
@QUICK
def test_power_lost_in_mid_cut_leaves_bounds_that_hold_the_truth(
    takes: list[int], works: list[int], size: int, way: float, answers: bool
) -> None:
    plotter = Plotter(size=size)
    plotter.power_lost_at = way
    outcome = run(PROGRAM, Wire(plotter, takes=takes, works=works), buffer=size, answers=answers)
    if outcome.state is State.DONE:  # it had taken all, and lost its power, or not, after that
        rest(plotter)
    go_on(plotter, outcome, "broken")


def go_on(plotter: Plotter, outcome, how: str) -> None:  # type: ignore[no-untyped-def]
    """What a person does after a loss, and what must lie on the film in the end."""
    found = film(plotter.cuts, WANTED)
    assert found.strays == []
    account = outcome.account
    assert account.whole <= found.done <= max(account.begun, 1)
    assert all(found.whole[: max(0, account.whole - 1)])
    assert not any(found.whole[max(0, account.begun - 1) :])
    assert not any(found.part[max(0, account.begun - 1) :])
    assert not any(found.part[: max(0, account.whole - 1)])
    plotter.clear()
    done = min(found.done, account.begun)
    if done == account.count:
        return
    cut = cut_to_begin_with(PROGRAM, past_of(outcome, how), done=done, cleared=True)
    before = prelude(PROGRAM, cut=cut, machine=MACHINE)
    again = run(PROGRAM, Wire(plotter), cut=cut, before=before)
    rest(plotter)
    assert again.state is State.DONE
    after = film(plotter.cuts, WANTED)
    assert after.strays == []
    assert after.whole == [1] * len(after.whole)
    in_doubt = range(account.whole - 1, account.begun - 1)
    assert sum(after.part) <= 1
    assert all(i in in_doubt for i, n in enumerate(after.part) if n)


@given(takes=TAKES, works=WORKS, at=st.integers(0, 40))
@QUICK
def test_a_stop_comes_to_rest_at_the_next_safe_point_and_goes_on_from_there(
    takes: list[int], works: list[int], at: int
) -> None:
    plotter = Plotter(size=400)
    asks = itertools.chain(itertools.repeat(None, at), [Ask.STOP], itertools.repeat(None))
    outcome = run(PROGRAM, Wire(plotter, takes=takes, works=works), asks=lambda: next(asks))
    rest(plotter)
    found = film(plotter.cuts, WANTED)
    assert sum(found.part) == 0
    assert not plotter._down
    if outcome.state is State.DONE:
        assert plotter.cuts == WANTED
        return
    assert outcome.state is State.STOPPED
    assert outcome.next_cut == outcome.account.begun
    cut = cut_to_begin_with(PROGRAM, past_of(outcome, "stopped"), done=None, cleared=False)
    before = prelude(PROGRAM, cut=cut, machine=MACHINE)
    run(PROGRAM, Wire(plotter), cut=cut, before=before)
    rest(plotter)
    after = film(plotter.cuts, WANTED)
    assert (after.whole, after.part, after.strays) == ([1] * 6, [0] * 6, [])


def test_a_pause_runs_on_to_a_safe_point_and_then_sends_nothing() -> None:
    plotter = Plotter(size=400)
    wire = Wire(plotter, takes=[40])
    paused: list[int] = []

    def asks() -> Ask | None:
        if wire.handed > 150 and not paused:
            paused.append(wire.handed)
            return Ask.PAUSE
        if len(paused) > 30:
            return Ask.GO_ON
        return None

    def progress(words: str, _fraction: float) -> None:
        if words.startswith("paused before cut"):
            rest(plotter)
            paused.append(wire.handed)
            assert sum(film(plotter.cuts, WANTED).part) == 0

    outcome = run(PROGRAM, wire, asks=asks, progress=progress)
    rest(plotter)
    assert len(paused) > 30
    assert len(set(paused[1:])) == 1
    assert paused[1] in PROGRAM.safe_points
    assert outcome.state is State.DONE
    assert bytes(plotter.received) == PROGRAM.data


def test_a_person_who_stops_by_the_progress_stops_at_a_safe_point() -> None:
    plotter, notes = Plotter(size=400), Notes()

    def progress(_words: str, fraction: float) -> None:
        if fraction > 0.3:
            raise StoppedError("enough")

    with pytest.raises(StoppedError, match=r"^Stopped before cut \d: \d of 7 cuts are made when"):
        run(PROGRAM, Wire(plotter, takes=[40]), progress=progress, record=notes)
    rest(plotter)
    assert sum(film(plotter.cuts, WANTED).part) == 0
    assert notes.lines[-1]["how"] == "stopped"
    assert notes.lines[-1]["most"] in PROGRAM.safe_points


def test_at_once_throws_away_what_is_on_the_way_and_says_what_is_in_doubt() -> None:
    plotter = Plotter(size=200)
    wire = Wire(plotter, takes=[64], works=[100.0])
    outcome = run(
        PROGRAM, wire, buffer=200, asks=lambda: Ask.AT_ONCE if wire.handed > 600 else None
    )
    assert outcome.state is State.CUT_OFF
    assert wire.closed == "discarded"
    assert outcome.account.whole < outcome.account.begun
    assert " in doubt (cut " in outcome.sentence


def test_answers_make_certain_what_no_buffer_size_could() -> None:
    plotter = Plotter(size=5000)
    outcome = run(PROGRAM, Wire(plotter), answers=True)
    assert outcome.least == len(PROGRAM.data)
    assert outcome.sentence.endswith("all 7 cuts are made, says the machine.")
    assert plotter.cuts == WANTED
    silent = run(PROGRAM, Wire(Plotter(size=5000)))
    assert silent.least == 0
    assert "still holds" in silent.sentence


def test_an_answer_from_another_place_counts_for_nothing() -> None:
    """A machine that answers before it has gone there, or counts from elsewhere."""
    plotter = Plotter(size=5000)
    wire = Wire(plotter)
    plotter.feed = ((1, 0), (0, 1))
    wire.heard = lambda: b"7,7,0\r90,870,1\r" if plotter.said else b""  # type: ignore[method-assign]
    ticks = itertools.count()
    from layflat.send import Pace

    pace = Pace(tick_s=0.0, patience_s=200.0, clock=lambda: float(next(ticks)))
    outcome = run(PROGRAM, wire, answers=True, pace=pace)
    assert outcome.state is State.DONE
    assert outcome.least == 0


def test_what_may_be_handed_over_stands_in_the_record_before() -> None:
    plotter, notes = Plotter(size=400), Notes()
    wire = Wire(plotter, takes=[37])
    seen: list[tuple[int, int]] = []
    plain = wire.offer

    def offer(data: bytes, *, wait_s: float) -> int:
        count = plain(data, wait_s=wait_s)
        windows = [line["through"] for line in notes.lines if line["what"] == "window"]
        seen.append((wire.handed, windows[-1] if windows else 0))  # type: ignore[arg-type]
        return count

    wire.offer = offer  # type: ignore[method-assign]
    run(PROGRAM, wire, record=notes)
    assert len(seen) > 20
    assert all(handed <= through for handed, through in seen)
    throughs = {line["through"] for line in notes.lines if line["what"] == "window"}
    assert throughs <= set(PROGRAM.safe_points)


class FullNotes(Notes):
    """A record on a disk that is full from some line on."""

    def __init__(self, *, until: int) -> None:
        super().__init__()
        self.until = until

    def write(self, what: str, **values: object) -> None:
        if len(self.lines) >= self.until:
            raise OutputError("x.sending cannot be written: No space left.")
        super().write(what, **values)


@given(
    takes=TAKES, works=WORKS, size=st.integers(16, 900), until=st.integers(0, 1),
    answers=st.booleans(),
)  # fmt: skip
@QUICK
def test_a_record_that_cannot_be_written_stops_in_peace_at_a_safe_point(
    takes: list[int], works: list[int], size: int, until: int, answers: bool
) -> None:
    plotter = Plotter(size=size)
    wire = Wire(plotter, takes=takes, works=works)
    outcome = run(PROGRAM, wire, answers=answers, record=FullNotes(until=until))
    assert outcome.state is State.STOPPED
    assert wire.closed == "in peace"
    assert outcome.sentence.endswith("knife up. x.sending cannot be written: No space left.")
    assert outcome.reason
    assert outcome.most in (0, *PROGRAM.safe_points)
    rest(plotter)
    assert bytes(plotter.received).replace(b"OA;", b"") == PROGRAM.data[: outcome.most]
    assert sum(film(plotter.cuts, WANTED).part) == 0
    assert not plotter._down


def test_a_pause_that_cannot_be_recorded_stops_at_the_next_safe_point() -> None:
    plotter, notes = Plotter(size=400), FullNotes(until=1)
    wire = Wire(plotter, takes=[40])
    outcome = run(
        PROGRAM, wire, record=notes, asks=lambda: Ask.PAUSE if wire.handed > 100 else None
    )
    rest(plotter)
    assert outcome.state is State.STOPPED
    assert 100 < outcome.most < len(PROGRAM.data)
    assert sum(film(plotter.cuts, WANTED).part) == 0


def test_how_it_ended_stands_in_the_record_before_the_line_is_closed() -> None:
    notes = Notes()
    wire = Wire(Plotter(size=400))
    plain = wire.close

    def close(*, discard: bool) -> None:
        assert notes.lines[-1]["what"] == "ended"
        plain(discard=discard)

    wire.close = close  # type: ignore[method-assign]
    assert run(PROGRAM, wire, record=notes).state is State.DONE
    assert wire.closed == "in peace"


def test_half_a_command_in_the_machine_is_why_it_must_be_cleared() -> None:
    """Without it the half number ends where the rest begins, and the knife goes there."""
    lost = text().index(b"PD1709,840") + len(b"PD1709,84")
    strays = {}
    for cleared in (False, True):
        plotter = Plotter(size=5000)
        outcome = run(PROGRAM, Wire(plotter, lost_at=lost, arrives=512))
        rest(plotter)
        if cleared:
            plotter.clear()
        before = prelude(PROGRAM, cut=outcome.account.begun - 1, machine=MACHINE)
        run(PROGRAM, Wire(plotter), cut=outcome.account.begun - 1, before=before)
        rest(plotter)
        strays[cleared] = film(plotter.cuts, WANTED).strays
    assert strays[True] == []
    assert strays[False] != []


def test_a_feed_that_drifts_carries_a_resumed_program_with_it() -> None:
    feed = ((1.004, 0.002), (0.005, 0.997))
    wanted = drawn(PROGRAM.data, feed=feed)
    plotter = Plotter(size=400, feed=feed)
    outcome = run(PROGRAM, Wire(plotter, lost_at=500))
    rest(plotter)
    plotter.clear()
    done = film(plotter.cuts, wanted).done
    before = prelude(PROGRAM, cut=done, machine=MACHINE)
    run(PROGRAM, Wire(plotter), cut=done, before=before)
    rest(plotter)
    assert film(plotter.cuts, wanted).whole == [1] * 6
    assert outcome.account.whole <= done
    assert wanted[1][0] == pytest.approx((1.004 * 1000 + 1.0, 5.0 + 498.5))
