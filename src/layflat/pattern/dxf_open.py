"""DXF files opened within bounds: counted before they are read, mended by the library and said."""

import struct
from collections.abc import Iterator
from pathlib import Path

from ezdxf.audit import AuditError, Auditor
from ezdxf.document import Drawing as Document
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from layflat.base import DrawingError, counted, read_bytes
from layflat.pattern.mend_record import Findings, were
from layflat.pattern.mend_units import Unit

_MOST_BYTES = 40_000_000
_MOST_ENTITIES = 200_000
MM_PER_INSUNITS = {
    1: 25.4,
    2: 304.8,
    3: 1_609_344.0,
    4: 1.0,
    5: 10.0,
    6: 1000.0,
    7: 1e6,
    8: 25.4e-6,
    9: 25.4e-3,
    10: 914.4,
    13: 1e-3,
    14: 100.0,
    15: 1e4,
    16: 1e5,
}
"""Millimetres per unit by DXF's number in $INSUNITS."""

_IMPERIAL = (1, 2, 3, 8, 9, 10)
_BINARY = b"AutoCAD Binary DXF"
_BINARY_RECORD = b"\0\0\0"
"""A string's end and the two bytes of group code 0."""

_MOST_SAID = 8
_LETTERS_SAID = 160

BAD_FILE = (
    DXFError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError,
    AssertionError, StopIteration, EOFError, NotImplementedError, struct.error,
)  # fmt: skip
"""What the library lets through when a file is damaged."""

_LOSES = {
    AuditError.REMOVED_INVALID_GRAPHIC_ENTITY,
    AuditError.REMOVED_ENTITY_WITH_INVALID_OWNER_HANDLE,
    AuditError.UNDEFINED_BLOCK,
    AuditError.INVALID_BLOCK_REFERENCE_CYCLE,
    AuditError.ORPHANED_LAYOUT_ENTITY,
    AuditError.UNDEFINED_BLOCK_NAME,
    AuditError.INVALID_INTEGER_VALUE,
    AuditError.INVALID_FLOATING_POINT_VALUE,
    AuditError.INVALID_EXTRUSION_VECTOR,
    AuditError.INVALID_MAJOR_AXIS,
    AuditError.INVALID_VERTEX_COUNT,
    AuditError.INVALID_SPLINE_DEFINITION,
    AuditError.INVALID_SPLINE_CONTROL_POINT_COUNT,
    AuditError.INVALID_SPLINE_FIT_POINT_COUNT,
    AuditError.INVALID_SPLINE_KNOT_VALUE_COUNT,
    AuditError.INVALID_SPLINE_WEIGHT_COUNT,
    AuditError.INVALID_ELLIPSE_RATIO,
    AuditError.TAG_ATTRIBUTE_MISSING,
}
"""What the library mends in a way that changes or loses lines: each is said in its words."""


def open_dxf(path: Path, findings: Findings) -> Document:
    """The document in a DXF file, of any version, as text or binary.

    Raises:
        DrawingError: the file is no DXF, is damaged or too large.
        InputError: the file cannot be read.
    """
    _refuse_many(read_bytes(path, max_bytes=_MOST_BYTES), where=path.name)
    try:
        document = readfile(path)
        auditor = document.audit()
    except OSError as error:
        raise DrawingError(f"{path.name} is not a DXF file, or is damaged at its start.") from error
    except BAD_FILE as error:
        raise damaged(path.name, error) from error
    if auditor.errors:
        raise DrawingError(
            f"{path.name} is damaged and cannot be read as DXF: "
            f"{legible(auditor.errors[0].message).rstrip('.')}."
        )
    _say_fixes(auditor, findings)
    return document


def damaged(where: str, error: Exception) -> DrawingError:
    """What is told when the library cannot read on."""
    words = legible(str(error)).rstrip(".")[:_LETTERS_SAID]
    return DrawingError(f"{where} is damaged and cannot be read as DXF: {words}.")


def legible(words: str) -> str:
    """Words without halves of signs, which no other file could hold, and on one line."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in words)


def _say_fixes(auditor: Auditor, findings: Findings) -> None:
    """Say what the library mended: what loses lines in its words, the rest by number."""
    losing = [fix for fix in auditor.fixes if fix.code in _LOSES]
    for fix in losing[:_MOST_SAID]:
        words = legible(fix.message).rstrip(".")[:_LETTERS_SAID]
        findings.mend("file", f"The file is faulty, and lines were lost or changed: {words}.")
    if len(losing) > _MOST_SAID:
        more = counted(len(losing) - _MOST_SAID, "more such fault", "more such faults")
        findings.mend("file", f"{more} of the file.")
    others = len(auditor.fixes) - len(losing)
    if others:
        which = f"of the file that {'touches' if others == 1 else 'touch'} no line"
        findings.mend("file", f"{were(others, 'fault', but=which, done='mended')}.")


def _refuse_many(data: bytes, *, where: str) -> None:
    """Count the records of a file before the library takes it in, which it does slowly."""
    if data.startswith(_BINARY):
        count = data.count(_BINARY_RECORD)
    else:
        # Lines come in pairs, a group code and a value; every record begins with code 0.
        count = sum(1 for code in data.splitlines()[::2] if code.strip() == b"0")
    if count > _MOST_ENTITIES:
        raise DrawingError(f"{where} holds {count} records; at most {_MOST_ENTITIES} are read.")


def unit_of_dxf(document: Document) -> Unit:
    """What the header says of the unit: by $INSUNITS, against $MEASUREMENT.

    $MEASUREMENT (0 inches, 1 metric) is about hatches and line types; but where it
    contradicts $INSUNITS, one of the two was set by hand and the other was not.
    """
    number = int(document.header.get("$INSUNITS", 0))
    measurement = document.header.get("$MEASUREMENT", None)
    if number == 0:
        inches = measurement == 0 and document.dxfversion > "AC1009"
        hint = " ($MEASUREMENT says inches)" if inches else ""
        return Unit(1.0, f"The file names no unit{hint}.")
    if number not in MM_PER_INSUNITS:
        return Unit(1.0, f"The drawing's unit ($INSUNITS {number}) is none for a piece of film.")
    factor = MM_PER_INSUNITS[number]
    if measurement in (0, 1) and (measurement == 0) != (number in _IMPERIAL):
        system = "inches" if measurement == 0 else "a metric unit"
        return Unit(
            factor,
            f"The file contradicts itself: $INSUNITS {number} is {factor:g} mm, $MEASUREMENT says "
            f"{system}.",
        )
    return Unit(factor)


def paper_entities(document: Document) -> Iterator[tuple[str, int]]:
    """The layouts in paper space that hold anything but windows on the model, and how much."""
    for layout in document.layouts:
        if layout.is_modelspace:
            continue
        count = sum(1 for entity in layout if entity.dxftype() != "VIEWPORT")
        if count:
            yield legible(layout.name), count
