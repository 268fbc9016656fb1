"""What is said and done where pictures show that a sheet does not lie flat, or was moved."""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray
from layflat.photo.follow import STEP_MM, Line
from layflat.photo.heights import LEAST_MM, Heights
from layflat.photo.records import Mask, PhotoError
from layflat.photo.smooth import runs

_MOST_SHARE = 1.0 / 3.0
_JOINED_MM = 24.0
"""Stretches so near to each other are one: between them the pictures may not tell."""
_LEAST_RUN_MM = 6.0
_ALL = 0.95
_THEN = "photograph again, or put the line right"


def doubted(heights: Heights, interval_mm: FloatArray) -> Mask:
    """(n,) places where the sheet stands up, or the pictures differ, beyond what was stated."""
    high = np.abs(heights.height_mm) >= LEAST_MM
    beyond = heights.sure & (high | (heights.off_mm > interval_mm))
    return beyond | (heights.apart_mm > 0.0)


def stretches(flags: Mask) -> list[Mask]:
    """The stretches of a closed line that flags (n,) mark; near ones are one, specks none."""
    count = len(flags)
    wide = flags.copy()
    for first, length in runs(~flags, closed=True):
        if length * STEP_MM <= _JOINED_MM and length < count:
            wide[(first + np.arange(length)) % count] = True
    found = []
    for first, length in runs(wide, closed=True) if wide.any() else []:
        part = np.zeros(count, dtype=np.bool_)
        part[(first + np.arange(length)) % count] = True
        if (part & flags).sum() * STEP_MM >= _LEAST_RUN_MM:
            found.append(part)
    return found


def lifted_reasons(heights: Heights, parts: Sequence[Mask]) -> list[tuple[Mask, str]]:
    """For each stretch its places and why a person should look at it."""
    return [(part, _why(heights, part)) for part in parts]


def _why(heights: Heights, part: Mask) -> str:
    high = np.where(part & heights.sure, heights.height_mm, 0.0)
    most = float(high[np.argmax(np.abs(high))])
    apart = float(heights.apart_mm[part].max())
    if apart > abs(most) or not most:
        return (
            f"the pictures show the line {apart:.1f} mm apart here: the sheet was moved between "
            f"them, or something hides it; {_THEN}"
        )
    if most < 0:
        return (
            f"the pictures show the line as if it lay {-most:.1f} mm lower than the frame: the "
            f"sheet was moved between them; {_THEN}"
        )
    about = f"{most:.0f}" if most >= 1.5 else f"{most:.1f}"
    return f"the paper stands up here by about {about} mm; flatten it and {_THEN}"


def widened(interval_mm: FloatArray, heights: Heights, parts: Sequence[Mask]) -> FloatArray:
    """(n,) intervals that hold what the pictures show; between told places of a stretch too."""
    off = np.where(heights.sure, heights.off_mm, 0.0)
    count = len(off)
    index = np.arange(count)
    for part in parts:
        known = part & heights.sure
        if known.any():
            between = np.interp(index, index[known], off[known], period=count)
            off = np.where(part, np.maximum(off, between), off)
    wide: FloatArray = np.maximum(interval_mm, np.maximum(off, heights.apart_mm))
    return wide


def require_flat(line: Line, heights: Heights, parts: Sequence[Mask], kind: str) -> None:
    """Refuse a line of which much does not lie flat.

    Raises:
        PhotoError: with how high it stands and what to do.
    """
    long = np.zeros(len(line.at_mm), dtype=np.bool_)
    for part in parts:
        long |= part
    if float(long.mean()) <= _MOST_SHARE:
        return
    worst = int(np.argmax(np.where(long, np.abs(heights.height_mm) + heights.apart_mm, 0.0)))
    most = float(heights.height_mm[worst])
    how = f"stands up to {most:.1f} mm over the frame" if most > 0 else "is shown at two places"
    raise PhotoError(
        f"The pictures do not agree: along {long.sum() * STEP_MM:.0f} mm the {kind} {how}. Press "
        "the sheet flat, or lay the frame as high as it, let nothing move between the pictures, "
        "and take them anew."
    ).about(line.at_mm[worst])


def compared_note(told: Sequence[Mask]) -> list[str]:
    """A note on how much of the lines pictures could be compared along; told for each line."""
    share = float(np.concatenate(told).mean())
    if share >= _ALL:
        return []
    alike = "the pictures look from sides too like each other to show whether the sheet lay flat."
    if share < 1.0 - _ALL:
        return [alike.capitalize()]
    return [f"Along {100 * (1 - share):.0f} of 100 parts of the lines {alike}"]
