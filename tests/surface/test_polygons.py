"""Faces of many corners become the triangles that they are, checked against shapely's areas."""

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import FloatArray, MeshError
from layflat.surface import Mesh, ReadMesh, read_mesh
from layflat.surface.polygons import MAX_CORNERS, MAX_TRIANGLES, Polygons, triangles

ARROW = [(0, 0), (90, 0), (30, 30), (0, 90)]
TURNED_ARROW = [*ARROW[1:], ARROW[0]]
COMB = [(0, 0), (100, 0), (100, 50), (80, 50), (80, 10), (60, 10), (60, 50), (0, 50)]
MID_SIDES = [(0, 0), (50, 0), (100, 0), (100, 100), (50, 100), (0, 100)]
BRIDGED = [(0, 0), (90, 0), (90, 90), (0, 90), (0, 0), (30, 30), (30, 60), (60, 60), (60, 30)]
BOW = [(0, 0), (100, 100), (100, 0), (0, 100)]
UNEVEN_BOW = [(0, 0), (100, 100), (100, 0), (0, 60)]
STAR = [(100 * np.cos(a), 100 * np.sin(a)) for a in np.arange(5) * 4 * np.pi / 5]
TURN = np.linspace(0, 2.4 * np.pi, 40)
"""A band that goes round by more than a turn, so that its end lies on its beginning."""
LAPPED = [
    *((100 * float(np.cos(a)), 100 * float(np.sin(a))) for a in TURN),
    *((60 * float(np.cos(a)), 60 * float(np.sin(a))) for a in TURN[::-1]),
]
TILT = np.array([[0.36, 0.48, -0.8], [-0.8, 0.6, 0.0], [0.48, 0.64, 0.6]])


def obj(*faces: list[tuple[float, float]]) -> bytes:
    """Flat faces, tilted in space, each with its own vertices."""
    lines: list[str] = []
    count = 0
    for face in faces:
        for x, y in face:
            lines.append("v {:.12f} {:.12f} {:.12f}".format(*(TILT @ [x, y, 7.0])))
        lines.append("f " + " ".join(str(count + i + 1) for i in range(len(face))))
        count += len(face)
    return "\n".join(lines).encode() + b"\n"


def ply(*faces: list[tuple[float, float]], binary: bool = False) -> bytes:
    points = [TILT @ [x, y, 7.0] for face in faces for x, y in face]
    form = "binary_big_endian" if binary else "ascii"
    head = (
        f"ply\nformat {form} 1.0\nelement vertex {len(points)}\nproperty double x\n"
        f"property double y\nproperty double z\nelement face {len(faces)}\n"
        "property uchar seen\nproperty list uchar short vertex_index\nproperty float good\n"
        "end_header\n"
    )
    first = np.cumsum([0, *(len(face) for face in faces)])
    if binary:
        body = np.array(points, ">f8").tobytes()
        for start, face in zip(first, faces, strict=False):
            ids = np.arange(start, start + len(face), dtype=">i2")
            body += bytes([1, len(face)]) + ids.tobytes() + np.array(0.5, ">f4").tobytes()
        return head.encode() + body
    rows = [" ".join(f"{v:.12f}" for v in p) for p in points]
    for start, face in zip(first, faces, strict=False):
        ids = " ".join(str(start + i) for i in range(len(face)))
        rows.append(f"1 {len(face)} {ids} 0.5")
    return (head + "\n".join(rows) + "\n").encode()


def read(folder: Path, data: bytes) -> ReadMesh:
    path = folder / ("a.ply" if data.startswith(b"ply") else "a.obj")
    path.write_bytes(data)
    return read_mesh(path, unit="mm")


def assert_covers(mesh: Mesh, faces: list[list[tuple[float, float]]], area: float) -> None:
    """The triangles cover the faces exactly once and wind as they do."""
    assert mesh.area_mm2 == pytest.approx(area)
    flat = mesh.vertices_mm @ TILT
    assert np.allclose(flat[:, 2], 7.0)
    a, b, c = (flat[mesh.faces[:, i], :2] for i in range(3))
    signed = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert (signed > 0).all()
    assert shapely.union_all(shapely.polygons(flat[mesh.faces][..., :2])).area == (
        pytest.approx(area)
    )


WRITERS = {
    "obj": obj,
    "ply text": ply,
    "ply binary": lambda *faces: ply(*faces, binary=True),
}


@pytest.mark.parametrize("writer", WRITERS)
@pytest.mark.parametrize(
    "face", [ARROW, TURNED_ARROW, COMB, MID_SIDES], ids=["arrow", "turned", "comb", "mid sides"]
)
def test_a_dented_face_has_its_own_area(
    tmp_path: Path, writer: str, face: list[tuple[float, float]]
) -> None:
    triangle = [(200.0, 0.0), (260.0, 0.0), (200.0, 60.0)]
    found = read(tmp_path, WRITERS[writer](triangle, face, triangle))
    area = shapely.Polygon(face).area
    assert len(found.mesh.faces) == len(face)
    assert_covers(Mesh(found.mesh.vertices_mm, found.mesh.faces[1:-1]), [face], area)
    name = "a.obj" if writer == "obj" else "a.ply"
    said = f"{name} has 1 face of more than three corners, split into triangles."
    assert found.notes == (said,)


def test_faces_keep_the_files_order(tmp_path: Path) -> None:
    text = b"v 0 0 0\nv 90 0 0\nv 90 90 0\nv 0 90 0\nv 45 140 0\nv 90 140 0\n"
    text += b"f 4 3 5\nf 1 2 3 4 \nf 3 6 5\n"
    assert read(tmp_path, text).mesh.faces.tolist() == [[3, 2, 4], [0, 1, 2], [0, 2, 3], [2, 5, 4]]


def test_a_hole_reached_over_a_bridge_stays_open(tmp_path: Path) -> None:
    text = "".join(f"v {x} {y} 0\n" for x, y in BRIDGED[:4] + BRIDGED[5:])
    found = read(tmp_path, text.encode() + b"f 1 2 3 4 1 5 6 7 8 5\n")
    assert found.mesh.area_mm2 == pytest.approx(90 * 90 - 30 * 30)


@pytest.mark.parametrize(
    "face",
    [BOW, UNEVEN_BOW, STAR, LAPPED],
    ids=["bow", "uneven bow", "star", "lapped"],
)
def test_a_face_that_crosses_itself_is_refused_and_named(
    tmp_path: Path, face: list[tuple[float, float]]
) -> None:
    with pytest.raises(MeshError, match=r"1 face with an outline that cross.*is number 2;"):
        read(tmp_path, obj(ARROW, face, COMB))


def test_a_face_that_is_not_flat_is_said(tmp_path: Path) -> None:
    text = b"v 0 0 0\nv 100 0 40\nv 100 100 0\nv 0 100 40\nf 1 2 3 4\n"
    notes = read(tmp_path, text).notes
    assert "1 face of more than three corners that are not flat, out by up to 14 %" in notes[1]
    text = b"v 0 0 0\nv 100 0 4\nv 100 100 0\nv 0 100 4\nf 1 2 3 4\n"
    assert len(read(tmp_path, text).notes) == 1


def test_faces_of_two_corners_and_repeated_corners_are_said(tmp_path: Path) -> None:
    text = b"v 0 0 0\nv 100 0 0\nv 100 100 0\nv 0 100 0\n"
    found = read(tmp_path, text + b"f 1 2\nf 1 2 3 3\nf 4 1\nf 1 3 4\nf 2\nf\nf 1 1 2 2\n")
    assert found.mesh.faces.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert "2 faces with a corner named twice in a row" in found.notes[0]
    assert "5 faces of fewer than three corners, left out" in found.notes[1]
    with pytest.raises(MeshError, match="no triangles"):
        read(tmp_path, text + b"f 1 2\nf 2 3\n")


def test_faces_count_as_the_triangles_that_they_make() -> None:
    many = MAX_TRIANGLES // 2 + 1
    sizes = np.full(many, 4)
    corners = np.tile(np.arange(4), many)
    quads = Polygons(np.eye(4, 3), corners, sizes)
    with pytest.raises(MeshError, match=r"a\.obj has 3,000,002 triangles; at most 3,000,000"):
        triangles(quads, where="a.obj")


def test_a_face_of_very_many_corners_is_refused() -> None:
    angle = np.arange(MAX_CORNERS + 1) * 2 * np.pi / (MAX_CORNERS + 1)
    ring: FloatArray = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    for size in (MAX_CORNERS, MAX_CORNERS + 1):
        one = Polygons(ring[:size], np.arange(size), np.array([size]))
        if size == MAX_CORNERS:
            assert len(triangles(one, where="a.obj")[0]) == size - 2
        else:
            with pytest.raises(MeshError, match="a face of 1,001 corners; at most 1,000"):
                triangles(one, where="a.obj")


@settings(derandomize=True, max_examples=150, deadline=None)
@given(
    radii=st.lists(st.floats(0.2, 1.0), min_size=4, max_size=14),
    start=st.integers(0, 13),
    turn=st.booleans(),
)
def test_any_star_shaped_face_keeps_its_area(radii: list[float], start: int, *, turn: bool) -> None:
    """Its own area by the shoelace sum; winding may run either way."""
    angle = np.arange(len(radii)) * 2 * np.pi / len(radii)
    flat = np.column_stack([np.cos(angle), np.sin(angle)]) * np.array(radii)[:, None] * 100
    flat = np.roll(flat[::-1] if turn else flat, start, axis=0)
    points = np.column_stack([flat, np.full(len(flat), 3.0)]) @ TILT.T
    face = Polygons(points, np.arange(len(flat)), np.array([len(flat)]))
    faces, _ = triangles(face, where="a.obj")
    mesh = Mesh(points, faces)
    assert mesh.area_mm2 == pytest.approx(shapely.Polygon(flat).area, rel=1e-9)
    assert set(mesh.faces.reshape(-1)) == set(range(len(flat)))
    a, b, c = (points[faces[:, i]] for i in range(3))
    side = np.cross(b - a, c - a) @ TILT[:, 2]
    assert ((side < 0) if turn else (side > 0)).all()


def test_notes_end_as_sentences(tmp_path: Path) -> None:
    for note in read(tmp_path, obj(ARROW, COMB)).notes:
        assert re.fullmatch(r"[^\n]{20,200}\.", note)
