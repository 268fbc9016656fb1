import hashlib
import json
import struct
import warnings
from pathlib import Path

import numpy as np
import pytest
import trimesh

import zoo
from layflat.base import InputError, MeshError, SettingError
from layflat.surface import Mesh, read_mesh
from layflat.surface.polygons import MAX_TRIANGLES


def export(mesh: Mesh, kind: str, **options: object) -> bytes:
    """The mesh as a file, by trimesh."""
    plain = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    data = plain.export(file_type=kind, **options)
    return data.encode() if isinstance(data, str) else data


def written(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


FORMS = [
    ("ply", {}),
    ("ply", {"encoding": "ascii"}),
    ("obj", {}),
    ("stl", {}),
    ("stl_ascii", {}),
    ("glb", {}),
]


@pytest.mark.parametrize(("kind", "options"), FORMS)
def test_every_format_gives_the_same_triangles(
    tmp_path: Path, kind: str, options: dict[str, object]
) -> None:
    mesh = zoo.sheet(9, height=zoo.saddle(100), jitter=0.3)
    suffix = kind.removesuffix("_ascii")
    scaled = Mesh(mesh.vertices_mm / 1000, mesh.faces) if kind == "glb" else mesh
    data = export(scaled, kind, **options)
    read = read_mesh(written(tmp_path, f"sheet.{suffix}", data))
    ours = read.mesh.vertices_mm[read.mesh.faces]
    assert np.allclose(ours, mesh.vertices_mm[mesh.faces], atol=1e-4)
    assert read.unit == ("m" if kind == "glb" else "mm")
    assert read.sha256 == hashlib.sha256(data).hexdigest()
    if suffix != "stl":
        assert np.array_equal(read.mesh.faces, mesh.faces)
        assert len(read.mesh.vertices_mm) == len(mesh.vertices_mm)


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4)])
def test_the_unit_that_a_person_gives_counts(tmp_path: Path, unit: str, factor: float) -> None:
    mesh = zoo.sheet(4, side_mm=400)
    small = Mesh(mesh.vertices_mm / factor, mesh.faces)
    read = read_mesh(written(tmp_path, "a.ply", export(small, "ply")), unit=unit)
    assert np.ptp(read.mesh.vertices_mm[:, 0]) == pytest.approx(400)
    assert read.unit_given
    assert not read.notes


def test_a_unit_that_nobody_gave_is_said(tmp_path: Path) -> None:
    read = read_mesh(written(tmp_path, "a.ply", export(zoo.sheet(4), "ply")))
    assert not read.unit_given
    assert "taken as mm" in read.notes[0]
    assert "mm was taken" in read.unit_source


def test_the_contents_count_not_the_name(tmp_path: Path) -> None:
    read = read_mesh(written(tmp_path, "a.obj", export(zoo.sheet(4), "ply")), unit="mm")
    assert read.notes == ("a.obj is a PLY file by its contents.",)


def test_a_wrong_unit_is_refused_with_those_that_would_make_sense(tmp_path: Path) -> None:
    in_metres = Mesh(zoo.sheet(4, side_mm=1500).vertices_mm / 1000, zoo.sheet(4).faces)
    path = written(tmp_path, "hood.ply", export(in_metres, "ply"))
    with pytest.raises(MeshError, match=r"hood.ply is 2.12 mm across.*plausible in m:"):
        read_mesh(path)
    path = written(tmp_path, "hood.stl", export(zoo.sheet(4, side_mm=1500), "stl"))
    with pytest.raises(MeshError, match="plausible in mm:"):
        read_mesh(path, unit="m")


def test_gltf_is_in_metres_whatever_a_person_says(tmp_path: Path) -> None:
    path = written(tmp_path, "a.glb", export(zoo.cube(1.0), "glb"))
    with pytest.raises(SettingError, match="standard fixes metres"):
        read_mesh(path, unit="mm")
    assert read_mesh(path, unit="m").mesh.area_mm2 == pytest.approx(6e6)


def test_an_unknown_unit_is_refused_with_the_known_ones(tmp_path: Path) -> None:
    path = written(tmp_path, "a.ply", export(zoo.sheet(4), "ply"))
    with pytest.raises(SettingError, match="mm, cm, m, in"):
        read_mesh(path, unit="furlong")


def test_objects_of_one_file_are_taken_together_with_their_places(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    part = trimesh.creation.box((0.1, 0.1, 0.1))
    scene.add_geometry(part, transform=np.eye(4), node_name="one")
    away = np.eye(4)
    away[0, 3] = 0.5
    scene.add_geometry(part, transform=away, node_name="two")
    read = read_mesh(written(tmp_path, "two.glb", scene.export(file_type="glb")))
    assert len(read.mesh.faces) == 24
    assert np.ptp(read.mesh.vertices_mm[:, 0]) == pytest.approx(600)
    assert "2 objects" in read.notes[0]


def test_vertices_that_no_face_uses_are_said(tmp_path: Path) -> None:
    whole = b"v 0 0 0\nv 90 0 0\nv 0 90 0\nv 90 90 0\nf 1 2 3\nf 2 4 3\n"
    assert not read_mesh(written(tmp_path, "a.obj", whole), unit="mm").notes
    short = whole[: whole.index(b"f 2")]
    read = read_mesh(written(tmp_path, "a.obj", short), unit="mm")
    assert len(read.mesh.faces) == 1
    (note,) = read.notes
    assert "1 vertices that no face uses" in note
    assert "cut short" in note


def test_polygons_of_an_obj_become_triangles(tmp_path: Path) -> None:
    text = b"v 0 0 0\nv 90 0 0\nv 90 90 0\nv 0 90 0\nv 45 140 0\nf 1 2 3 4\nf 4 3 5\n"
    mesh = read_mesh(written(tmp_path, "a.obj", text), unit="mm").mesh
    assert len(mesh.faces) == 3
    assert mesh.area_mm2 == pytest.approx(8100 + 2250)


PLY_HEAD = (
    "ply\nformat ascii 1.0\nelement vertex {v}\nproperty float x\nproperty float y\n"
    "property float z\nelement face {f}\nproperty list uchar int vertex_indices\nend_header\n"
)
PLY = export(zoo.sheet(9), "ply")
STL = export(zoo.sheet(9), "stl")
GLB = export(zoo.cube(0.5), "glb")
TRIANGLE = "0 0 0\n90 0 0\n0 90 0\n"


def _glb(tree: dict[str, object], blob: bytes = b"\0" * 64) -> bytes:
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(blob), 0x004E4942) + blob
    return b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks


def _glb_tree(count: int, nodes: list[dict[str, object]], *, blob: int = 64) -> dict[str, object]:
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": nodes,
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": count}],
        "bufferViews": [{"buffer": 0, "byteLength": blob, "byteOffset": 0}],
        "buffers": [{"byteLength": blob}],
    }


MANY = MAX_TRIANGLES + 1
BAD = {
    "empty": ("a.ply", b"", "is empty"),
    "text": ("a.ply", b"Dear customer, here is the car.\n", "no PLY, STL, OBJ or GLB"),
    "zeros": ("a.stl", b"\0" * 500, "has 0 triangles, but 416 bytes follow"),
    "ply cut in header": ("a.ply", PLY[:60], "end of its header"),
    "ply cut short": ("a.ply", PLY[:-200], "cut short"),
    "ply false count": ("a.ply", PLY.replace(b"vertex 81", b"vertex 8999999"), "too short"),
    "ply many": ("a.ply", PLY.replace(b"face 128", b"face %d" % MANY), "3,000,001|too short"),
    "ply no faces": ("a.ply", (PLY_HEAD.format(v=3, f=0) + TRIANGLE).encode(), "no triangles"),
    "ply index": (
        "a.ply", (PLY_HEAD.format(v=3, f=1) + TRIANGLE + "3 0 1 7\n").encode(), "not there|damaged",
    ),
    "ply negative index": (
        "a.ply", (PLY_HEAD.format(v=3, f=1) + TRIANGLE + "3 0 1 -1\n").encode(),
        "not there|damaged",
    ),
    "ply nan": (
        "a.ply", (PLY_HEAD.format(v=3, f=1) + "0 0 0\n90 nan 0\n0 90 0\n3 0 1 2\n").encode(),
        "not finite",
    ),
    "ply inf": (
        "a.ply", (PLY_HEAD.format(v=3, f=1) + "0 0 0\n90 inf 0\n0 90 0\n3 0 1 2\n").encode(),
        "not finite",
    ),
    "stl cut short": ("a.stl", STL[:-60], "but holds 12"),
    "stl false count": ("a.stl", STL[:80] + struct.pack("<I", 4) + STL[84:], "6,200 bytes follow"),
    "stl nan": ("a.stl", STL[:96] + struct.pack("<f", np.nan) + STL[100:], "not finite"),
    "glb cut short": ("a.glb", GLB[:-100], "cut short"),
    "glb cut in head": ("a.glb", GLB[:15], "cut short"),
    "glb no json": ("a.glb", GLB[:20] + b"{" * 60 + GLB[80:], "damaged"),
    "glb many": ("a.glb", _glb(_glb_tree(3 * MANY, [{"mesh": 0}])), "damaged|3,000,001"),
    "glb false count": ("a.glb", _glb(_glb_tree(3000, [{"mesh": 0}])), "more than it holds"),
    "glb cycle": (
        "a.glb", _glb(_glb_tree(3, [{"mesh": 0, "children": [1]}, {"children": [0]}])),
        "damaged|no vehicle",
    ),
    "obj index": ("a.obj", b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf 1 2 9\n", "not there|damaged"),
    "obj index zero": ("a.obj", b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf 0 1 2\n", "below 1 in line 4"),
    "obj relative": ("a.obj", b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf -3 -2 -1\n", "below 1 in line 4"),
    "obj normals": ("a.obj", b"v 0 0 0\nv 90 0 0\nv 0 90 0\nf 1//1 2//1 9//1\n", "damaged|there"),
    "obj nan": ("a.obj", b"v 0 0 0\nv 90 nan 0\nv 0 90 0\nf 1 2 3\n", "not finite|damaged"),
    "obj words": ("a.obj", b"v 0 0 0\nv 90 zero 0\nv 0 90 0\nf 1 2 3\n", "damaged"),
    "obj no faces": ("a.obj", b"v 0 0 0\nv 90 0 0\nv 0 90 0\n", "no triangles"),
    "a point": ("a.obj", b"v 1 1 1\nv 1 1 1\nv 1 1 1\nf 1 2 3\n", "no vehicle panel"),
}  # fmt: skip


@pytest.mark.parametrize(("name", "data", "words"), BAD.values(), ids=BAD.keys())
def test_a_bad_file_is_refused_in_one_sentence(
    tmp_path: Path, name: str, data: bytes, words: str
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(InputError, match=words) as caught:
            read_mesh(written(tmp_path, name, data))
    assert len(str(caught.value)) < 300
    assert "\n" not in str(caught.value)


def test_instances_are_counted_before_they_are_made(tmp_path: Path) -> None:
    """A small file whose nodes use one mesh again and again must not fill the memory."""
    tree = _glb_tree(3 * 1000, [{"mesh": 0}] * 6000, blob=36_000)
    tree["scenes"] = [{"nodes": list(range(6000))}]
    with pytest.raises(MeshError, match="6,000,000 triangles; at most 3,000,000"):
        read_mesh(written(tmp_path, "many.glb", _glb(tree, b"\0" * 36_000)))
    tree["nodes"] = [{}] * 10_001
    with pytest.raises(MeshError, match="10,001 nodes, more than 10,000"):
        read_mesh(written(tmp_path, "many.glb", _glb(tree, b"\0" * 36_000)))
    nodes: list[dict[str, object]] = [{"children": [i + 1, i + 1]} for i in range(40)]
    path = written(tmp_path, "bomb.glb", _glb(_glb_tree(3, [*nodes, {"mesh": 0}])))
    with pytest.raises(MeshError, match="one node twice"):
        read_mesh(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_mesh(tmp_path / "none.ply")
    with pytest.raises(InputError, match="is a folder"):
        read_mesh(tmp_path)
