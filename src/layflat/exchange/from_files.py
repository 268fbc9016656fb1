"""The contents of an archive from files on a disk, for shops without the app."""

import json
from collections.abc import Sequence
from pathlib import Path

from layflat.base import InputError, read_bytes
from layflat.exchange.records import (
    MOST_JSON_BYTES,
    MOST_SCAN_BYTES,
    BodyState,
    Contents,
    Part,
    PatternLine,
    PatternState,
    Vehicle,
)
from layflat.pattern import Drawing, Pattern, dxf_text, pattern_json
from layflat.surface import read_panels, sniff


def from_files(
    vehicle: Vehicle,
    patterns: Sequence[Pattern],
    *,
    scan: Path | None = None,
    unit: str = "",
    panels: Path | None = None,
) -> tuple[Contents, list[Part]]:
    """What `pack` takes, of flat pieces and a scan.

    Args:
        vehicle: whose shapes they are.
        patterns: each becomes a line of one revision, from a drawing.
        scan: a mesh file.
        unit: of the scan; "" for GLB.
        panels: those that were traced on the scan.

    Raises:
        InputError: there is nothing, a file cannot be read, or panels come without their scan.
    """
    if not patterns and scan is None:
        raise InputError("There is nothing to pack: name drawings, or a scan with --scan.")
    if panels is not None and scan is None:
        raise InputError("Panels go with the scan that they were traced on; name it with --scan.")
    parts: list[Part] = []
    bodies = () if scan is None else (_body(scan, unit, panels, parts),)
    lines = tuple(_line(pattern, place, parts) for place, pattern in enumerate(patterns, 1))
    return Contents(vehicle=vehicle, bodies=bodies, patterns=lines), parts


def _body(scan: Path, unit: str, panels: Path | None, parts: list[Part]) -> BodyState:
    kind = sniff(read_bytes(scan, max_bytes=MOST_SCAN_BYTES), where=str(scan))
    ending = kind.removesuffix(" text")
    if ending != "glb" and not unit:
        raise InputError(f"{scan.name} does not say its unit; give it with --unit.")
    parts.append(Part(f"scans/1.{ending}", scan))
    named = ""
    if panels is not None:
        read_panels(panels)
        named = "panels/1.json"
        parts.append(Part(named, read_bytes(panels, max_bytes=MOST_JSON_BYTES)))
    shown = "" if ending == "glb" else unit
    return BodyState(number=1, scan=f"scans/1.{ending}", unit=shown, panels=named)


def _line(pattern: Pattern, place: int, parts: list[Part]) -> PatternLine:
    text = json.dumps(pattern_json(pattern), separators=(",", ":"))
    parts.append(Part(f"patterns/{place}/1.json", text.encode()))
    drawing = dxf_text(Drawing(patterns=(pattern,)))
    parts.append(Part(f"patterns/{place}/1.dxf", drawing.encode()))
    state = PatternState(
        number=1,
        pattern=f"patterns/{place}/1.json",
        drawing=f"patterns/{place}/1.dxf",
        origin="drawing",
    )
    return PatternLine(name=pattern.name, title=pattern.name, revisions=(state,))
