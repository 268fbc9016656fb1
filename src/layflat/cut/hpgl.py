"""Cut programs as HP-GL text.

Only `IN`, `PA`, `SP`, `PU` and `PD` are used, with whole absolute coordinates, as in
Hewlett-Packard, PCL 5 Printer Language Technical Reference Manual, Part II (HP-GL/2), pages
17-7 to 17-23 and 20-32. `VS` (speed, in whole cm/s) and `FS` (force) mean different things to
different machines and are written only if the machine file asks for them.
"""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.cut.machine import Machine


def to_units(points_mm: FloatArray, *, units_per_mm: float) -> IntArray:
    """(m, 2) int64 plotter units, each rounded to the nearest; repeated points are left out."""
    units = np.rint(np.asarray(points_mm) * units_per_mm).astype(np.int64)
    keep = np.ones(len(units), dtype=bool)
    keep[1:] = np.any(np.diff(units, axis=0) != 0, axis=1)
    kept: IntArray = units[keep]
    return kept


def _opening(machine: Machine) -> str:
    text = "IN;PA;SP1;"
    if machine.send_speed:
        text += f"VS{max(1, round(machine.cut_speed_mm_s / 10.0))};"
    if machine.send_force:
        text += f"FS{max(1, round(machine.force_g))};"
    return text + "\n"


def _body(cuts: Sequence[IntArray], *, end_units: int, shift_units: int) -> str:
    """Every cut, then up and to the section's end."""
    lines = []
    for cut in cuts:
        moved = cut + np.array([shift_units, 0])
        lines.append(f"PU{moved[0, 0]},{moved[0, 1]};\n")
        lines.append("PD" + ",".join(map(str, moved[1:].reshape(-1).tolist())) + ";\n")
    lines.append(f"PU{end_units + shift_units},0;\n")
    return "".join(lines)


def hpgl_text(sections: Sequence[tuple[Sequence[IntArray], int, int]], *, machine: Machine) -> str:
    """The program of one section or of several.

    Args:
        sections: for each, its cuts, (n, 2) int64 with n >= 2 in plotter units from the
            section's start; its length in units; and how far to move it along the roll.
        machine: what may be sent.
    """
    bodies = [_body(cuts, end_units=length, shift_units=shift) for cuts, length, shift in sections]
    return _opening(machine) + "".join(bodies) + "SP0;\n"
