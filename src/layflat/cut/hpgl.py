"""Cut programs as HP-GL text.

Only `IN`, `PA`, `SP`, `PU` and `PD` are used, with whole absolute coordinates, as in
Hewlett-Packard, PCL 5 Printer Language Technical Reference Manual, Part II (HP-GL/2), pages
17-7 to 17-23 and 20-32. `VS` (speed, whole numbers) and `FS` (force) mean different things to
different machines and are written only if the machine file asks for them; `VS` between the
commands of one cut only if it says that the machine takes it there. How a machine counts
otherwise is a matter of `layflat.cut.dialect`.
"""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.cut.machine import Machine
from layflat.cut.speed import full_speed, told_speeds


def to_units(points_mm: FloatArray, *, units_per_mm: float) -> IntArray:
    """(m, 2) int64 plotter units, each rounded to the nearest; repeated points are left out."""
    units = np.rint(np.asarray(points_mm) * units_per_mm).astype(np.int64)
    keep = np.ones(len(units), dtype=bool)
    keep[1:] = np.any(np.diff(units, axis=0) != 0, axis=1)
    kept: IntArray = units[keep]
    return kept


def told_cut(pivot_mm: FloatArray, machine: Machine) -> tuple[IntArray, IntArray | None]:
    """A cut as the machine is told it: (m, 2) plotter units, and (m - 1,) the speeds on its way.

    Args:
        pivot_mm: (n, 2) float64, where the pivot goes on the film.
        machine: what is told.
    """
    units = np.rint(machine.told(pivot_mm) * machine.units_per_mm).astype(np.int64)
    keep = np.ones(len(units), dtype=bool)
    keep[1:] = np.any(np.diff(units, axis=0) != 0, axis=1)
    kept, points = units[keep], np.asarray(pivot_mm)[keep]
    if len(kept) < 2:
        return kept, None
    return kept, told_speeds(points, kept / machine.units_per_mm, machine)


def cut_text(units: IntArray, speeds: IntArray | None, *, machine: Machine) -> str:
    """The commands of one cut: the head's way to it, the knife's way, and full speed again.

    Args:
        units: (n, 2) int64, n >= 2, plotter units.
        speeds: (n - 1,) int64, the speed told on each stretch; None for no word of it.
        machine: for its full speed.
    """
    text = f"PU{units[0, 0]},{units[0, 1]};\n"
    full = full_speed(machine)
    now = full
    starts = [0] if speeds is None else [0, *(np.flatnonzero(np.diff(speeds)) + 1).tolist()]
    for first, last in zip(starts, [*starts[1:], len(units) - 1], strict=True):
        if speeds is not None and speeds[first] != now:
            now = int(speeds[first])
            text += f"VS{now};\n"
        places = units[first + 1 : last + 1].reshape(-1).tolist()
        text += "PD" + ",".join(map(str, places)) + ";\n"
    return text if now == full else f"{text}VS{full};\n"


def _opening(machine: Machine) -> str:
    text = "IN;PA;SP1;"
    if machine.send_speed or machine.speed_by_curve:
        text += f"VS{full_speed(machine)};"
    if machine.send_force:
        text += f"FS{max(1, round(machine.force_g))};"
    return text + "\n"


def hpgl_text(
    sections: Sequence[tuple[Sequence[IntArray], int, int]],
    *,
    machine: Machine,
    speeds: Sequence[Sequence[IntArray | None]] = (),
) -> str:
    """The program of one section or of several.

    Args:
        sections: for each, its cuts, (n, 2) int64 with n >= 2 in plotter units from the
            section's start; its length in units; and how far to move it along the roll.
        machine: what may be sent.
        speeds: for each section and cut, the speeds on its way; none without.
    """
    parts = [_opening(machine)]
    for i, (cuts, end_units, shift_units) in enumerate(sections):
        own = speeds[i] if speeds else [None] * len(cuts)
        shift = np.array([shift_units, 0])
        parts += [
            cut_text(cut + shift, told, machine=machine)
            for cut, told in zip(cuts, own, strict=True)
        ]
        parts.append(f"PU{end_units + shift_units},0;\n")
    return "".join(parts) + "SP0;\n"
