"""What a machine must be told before a program goes on from a safe point.

What the rest of the program rests on is brought back: plotter units and pen as at the program's
beginning, the speed and force that held there, the head above the next cut with the knife up, and
the blade's heading, which the next cut's first turn counts from. The program's own short cut in
the waste is made once more; then the knife, still down, turns about its tip to that heading. The
tip stands while it turns, so that nothing but waste is touched.
"""

import math

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.cut import Machine, Stroke, read_hpgl, simulate, told_commands
from layflat.send.commands import commands
from layflat.send.spool import Spool

_STEP_RAD = 0.35
_NO_TURN_RAD = math.radians(1.0)


def prelude(spool: Spool, *, cut: int, machine: Machine) -> bytes:
    """The commands to be sent before those from the start of a cut on.

    Args:
        spool: the program.
        cut: index of the first cut that is still to be made.
        machine: the one that the program was made for.

    Returns:
        What brings units, pen, speed, force, heading and place back; for a cut up to that of the
        heading only what stands before it in the program.

    Raises:
        InputError: there is no such cut.
    """
    if spool.plain is not None:
        text = prelude(spool.plain, cut=cut, machine=machine).decode("ascii")
        return "".join(each.told for each in told_commands(text, machine)).encode("ascii")
    if not 0 <= cut < len(spool.cuts):
        raise InputError(f"{spool.name} has {len(spool.cuts)} cuts; none is left after those.")
    span = spool.cuts[cut]
    opened, there = _state(spool, before=len(spool.opening)), _state(spool, before=span.start)
    if cut <= spool.heading:
        return spool.opening + _changed(opened, there) + _up(span.point)
    aligned = spool.cuts[spool.heading]
    turn = _turn_text(spool, cut=cut, machine=machine)
    begun = _changed(opened, _state(spool, before=aligned.start))
    body = _up(aligned.point) + begun + spool.data[aligned.start : aligned.stop].rstrip() + turn
    state = _changed(_state(spool, before=aligned.stop), there)
    return spool.opening + body + state + _up(span.point)


def _up(point: tuple[int, int]) -> bytes:
    return b"PU%d,%d;\n" % point


def _state(spool: Spool, *, before: int) -> dict[bytes, bytes]:
    """The speed and force that hold at an offset, as commands by their names."""
    latest: dict[bytes, bytes] = {}
    for each in commands(spool.data):
        if each.start >= before:
            break
        if each.name in (b"VS", b"FS"):
            latest[each.name] = each.name + each.rest + b";"
    return latest


def _changed(now: dict[bytes, bytes], wanted: dict[bytes, bytes]) -> bytes:
    """The commands that bring what holds now to what is wanted."""
    return b"".join(text for name, text in wanted.items() if now.get(name) != text)


def _downs(spool: Spool, machine: Machine) -> list[Stroke]:
    """The knife-down strokes as they come to lie on the film."""
    text = spool.data.decode("ascii")
    return [
        Stroke(down=True, points_mm=machine.landed(stroke.points_mm))
        for stroke in read_hpgl(text, units_per_mm=machine.units_per_mm)
        if stroke.down
    ]


def _turn_text(spool: Spool, *, cut: int, machine: Machine) -> bytes:
    """The turn, knife down, from the heading cut's own end to the heading that *cut* expects."""
    offset = machine.knife_offset_mm
    downs = _downs(spool, machine)
    firsts = np.cumsum([0, *(span.strokes for span in spool.cuts)]).tolist()
    start, stop = firsts[spool.heading], firsts[spool.heading + 1]
    there = simulate(downs[start:stop], knife_offset_mm=offset).headings_rad[-1]
    wanted = simulate(downs[: firsts[cut]], knife_offset_mm=offset).headings_rad[-1]
    turn = math.remainder(wanted - there, math.tau)
    if abs(turn) <= _NO_TURN_RAD:
        return b"\n"
    pivot = downs[stop - 1].points_mm[-1]
    tip = pivot - offset * np.array([math.cos(there), math.sin(there)])
    headings = there + turn * np.linspace(0.0, 1.0, math.ceil(abs(turn) / _STEP_RAD) + 1)[1:]
    way: FloatArray = tip + offset * np.column_stack((np.cos(headings), np.sin(headings)))
    told = np.rint(machine.told(way) * machine.units_per_mm).astype(np.int64)
    told = told[np.append(True, np.any(np.diff(told, axis=0) != 0, axis=1))]
    return b"PD" + ",".join(map(str, told.reshape(-1).tolist())).encode() + b";\n"
