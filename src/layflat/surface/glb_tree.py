"""The description in a GLB file, checked and cut down to what a surface needs."""

import math
from dataclasses import dataclass
from typing import Any

from layflat.base import MeshError
from layflat.surface.polygons import MAX_COORDINATE, MAX_VERTICES, require_count

MAX_NODES = 10_000
MAX_DEPTH = 100

_TRIANGLES, _STRIP = 4, 5
_BYTES = {5121: 1, 5123: 2, 5125: 4, 5126: 4}
_PLACES = {"matrix": 16, "translation": 3, "rotation": 4, "scale": 3}
_LOOKS = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_")
"""Extensions by these beginnings change colours only."""


@dataclass(frozen=True)
class GlbTree:
    """A glTF tree that holds.

    Attributes:
        tree: scenes, nodes, meshes, accessors, bufferViews and buffers, and nothing else.
        notes: sentences on what was left out.
    """

    tree: dict[str, Any]
    notes: tuple[str, ...]


def checked_tree(described: Any, blob_bytes: int, *, where: str) -> GlbTree:
    """Check a description and keep what is shown of its surfaces.

    Args:
        described: the parsed JSON.
        blob_bytes: the length of the file's binary chunk.
        where: what the file is called in an error.

    Raises:
        MeshError: it contradicts itself or the file, needs what is not read, or shows too much.
    """
    try:
        _require_readable(described, where)
        views = _views(described, blob_bytes)
        nodes, roots = _nodes(described)
        accessors = _items(described, "accessors")
        meshes: list[list[dict[str, Any]]] = []
        left_out = 0
        for mesh in _items(described, "meshes"):
            primitives = _items(mesh, "primitives")
            kept = [p for p in primitives if p.get("mode", _TRIANGLES) in (_TRIANGLES, _STRIP)]
            left_out += len(primitives) - len(kept)
            meshes.append([_primitive(p, accessors, views) for p in kept])
        shown = [_index(node["mesh"], meshes) for node in nodes if "mesh" in node]
    except MeshError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        words = str(error) if type(error) is ValueError else "its description is not whole"
        raise MeshError(f"{where} is a damaged GLB file: {words}; export it again.") from None
    _require_bounds([meshes[i] for i in shown], accessors, where)
    drawn = set(shown)
    # A node may show a mesh that holds nothing but lines, which trimesh does not expect.
    for node in nodes:
        if "mesh" in node and not meshes[node["mesh"]]:
            del node["mesh"]
    notes = (f"{where} has {left_out:,} groups of points, lines or fans; they were left out.",)
    return GlbTree(
        {
            "asset": {"version": "2.0"},
            "scene": 0,
            "scenes": [{"nodes": roots}],
            "nodes": nodes,
            "meshes": [
                {"primitives": primitives if i in drawn else []}
                for i, primitives in enumerate(meshes)
            ],
            "accessors": _kept_accessors(accessors, meshes),
            "bufferViews": views,
            "buffers": [{"byteLength": blob_bytes}],
        },
        notes if left_out else (),
    )


def _require_readable(described: Any, where: str) -> None:
    for name in described.get("extensionsRequired", []):
        word = str(name)[:60]
        if "compression" in word:
            raise MeshError(f"{where} is packed by “{word}”; export it without compression.")
        if not word.startswith(_LOOKS):
            raise MeshError(f"{where} needs “{word}”, which is not read; export it without that.")
    buffers = _items(described, "buffers")
    if len(buffers) > 1 or any("uri" in buffer for buffer in buffers):
        raise MeshError(f"{where} keeps its numbers outside of itself; export it as one GLB file.")


def _items(holder: Any, name: str) -> list[dict[str, Any]]:
    """A list of objects, which may be absent."""
    found = holder.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise ValueError(f"its {name} are no list of objects")
    return found


def _whole(value: Any, what: str, *, least: int = 0) -> int:
    if type(value) is not int or not least <= value <= 1 << 40:
        raise ValueError(f"{what} is no whole number from {least} on")
    return value


def _index(value: Any, items: list[Any]) -> int:
    if _whole(value, "an index") >= len(items):
        raise ValueError("it names a part that is not there")
    return int(value)


def _views(described: Any, blob_bytes: int) -> list[dict[str, int]]:
    """The parts of the binary chunk."""
    buffers = _items(described, "buffers")
    ends = [_whole(buffer.get("byteLength"), "a buffer's length", least=1) for buffer in buffers]
    if any(end > blob_bytes for end in ends):
        raise ValueError(
            f"its buffer of {max(ends):,} bytes is longer than the {blob_bytes:,} held"
        )
    views: list[dict[str, int]] = []
    for view in _items(described, "bufferViews"):
        buffer = _index(view.get("buffer"), buffers)
        start = _whole(view.get("byteOffset", 0), "an offset")
        length = _whole(view.get("byteLength"), "a length", least=1)
        if start + length > ends[buffer]:
            raise ValueError("a part of its buffer ends beyond it")
        kept = {"buffer": buffer, "byteOffset": start, "byteLength": length}
        if "byteStride" in view:
            kept["byteStride"] = _whole(view["byteStride"], "a stride", least=4)
        views.append(kept)
    return views


def _accessor(item: dict[str, Any], views: list[dict[str, int]], *, columns: int) -> None:
    """Check that numbers of the wanted kind are there."""
    if "sparse" in item:
        raise ValueError("it has sparse numbers, which are not read")
    view = views[_index(item.get("bufferView"), views)]
    kinds = (5126,) if columns == 3 else (5121, 5123, 5125)
    if item.get("type") != ("VEC3" if columns == 3 else "SCALAR"):
        raise ValueError("its points or corners are of the wrong type")
    if item.get("componentType") not in kinds:
        raise ValueError("its numbers are of a type that is not read")
    count = _whole(item.get("count"), "a count", least=1)
    size = columns * _BYTES[item["componentType"]]
    stride = view.get("byteStride", size)
    start = _whole(item.get("byteOffset", 0), "an offset")
    if stride < size or start + stride * (count - 1) + size > view["byteLength"]:
        raise ValueError(f"it says it has {count:,} values, more than it holds")


def _primitive(
    item: dict[str, Any], accessors: list[dict[str, Any]], views: list[dict[str, int]]
) -> dict[str, Any]:
    position = _index(item["attributes"]["POSITION"], accessors)
    _accessor(accessors[position], views, columns=3)
    mode = item.get("mode", _TRIANGLES)
    kept = {"attributes": {"POSITION": position}, "mode": mode}
    corners = accessors[position]["count"]
    if "indices" in item:
        kept["indices"] = _index(item["indices"], accessors)
        _accessor(accessors[kept["indices"]], views, columns=1)
        corners = accessors[kept["indices"]]["count"]
    if corners < 3 or (mode == _TRIANGLES and corners % 3):
        raise ValueError("the number of its corners is no multiple of three")
    return kept


def _kept_accessors(
    accessors: list[dict[str, Any]], meshes: list[list[dict[str, Any]]]
) -> list[dict[str, Any]]:
    """The accessors that surfaces use; one byte stands for each other, so that numbers stay."""
    used = {p["attributes"]["POSITION"] for primitives in meshes for p in primitives}
    used |= {p["indices"] for primitives in meshes for p in primitives if "indices" in p}
    keys = ("bufferView", "byteOffset", "componentType", "count", "type")
    nothing = {"componentType": 5121, "count": 1, "type": "SCALAR"}
    return [
        {key: item[key] for key in keys if key in item} if i in used else nothing
        for i, item in enumerate(accessors)
    ]


def _nodes(described: Any) -> tuple[list[dict[str, Any]], list[int]]:
    """The nodes that the scene shows, numbered anew, and which of them are its roots."""
    given = _items(described, "nodes")
    if len(given) > MAX_NODES:
        raise ValueError(f"it has {len(given):,} nodes, more than {MAX_NODES:,}")
    children = [[_index(i, given) for i in node.get("children", [])] for node in given]
    held = [i for some in children for i in some]
    scenes = _items(described, "scenes")
    if scenes:
        scene = scenes[_index(described.get("scene", 0), scenes)]
        roots = [_index(i, given) for i in scene.get("nodes", [])]
    else:
        roots = [i for i in range(len(given)) if i not in set(held)]
    # In glTF a node has at most one parent, which rules out cycles below a root.
    if len(set(held) | set(roots)) < len(held) + len(roots):
        raise ValueError("its nodes hold each other in a circle or one node twice")
    shown: list[int] = []
    level = roots
    for _ in range(MAX_DEPTH):
        shown += level
        level = [child for i in level for child in children[i]]
    if level:
        raise ValueError(f"its nodes are nested more than {MAX_DEPTH} deep")
    number = {i: k for k, i in enumerate(shown)}
    kept = [_node(given[i], [number[child] for child in children[i]]) for i in shown]
    return kept, [number[i] for i in roots]


def _node(given: dict[str, Any], children: list[int]) -> dict[str, Any]:
    kept: dict[str, Any] = {"children": children} if children else {}
    if "mesh" in given:
        kept["mesh"] = given["mesh"]
    for name, length in _PLACES.items():
        if name in given:
            kept[name] = _numbers(given[name], length)
    return kept


def _numbers(values: Any, length: int) -> list[float]:
    if not isinstance(values, list) or len(values) != length:
        raise ValueError("a node has no whole place")
    if not all(type(value) in (int, float) for value in values):
        raise ValueError("a node's place is not made of numbers")
    if not all(math.isfinite(value) and abs(value) <= MAX_COORDINATE for value in values):
        raise ValueError("a node's place is out of all bounds")
    return [float(value) for value in values]


def _require_bounds(
    shown: list[list[dict[str, Any]]], accessors: list[dict[str, Any]], where: str
) -> None:
    """Refuse too many triangles; a mesh counts once for each node that shows it."""
    triangles = vertices = 0
    for primitive in (p for primitives in shown for p in primitives):
        points = accessors[primitive["attributes"]["POSITION"]]["count"]
        corners = accessors[primitive["indices"]]["count"] if "indices" in primitive else points
        triangles += corners - 2 if primitive["mode"] == _STRIP else corners // 3
        vertices += points
    require_count(triangles, where)
    if vertices > MAX_VERTICES:
        raise MeshError(f"{where} has {vertices:,} vertices; at most {MAX_VERTICES:,} are read.")
    if not triangles:
        raise MeshError(f"{where} has no triangles.")
