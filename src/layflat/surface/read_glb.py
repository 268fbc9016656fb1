"""GLB: the triangles of a glTF 2.0 scene in one binary file, each in its place.

Before trimesh reads anything, the file's tree is checked against the glTF 2.0 specification
(ISO/IEC 12113:2022) and cut down to what a surface needs: what trimesh gets names no byte that
is not there, has no cycles, and is no larger than what is read of the other formats.
"""

import io
import json
import struct
import warnings
from typing import Any

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.glb_tree import GlbTree, checked_tree
from layflat.surface.polygons import require_sound

MAX_JSON_BYTES = 50_000_000

_JSON, _BIN = 0x4E4F534A, 0x004E4942


def read_glb(data: bytes, *, where: str) -> tuple[FloatArray, IntArray, tuple[str, ...]]:
    """The triangles of a GLB file.

    Returns:
        (n, 3) float64 vertices in metres, (m, 3) int64 faces, and sentences on what was noticed.

    Raises:
        MeshError: it is damaged, packed, in several files, or holds no triangles or too many.
    """
    text, blob = _chunks(data, where)
    if len(text) > MAX_JSON_BYTES:
        raise MeshError(f"{where} has a description of more than {MAX_JSON_BYTES:,} bytes.")
    try:
        described = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise MeshError(
            f"{where} is a damaged GLB file: its description cannot be read; export it again."
        ) from None
    tree = checked_tree(described, len(blob), where=where)
    parts = _by_trimesh(tree, blob, where)
    for vertices, faces in parts:
        require_sound(vertices, faces.reshape(-1), where)
    offsets = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    faces = np.concatenate([part + off for (_, part), off in zip(parts, offsets, strict=False)])
    notes = list(tree.notes)
    if len(parts) > 1:
        notes.append(f"{where} holds {len(parts):,} objects; they were taken together.")
    return np.concatenate([vertices for vertices, _ in parts]), faces, tuple(notes)


def _no_number(word: str) -> Any:
    raise ValueError(word)


def _chunks(data: bytes, where: str) -> tuple[bytes, bytes]:
    """The JSON and the binary chunk; the latter may be absent."""
    if len(data) < 20:
        raise MeshError(f"{where} is a GLB file that is cut short.")
    version, length, text_bytes, kind = struct.unpack_from("<4I", data, 4)
    if version != 2:
        raise MeshError(f"{where} is GLB version {version}; only version 2 is read.")
    if length > len(data) or 20 + text_bytes > len(data):
        raise MeshError(f"{where} is a GLB file that is cut short.")
    if length < len(data):
        raise MeshError(
            f"{where} is a GLB file that says it has {length:,} bytes but has {len(data):,}; "
            "it is damaged."
        )
    if kind != _JSON:
        raise MeshError(f"{where} is a damaged GLB file: it does not begin with a description.")
    text = data[20 : 20 + text_bytes]
    at = 20 + text_bytes
    while at + 8 <= len(data):
        size, kind = struct.unpack_from("<2I", data, at)
        at += 8
        if at + size > len(data):
            raise MeshError(f"{where} is a GLB file that is cut short.")
        if kind == _BIN:
            return text, data[at : at + size]
        at += size
    return text, b""


def _by_trimesh(tree: GlbTree, blob: bytes, where: str) -> list[tuple[FloatArray, IntArray]]:
    """The objects of the scene, each where its nodes put it."""
    import trimesh  # read only here, since it is large

    text = json.dumps(tree.tree).encode()
    text += b" " * (-len(text) % 4)
    blob += b"\0" * (-len(blob) % 4)
    head = struct.pack("<5I", 0x46546C67, 2, 28 + len(text) + len(blob), len(text), _JSON)
    file = io.BytesIO(b"".join([head, text, struct.pack("<2I", len(blob), _BIN), blob]))
    try:
        # What a false number leads to is found afterwards in the result.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(
                file, file_type="glb", process=False, maintain_order=True, skip_materials=True
            )
            parts = [part for part in scene.dump() if isinstance(part, trimesh.Trimesh)]
    except Exception as error:
        raise MeshError(f"{where} cannot be read as GLB: it is damaged.") from error
    found = [
        (np.array(part.vertices, np.float64), np.array(part.faces, np.int64))
        for part in parts
        if len(part.faces)
    ]
    if not found:
        raise MeshError(f"{where} has no triangles.")
    return found
