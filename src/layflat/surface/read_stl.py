"""STL: the triangles of a binary or text file, each with three vertices of its own."""

import struct
from mmap import mmap

import numpy as np

from layflat.base import FloatArray, MeshError
from layflat.surface.lines import float_array, text_blocks
from layflat.surface.polygons import Polygons, require_count

_HEADER = 84
_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_FACET = (
    b"facet normal . . . outer loop vertex . . . vertex . . . vertex . . . endloop endfacet".split()
)
"""The words of a facet in a text file; a point stands for a number."""


def is_binary_stl(data: bytes | mmap) -> bool:
    """Whether the file is exactly as long as a binary STL of the count that it states."""
    return len(data) >= _HEADER and len(data) == _HEADER + _TRIANGLE.itemsize * _stated(data)


def read_binary_stl(data: bytes, *, where: str) -> Polygons:
    """The triangles of a binary STL file.

    Raises:
        MeshError: it is not as long as it says, or has too many triangles.
    """
    stated = _stated(data)
    held, rest = divmod(len(data) - _HEADER, _TRIANGLE.itemsize)
    if held < stated:
        raise MeshError(
            f"{where} looks like a binary STL that says it has {stated:,} triangles but holds "
            f"{held:,}; it is cut short or damaged."
        )
    if held > stated or rest:
        more = len(data) - _HEADER - _TRIANGLE.itemsize * stated
        raise MeshError(
            f"{where} looks like a binary STL that says it has {stated:,} triangles, but "
            f"{more:,} bytes follow them; it is damaged."
        )
    require_count(stated, where)
    corners = np.frombuffer(data, _TRIANGLE, stated, _HEADER)["corners"]
    # A signalling NaN in single precision warns when it is widened.
    with np.errstate(invalid="ignore"):
        return _own_vertices(corners.astype(np.float64).reshape(-1, 3))


def read_text_stl(data: bytes, *, where: str) -> tuple[Polygons, tuple[str, ...]]:
    """The triangles of a text STL file, and a sentence if it has several solids.

    Raises:
        MeshError: it is cut short, a line is no STL, or there are too many triangles.
    """
    points: list[FloatArray] = [np.empty(0)]
    solids = facets = 0
    ended = False
    words: list[bytes] = []
    for text in text_blocks(data, where=where):
        block = text.lower()
        if b"solid" in block:
            lines = list(filter(None, map(bytes.strip, block.splitlines())))
            solids += sum(line[:5] == b"solid" for line in lines)
            ended = lines[-1][:8] == b"endsolid"
            block = b" ".join(
                line for line in lines if line[:5] != b"solid" and line[:8] != b"endsolid"
            )
        elif not block.isspace():
            ended = False
        words += block.split()
        whole = len(words) // len(_FACET)
        require_count(facets + whole, where)
        points.append(_facets(words[: whole * len(_FACET)], facets, where))
        facets += whole
        words = words[whole * len(_FACET) :]
    if not ended:
        raise MeshError(
            f"{where} is a text STL that does not end in “endsolid”, after {facets:,} triangles; "
            "it is cut short."
        )
    if words:
        raise MeshError(
            f"{where} is a text STL whose last facet is not whole, after {facets:,} triangles; "
            "it is damaged."
        )
    notes = (f"{where} holds {solids:,} objects; they were taken together.",)
    return _own_vertices(np.concatenate(points).reshape(-1, 3)), notes if solids > 1 else ()


def _facets(words: list[bytes], before: int, where: str) -> FloatArray:
    """The corners' coordinates of whole facets, of which there were *before* others."""
    step = len(_FACET)
    numbers: list[bytes] = [b""] * (9 * (len(words) // step))
    of_corners = [i for i in range(7, step) if _FACET[i] == b"."]
    try:
        for i, word in enumerate(_FACET):
            if word != b"." and not set(words[i::step]) <= {word}:
                raise ValueError(word)
        for k, i in enumerate(of_corners):
            numbers[k::9] = words[i::step]
        return float_array(numbers)
    except ValueError:
        if len(words) > step:
            for i in range(0, len(words), step):
                _facets(words[i : i + step], before + i // step, where)
        raise MeshError(
            f"{where} is a text STL whose facet {before + 1:,} is not three vertices in a loop; "
            "it is damaged."
        ) from None


def _stated(data: bytes | mmap) -> int:
    count: int = struct.unpack_from("<I", data, 80)[0]
    return count


def _own_vertices(points: FloatArray) -> Polygons:
    return Polygons(points, np.arange(len(points)), np.full(len(points) // 3, 3))
