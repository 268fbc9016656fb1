"""Mesh files made to harm, or damaged anyhow: a mesh or one sentence, in bounds, no warnings."""

import json
import logging
import struct
import tracemalloc
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import zoo
from layflat.base import LayflatError, MeshError
from layflat.surface import Mesh, ReadMesh, check_mesh, read_mesh
from layflat.surface.lines import BLOCK

LEAST_MB = 40.0
"""What a refusal may take in memory beside the file, in MB; the reader's own blocks fit in it."""


def exported(mesh: Mesh, kind: str, **options: object) -> bytes:
    data = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False).export(
        file_type=kind, **options
    )
    return data.encode() if isinstance(data, str) else data


SHEET = zoo.sheet(3, height=zoo.saddle(100))
MIXED = (
    b"""ply
format binary_little_endian 1.0
element vertex 5
property float x
property float y
property float z
property uchar red
element face 2
property list uchar int vertex_indices
end_header
"""
    + b"".join(
        struct.pack("<3fB", x, y, z, 9)
        for x, y, z in [(0, 0, 0), (90, 0, 0), (90, 90, 0), (0, 90, 0), (45, 140, 9)]
    )
    + struct.pack("<B4iB3i", 4, 0, 1, 2, 3, 3, 3, 2, 4)
)
OBJ = (
    b"# a sheet\no sheet\nv 0 0 0\nv 90 0 0\nv 90 90 0\nv 0 90 0\nv 45 140 0\nvt 0 1\nvn 0 0 1\n"
    b"usemtl film\nf 1/1/1 2/1/1 3/1/1 4/1/1\nf 4//1 3//1 5//1\n"
)
SEEDS = {
    "ply binary": exported(SHEET, "ply"),
    "ply mixed": MIXED,
    "ply text": exported(SHEET, "ply", encoding="ascii"),
    "obj": OBJ,
    "stl binary": exported(SHEET, "stl"),
    "stl text": exported(SHEET, "stl_ascii"),
    "glb": exported(zoo.cube(0.5), "glb"),
}


@pytest.fixture(scope="module")
def attempt(tmp_path_factory: pytest.TempPathFactory) -> Callable[[bytes], ReadMesh | None]:
    """Read bytes as a file; None if they were refused in one sentence."""
    path = tmp_path_factory.mktemp("hostile") / "scan.ply"

    def read(data: bytes) -> ReadMesh | None:
        path.write_bytes(data)
        said = ""
        found: ReadMesh | None = None
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                found = read_mesh(path)
            except LayflatError as error:
                said = str(error)
        if found is None:
            assert "\n" not in said
            assert said.endswith(".")
            assert len(said) < 300
            return None
        assert np.isfinite(found.mesh.vertices_mm).all()
        assert found.mesh.faces.min() >= 0
        assert found.mesh.faces.max() < len(found.mesh.vertices_mm)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert check_mesh(found.mesh).triangles > 0
        return found

    return read


@pytest.mark.parametrize("name", SEEDS)
def test_what_is_damaged_later_is_read_when_whole(
    name: str, attempt: Callable[[bytes], ReadMesh | None]
) -> None:
    assert attempt(SEEDS[name]) is not None


@pytest.mark.parametrize("name", SEEDS)
def test_a_damaged_file_is_a_mesh_or_one_sentence(
    name: str, attempt: Callable[[bytes], ReadMesh | None], caplog: pytest.LogCaptureFixture
) -> None:
    """Any bytes changed, cut out, put in or cut off: never another error, never a warning."""
    seed = SEEDS[name]
    place = st.integers(0, len(seed) - 1)
    change = st.one_of(
        st.tuples(st.just("set"), place, st.binary(min_size=1, max_size=4)),
        st.tuples(st.just("put in"), place, st.sampled_from(
            [b"-", b"9", b"\n", b"\r", b" ", b"nan", b"1e999", b"\0", b"\xff\xff\xff\xff", b"["]
        )),
        st.tuples(st.just("cut out"), place, st.binary(min_size=1, max_size=4)),
        st.tuples(st.just("end"), place, st.just(b"")),
    )  # fmt: skip

    @settings(derandomize=True, max_examples=300, deadline=None, database=None)
    @given(st.lists(change, min_size=1, max_size=3))
    def damaged(changes: list[tuple[str, int, bytes]]) -> None:
        data = seed
        for what, at, with_bytes in changes:
            if what == "end":
                data = data[:at] or b"\n"
            elif what == "put in":
                data = data[:at] + with_bytes + data[at:]
            else:
                new = with_bytes if what == "set" else b""
                data = data[:at] + new + data[at + len(with_bytes) :]
        attempt(data or b"\n")

    with caplog.at_level(logging.WARNING):
        damaged()
    assert not caplog.records


@pytest.mark.parametrize("name", SEEDS)
def test_no_file_cut_short_is_taken_for_whole(
    name: str, attempt: Callable[[bytes], ReadMesh | None]
) -> None:
    """Only OBJ, which states no counts, may lose whole faces from its end unseen."""
    seed = SEEDS[name].rstrip(b"\n") if "binary" not in name and name != "glb" else SEEDS[name]
    cuts = [end for end in range(1, len(seed)) if attempt(seed[:end]) is not None]
    if name == "obj":
        # One face is left, and whole numbers without what follows a slash.
        assert all(seed[:end].count(b"\nf") >= 1 for end in cuts)
    elif name == "ply text":
        # A cut last number is a number too, where it still names a vertex.
        assert all(end > seed.rfind(b" ") for end in cuts)
    elif name == "stl text":
        assert all(seed[:end].rstrip().endswith(b"endsolid") for end in cuts)
    else:
        assert cuts == []


PLY = (
    "ply\nformat {form} 1.0\nelement vertex {v}\nproperty float x\nproperty float y\n"
    "property float z\nelement face {f}\nproperty list {n} int vertex_indices\nend_header\n"
)
ROWS = "0 0 0\n90 0 0\n0 90 0\n3 0 1 2\n"
BINARY_ROWS = np.array([0, 0, 0, 90, 0, 0, 0, 90, 0], "<f4").tobytes() + struct.pack(
    "<B3i", 3, 0, 1, 2
)
ASCII = {"form": "ascii", "n": "uchar"}
BINARY = {"form": "binary_little_endian", "n": "uchar"}
STL = SEEDS["stl binary"]
STL_TEXT = SEEDS["stl text"]


def glb(change: Callable[[dict[str, object]], object], *, blob: bytes = b"\0" * 36) -> bytes:
    """A GLB of one triangle, with a change of its tree."""
    tree: dict[str, object] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": 3}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "buffers": [{"byteLength": 36}],
    }
    change(tree)
    return glb_of_text(json.dumps(tree).encode(), blob=blob)


def glb_of_text(text: bytes, *, blob: bytes = b"\0" * 36) -> bytes:
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(blob), 0x004E4942) + blob
    return b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks


def nodes(*given: dict[str, object]) -> Callable[[dict[str, object]], None]:
    return lambda tree: tree.update(nodes=list(given))


CHAIN: list[dict[str, object]] = [{"children": [i + 1]} for i in range(200)]

HOSTILE: dict[str, tuple[bytes, str]] = {
    "ply a thousand million vertices": (
        (PLY.format(v=10**9, f=1, **BINARY)).encode() + BINARY_ROWS, "at most 9,000,000",
    ),
    "ply more vertices than bytes": (
        (PLY.format(v=9 * 10**6, f=1, **BINARY)).encode() + BINARY_ROWS, "too short",
    ),
    "ply count of many digits": (
        (PLY.format(v="9" * 5000, f=1, **ASCII) + ROWS).encode(), "header is wrong in line 3",
    ),
    "ply header without end": (b"ply\n" + b"comment x\n" * 50_000, "end of its header"),
    "ply text, more vertices said": (
        (PLY.format(v=4, f=1, **ASCII) + ROWS).encode(), "no readable row|too short",
    ),
    "ply text, more faces said": (
        (PLY.format(v=3, f=2, **ASCII) + ROWS).encode(), "2 rows of “face”, but is too short",
    ),
    "ply text, fewer faces said": (
        (PLY.format(v=3, f=1, **ASCII) + ROWS + "3 0 1 2\n").encode(), "more follows",
    ),
    "ply text, fewer vertices said": (
        (PLY.format(v=2, f=1, **ASCII) + ROWS).encode(), "no readable row",
    ),
    "ply binary, more faces said": (
        PLY.format(v=3, f=2, **BINARY).encode() + BINARY_ROWS, "too short",
    ),
    "ply binary, fewer faces said": (
        PLY.format(v=3, f=1, **BINARY).encode() + 2 * BINARY_ROWS[-13:], "too short|not there",
    ),
    "ply binary, bytes after": (
        PLY.format(v=3, f=1, **BINARY).encode() + BINARY_ROWS + BINARY_ROWS[-13:], "more follows",
    ),
    "ply a list below zero": (
        PLY.format(v=3, f=1, form="binary_little_endian", n="char").encode()
        + BINARY_ROWS[:-13] + b"\xff" + BINARY_ROWS[-12:], "too short",
    ),
    "ply a list beyond the file": (
        PLY.format(v=3, f=1, form="binary_little_endian", n="uint").encode()
        + BINARY_ROWS[:-13] + b"\xff\xff\xff\x7f" + BINARY_ROWS[-12:], "too short",
    ),
    "obj one endless line": (b"v 0 0 0\nf" + b" 1" * BLOCK, "line of more than 1,048,576 bytes"),
    "obj index": (b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf 1 2 99999999999999999999\n", "line 4"),
    "obj index below": (b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf 1 2 -9\n", "below 1 in line 4"),
    "obj unknown line": (b"v 0 0 0\nv 9 0 0\nw 0 9 0\nv 0 9 0\nf 1 2 3\n", r"line \(3\) that beg"),
    "obj short vertex": (b"v 0 0 0\nv 90 0\nv 0 90 0\nf 1 2 3\n", "no readable vertex in line 2"),
    "obj underscore": (b"v 0 0 0\nv 9_0 0 0\nv 0 90 0\nf 1 2 3\n", "no readable vertex in line 2"),
    "obj bare vertex": (b"v 0 0 0\nv\nv 0 90 0\nf 1 2 3\n", "no readable vertex in line 2"),
    "stl bytes after": (STL + b"\0" * 12, "8 triangles, but 12 bytes follow"),
    "stl infinite": (STL[:96] + struct.pack("<f", np.inf) + STL[100:], "not finite"),
    "stl signalling": (STL[:96] + b"\1\0\x80\x7f" + STL[100:], "not finite"),
    "stl huge": (STL[:96] + struct.pack("<f", 3e38) + STL[100:], "beyond 1e.09"),
    "stl text infinite": (STL_TEXT.replace(b"vertex 0", b"vertex -inf ", 1), "facet 1|not finite"),
    "stl text cut": (STL_TEXT[: STL_TEXT.rfind(b"vertex")], "endsolid.*after 7 triangles"),
    "stl text without end": (STL_TEXT[: STL_TEXT.rfind(b"endsolid")], "endsolid.*after 8 triangl"),
    "stl text facet of two": (
        STL_TEXT.replace(b"endloop", b"", 1), "facet 1 is not three vertices",
    ),
    "glb circle": (glb(nodes({"children": [1]}, {"children": [0]})), "in a circle"),
    "glb circle below": (
        glb(nodes({"children": [1]}, {"children": [2]}, {"children": [1]})), "in a circle",
    ),
    "glb own child": (glb(nodes({"mesh": 0, "children": [0]})), "in a circle"),
    "glb deep": (glb(nodes(*CHAIN, {"mesh": 0})), "more than 100 deep"),
    "glb deep text": (glb_of_text(b"[" * 200_000), "description cannot be read"),
    "glb closed deep text": (
        glb_of_text(b'{"a":' * 99_999 + b"1" + b"}" * 99_999), "description cannot be read",
    ),
    "glb buffer": (glb(lambda t: t.update(buffers=[{"byteLength": 10**12}])), "whole num|longer"),
    "glb view": (
        glb(lambda t: t.update(bufferViews=[{"buffer": 0, "byteLength": 40}])), "ends beyond",
    ),
    "glb offset": (
        glb(lambda t: t.update(bufferViews=[{"buffer": 0, "byteLength": 36, "byteOffset": 4}])),
        "ends beyond",
    ),
    "glb infinite": (glb(nodes({"mesh": 0, "scale": [1, 1, float("inf")]})), "cannot be read"),
    "glb huge": (glb(nodes({"mesh": 0, "scale": [1, 1, 1e300]})), "out of all bounds"),
    "glb elsewhere": (
        glb(lambda t: t.update(buffers=[{"byteLength": 36, "uri": "x.bin"}])), "as one GLB file",
    ),
    "glb bytes after": (SEEDS["glb"] + b"\0" * 8, "says it has .* bytes but has"),
    "glb corner": (
        glb(
            lambda t: t.update(
                accessors=[
                    {"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": 2},
                    {"bufferView": 0, "componentType": 5121, "type": "SCALAR", "count": 3},
                ],
                meshes=[{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
            ),
            blob=b"\7" * 36,
        ),
        "vertex that is not there",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_in_bounds(
    name: str, tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    data, words = HOSTILE[name]
    path = tmp_path / ("scan." + name.split()[0])
    path.write_bytes(data)
    tracemalloc.start()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with pytest.raises(MeshError, match=words) as caught:
                read_mesh(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(path.name)
    assert peak < 1e6 * LEAST_MB
    assert not caplog.records
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["ply mixed", "ply text", "obj", "stl text", "stl binary", "glb"])
def test_the_limit_counts_triangles_after_splitting(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_bytes(SEEDS[name])
    count = len(read_mesh(tmp_path / "a").mesh.faces)
    monkeypatch.setattr("layflat.surface.polygons.MAX_TRIANGLES", count)
    assert len(read_mesh(tmp_path / "a").mesh.faces) == count
    monkeypatch.setattr("layflat.surface.polygons.MAX_TRIANGLES", count - 1)
    with pytest.raises(MeshError, match=f"has {count} triangles; at most {count - 1} are read"):
        read_mesh(tmp_path / "a")


def test_other_tables_of_a_ply_are_passed_over_and_said(tmp_path: Path) -> None:
    table = b"element strip 2\nproperty uchar kind\nproperty list uchar int ids\nelement face"
    rows = struct.pack("<BBiBB2i", 1, 1, 7, 1, 2, 7, 7)
    at = len(MIXED) - struct.calcsize("<B4iB3i")
    data = (MIXED[:at] + rows + MIXED[at:]).replace(b"element face", table, 1)
    (tmp_path / "a.ply").write_bytes(data)
    found = read_mesh(tmp_path / "a.ply")
    assert found.mesh.faces.tolist() == [[0, 1, 2], [0, 2, 3], [3, 2, 4]]
    assert found.notes[0] == "a.ply also holds strip; only faces were read."


@pytest.mark.parametrize("name", ["ply text", "obj"])
def test_lines_without_end_are_refused(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_bytes(SEEDS[name] + b"\n" * 1000)
    read_mesh(tmp_path / "a")
    monkeypatch.setattr("layflat.surface.lines.MAX_LINES", 1000)
    with pytest.raises(MeshError, match="more than 1,000 lines"):
        read_mesh(tmp_path / "a")


@pytest.mark.parametrize("end", [b"\r", b"\r\n"], ids=["CR", "CR LF"])
def test_line_ends_and_indents_do_not_matter(tmp_path: Path, end: bytes) -> None:
    (tmp_path / "a.obj").write_bytes(OBJ)
    plain = read_mesh(tmp_path / "a.obj")
    (tmp_path / "a.obj").write_bytes(b"\t " + OBJ.replace(b"\n", b" " + end + b" \t"))
    other = read_mesh(tmp_path / "a.obj")
    assert np.array_equal(plain.mesh.vertices_mm, other.mesh.vertices_mm)
    assert np.array_equal(plain.mesh.faces, other.mesh.faces)
    assert plain.notes == other.notes


def test_blocks_do_not_show(tmp_path: Path) -> None:
    """A file of several blocks of lines gives what trimesh reads, in text and in binary."""
    mesh = zoo.sheet(100, height=zoo.saddle(100), jitter=0.3)
    for kind, options in [("ply", {"encoding": "ascii"}), ("obj", {}), ("stl_ascii", {})]:
        data = exported(mesh, kind, **options)
        path = tmp_path / f"a.{kind.partition('_')[0]}"
        ends = b"\r" if kind == "obj" else b"\n"
        path.write_bytes(data.replace(b"\n", ends) + ends * BLOCK)
        assert len(path.read_bytes()) > BLOCK
        found = read_mesh(path).mesh
        wanted = mesh.vertices_mm[mesh.faces]
        assert np.allclose(found.vertices_mm[found.faces], wanted, atol=1e-6)


def test_an_empty_mesh_has_nothing_to_measure() -> None:
    with pytest.raises(MeshError, match="no triangles"):
        check_mesh(Mesh(np.empty((0, 3)), np.empty((0, 3), np.int64)))
