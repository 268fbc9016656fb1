"""The lines of a text file in blocks, so that a large file never stands in memory as words."""

from collections.abc import Iterator, Sequence

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError

BLOCK = 1 << 20
"""How many bytes are taken at a time; no line may be longer."""

MAX_LINES = 60_000_000
"""Room for the most vertices with normals and texture coordinates, and the most faces."""


def text_blocks(data: bytes, *, where: str, start: int = 0) -> Iterator[bytes]:
    """Whole lines from byte *start*, as many at a time as go into `BLOCK` bytes.

    Raises:
        MeshError: a line is longer than `BLOCK`.
    """
    while start < len(data):
        end = start + BLOCK
        if end < len(data):
            last = data.rfind(b"\n", start, end)
            last = last if last >= 0 else data.rfind(b"\r", start, end - 1)
            if last < 0:
                raise MeshError(f"{where} has a line of more than {BLOCK:,} bytes; it is damaged.")
            end = last + 1
        yield data[start:end]
        start = end


def line_blocks(data: bytes, *, where: str, start: int = 0) -> Iterator[tuple[int, list[bytes]]]:
    """The lines from byte *start*, without the white space round them.

    Lines may end in a line feed, a carriage return or both.

    Yields:
        The number of the block's first line, counted from 1 at *start*, and the lines.

    Raises:
        MeshError: a line is longer than `BLOCK`, or there are more than `MAX_LINES`.
    """
    number = 1
    for text in text_blocks(data, where=where, start=start):
        lines = [line.strip() for line in text.splitlines()]
        yield number, lines
        number += len(lines)
        if number > MAX_LINES:
            raise MeshError(f"{where} has more than {MAX_LINES:,} lines, too many to read.")


def float_array(words: Sequence[bytes]) -> FloatArray:
    """(k,) float64 of decimal numbers.

    Raises:
        ValueError: one is no number.
    """
    return np.fromiter(map(float, _plain(words)), np.float64, len(words))


def int_array(words: Sequence[bytes]) -> IntArray:
    """(k,) int64 of whole numbers.

    Raises:
        ValueError: one is no whole number, or too large for any count.
    """
    try:
        return np.fromiter(map(int, _plain(words)), np.int64, len(words))
    except OverflowError:
        raise ValueError("too large") from None


def _plain(words: Sequence[bytes]) -> Sequence[bytes]:
    """The words, unless one has an underscore, which Python takes within a number."""
    if b"_" in b"".join(words):
        raise ValueError("an underscore")
    return words
