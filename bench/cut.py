"""Cut programs: time for 200 pieces, a wrong blade's tip, and the knife-up way against OR-Tools.

The processor's time stands beside that in which ezdxf's reader of HP-GL/2 reads the program, and no
more. The yardstick of the way is the routing library of OR-Tools (first solution by cheapest arc,
then guided local search), on the same places to start: one node for each, one to be chosen for each
piece. It need not keep any order of pieces, ours has to.
"""

import math
import time

import numpy as np
from ezdxf.addons.hpgl2 import api
from tests.cut.yardstick import yardstick_mm

from layflat.base import FloatArray
from layflat.cut import generic_machine, program, tolerance_of
from layflat.cut.compose import loops_of, stop_of
from layflat.cut.entry import align_path, entries_of, waste_of
from layflat.cut.order import Stop, shortest_tour, travel_mm
from layflat.cut.sheet import reach_of, sheets_of
from layflat.pattern import Curve, Drawing, Pattern

PIECES = 200
YARDSTICK_S = 20
MOST_SECONDS = 1.0
MOST_TRAVEL = 1.05
MOST_CURVE_MM = 0.05
_TAKES = 3
"""How often a time is taken; the least counts."""

_COLUMNS, _ROWS = 20, 10
_PITCH_MM = (120.0, 150.0)


def blob(x: float, y: float, radius: float, rng: np.random.Generator, *, points: int) -> Curve:
    """A closed curve of arcs about a place, out of round by a sixth."""
    angles = np.linspace(0.0, math.tau, points, endpoint=False)
    wave = sum(
        rng.uniform(-1, 1) / k * np.cos(k * angles + rng.uniform(0, math.tau)) for k in (2, 3, 4)
    )
    away = radius * (1.0 + wave / 6.0)
    places = np.column_stack((x + away * np.cos(angles), y + away * np.sin(angles)))
    return Curve(points_mm=places, bulges=[math.tan(math.tau / points / 4.0)] * points)


def sheet(*, pieces: int = PIECES, seed: int = 1, openings: bool = True) -> Drawing:
    """One section with many pieces; every fourth has an opening."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(pieces):
        x = 20.0 + (i % _COLUMNS + 0.5) * _PITCH_MM[0]
        y = 20.0 + (i // _COLUMNS + 0.5) * _PITCH_MM[1]
        outline = blob(x, y, rng.uniform(22, 46), rng, points=24)
        inner = (blob(x, y, 8.0, rng, points=12),) if openings and i % 4 == 0 else ()
        found.append(Pattern(f"piece {i + 1}", outline, inner))
    length, width = _COLUMNS * _PITCH_MM[0] + 40.0, _ROWS * _PITCH_MM[1] + 40.0
    stock = Curve(points_mm=[[0, 0], [length, 0], [length, width], [0, width]], bulges=[0.0] * 4)
    return Drawing(patterns=tuple(found), stock=(stock,))


def _ways(drawing: Drawing) -> tuple[list[Stop], FloatArray, FloatArray]:
    """The stops of a drawing's one section, where the head comes from and where it goes."""
    machine = generic_machine()
    section = sheets_of(drawing, machine)[0]
    waste = waste_of(section.film, reach=reach_of(section, machine))
    align = align_path(waste, offset_mm=machine.knife_offset_mm)
    assert align is not None
    stops = []
    for loop in loops_of(section):
        entries = entries_of(loop, waste, offset_mm=machine.knife_offset_mm)
        stops.append(stop_of(loop, entries, machine))
    return stops, align[-1], np.array([section.length_mm, 0.0])


def _reading_s(hpgl: str) -> float:
    """Seconds of the processor in which another reader reads a program."""
    told = b"\x1b%1B" + hpgl.encode("ascii")
    begin = time.process_time()
    api.record_plotter_output(told, api.MergeControl.NONE)
    return time.process_time() - begin


def _time_to_a_program() -> None:
    """Print how long many pieces take, beside the reader, and how true the program is."""
    drawing, machine = sheet(), generic_machine()
    times = []
    for _ in range(_TAKES):
        begin = time.process_time()
        made = program(drawing, machine)
        times.append(time.process_time() - begin)
    took = min(times)
    verdict = "pass" if took <= MOST_SECONDS else "MISSED"
    print(f"{PIECES} pieces to a checked program: {took / MOST_SECONDS:.2f} of a second: {verdict}")
    reading = min(_reading_s(made.hpgl) for _ in range(_TAKES))
    print(f"  that is {took / reading:.1f} times what ezdxf takes to read it")
    print(f"  and {took / made.seconds:.4f} of the time that the machine is estimated to take")
    told = tolerance_of(made, drawing, machine)
    verdict = "pass" if told.curve_mm <= MOST_CURVE_MM else "MISSED"
    print(
        f"tip with the offset wrong by {told.wrong_mm:g} mm: {told.curve_mm:.3f} mm on curves: "
        f"{verdict}; {told.corner_mm:.3f} mm at corners of up to {told.turn_deg:.0f} degrees"
    )


def main() -> None:
    """Print what is asked of programs, and whether they keep to what is wanted."""
    _time_to_a_program()
    for pieces, openings in ((PIECES, False), (PIECES, True), (40, True)):
        stops, start, end = _ways(sheet(pieces=pieces, openings=openings))
        ours = travel_mm(stops, shortest_tour(stops, start_mm=start, end_mm=end), start, end)
        peer = yardstick_mm(stops, start, end, seconds=YARDSTICK_S)
        verdict = "pass" if ours <= MOST_TRAVEL * peer else "MISSED"
        what = "with openings" if openings else "without openings"
        print(f"knife-up way, {pieces} pieces {what}: {ours / peer:.3f} of OR-Tools': {verdict}")
