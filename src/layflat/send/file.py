"""A cut program from a file, with the names of its cuts from the report beside it."""

import json
from pathlib import Path
from typing import Any

from layflat.base import InputError, read_bytes
from layflat.cut import Machine, generic_machine, plain_text
from layflat.send.spool import MAX_BYTES, Spool, sections_of, spool_of, told_spool

_MOST_REPORT = 64_000_000


def spool_of_file(
    path: Path,
    *,
    section: int = 0,
    cuts_path: Path | None = None,
    machine: Machine | None = None,
) -> Spool:
    """The program in the file at *path*, or one section of it.

    Args:
        path: what `layflat cut` or `layflat job` wrote.
        section: which section of the file; 0 where it holds one.
        cuts_path: the report of `layflat cut`, which names the cuts; numbers without.
        machine: the one that it was made for, where that counts in its own way.

    Raises:
        InputError: it is no whole program of Layflat's, holds several sections and none is named,
            or the report is not that of this program; or it was made for another machine.
    """
    machine = generic_machine() if machine is None else machine
    data = _plain(read_bytes(path, max_bytes=MAX_BYTES), machine)
    parts = sections_of(data, name=str(path))
    if len(parts) > 1 and not 1 <= section <= len(parts):
        raise InputError(
            f"{path} has {len(parts)} sections; name one by --section, and look at the feed before "
            "the next."
        )
    one = parts[section - 1] if len(parts) > 1 else data
    name = f"{path.name}, section {section}" if section else path.name
    if cuts_path is None:
        return told_spool(spool_of(one, name=name), machine)
    cuts, heading = _cuts(cuts_path, section=section or 1)
    return told_spool(spool_of(one, name=name, cuts=cuts, heading=heading), machine)


def _plain(data: bytes, machine: Machine) -> bytes:
    """A program as it was before it was told in the machine's own way."""
    if machine.is_plain:
        return data
    return plain_text(data.decode("ascii", "replace"), machine).encode("ascii", "replace")


def _cuts(path: Path, *, section: int) -> tuple[list[tuple[str, int]], int | None]:
    """Names and lowerings of a section's cuts, and which of them is the heading's."""
    try:
        report: Any = json.loads(read_bytes(path, max_bytes=_MOST_REPORT))
        rows = next(each["cuts"] for each in report["sections"] if each["number"] == section)
        cuts = [(str(row["name"])[:200], int(row["strokes"])) for row in rows]
        kinds = [row["kind"] for row in rows]
    except StopIteration:
        raise InputError(f"{path} has no section {section}.") from None
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            f"{path} is no report of layflat cut: write one by its --report."
        ) from error
    if not cuts or any(strokes < 1 for _, strokes in cuts):
        raise InputError(f"{path} does not say what is cut in section {section}.")
    return cuts, kinds.index("heading") if "heading" in kinds else None
