"""Drawings in, from DXF or SVG."""

from pathlib import Path

from layflat.base import DrawingError, SettingError
from layflat.pattern.assemble import assemble
from layflat.pattern.drawing import Drawing
from layflat.pattern.dxf_read import read_dxf
from layflat.pattern.svg_read import read_svg
from layflat.pattern.units import UNITS_MM


def read_drawing(
    path: Path, *, unit: str | None = None, join_mm: float = 0.05, deviation_mm: float = 0.02
) -> Drawing:
    """The drawing in the file at *path*, checked, in mm.

    Args:
        path: a .dxf or .svg file.
        unit: mm, cm, m, in or ft, for a file that names no unit; None takes a DXF for mm and an
            SVG for CSS pixels of 1/96 inch, and notes it.
        join_mm: line ends no farther apart than this are joined; 0 to 10.
        deviation_mm: how far the chords that stand for free curves may lie from them; 0.001 to 1.

    Raises:
        DrawingError: the file is none of these, is damaged, too large, or holds no sound pieces.
        InputError: the file cannot be read.
        SettingError: an option is out of range.
    """
    if unit is not None and unit not in UNITS_MM:
        raise SettingError(f"The unit “{unit}” is not known; known are {', '.join(UNITS_MM)}.")
    if not 0 <= join_mm <= 10:
        raise SettingError(f"The joining distance is {join_mm:g} mm; it must be 0 to 10 mm.")
    if not 0.001 <= deviation_mm <= 1:
        raise SettingError(f"The deviation is {deviation_mm:g} mm; it must be 0.001 to 1 mm.")
    readers = {".dxf": read_dxf, ".svg": read_svg}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise DrawingError(f"{path.name} is neither a .dxf nor an .svg file.")
    try:
        sketch = reader(path, unit=unit, deviation_mm=deviation_mm)
        return assemble(sketch, where=path.name, join_mm=join_mm)
    except DrawingError as error:
        if path.name in str(error):
            raise
        raise DrawingError(f"{path.name}: {error}") from error
