"""Preparing a body: what the browser gets lies on the scan, in body millimetres."""

import io
import json

import numpy as np
import pytest
import trimesh
from django.core.files.base import ContentFile
from PIL import Image

from layflat.base import LayflatError, MeshError, StoppedError, silent
from layflat.surface import EdgeKind, Locator, Mesh, locate, prepare
from layflat.web.bodies.contents import keep_panels, keep_scan
from layflat.web.bodies.drawn import draw_panels
from layflat.web.bodies.glb import Shape, glb_bytes, linear_bytes
from layflat.web.bodies.light import deviation_mm, light_mesh
from layflat.web.bodies.tasks import prepare_body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.people.models import Person
from web.bodies.conftest import dome, info, ply

pytestmark = pytest.mark.on_sqlite


@pytest.fixture
def inputs(scan_bytes: bytes, panels_bytes: bytes, who: Person) -> dict[str, str]:
    scan = keep_scan(ContentFile(scan_bytes, name="dome.ply"), unit="mm", who=who)
    panels = keep_panels(ContentFile(panels_bytes, name="dome.json"), who=who)
    return {"scan": scan.sha256, "unit": "mm", "panels": panels.sha256}


def kept(sha256: str) -> bytes:
    assert StoredFile.objects.filter(sha256=sha256).exists()
    return path_of(sha256).read_bytes()


def test_a_scan_becomes_surfaces_lines_and_a_picture(inputs: dict[str, str]) -> None:
    steps: list[float] = []
    result = json.loads(json.dumps(prepare_body(inputs, lambda _step, part: steps.append(part))))
    assert steps == sorted(steps)
    lines = json.loads(kept(result["lines"]))
    (panel,) = lines["panels"]
    assert (panel["name"], panel["title"]) == ("hood", "Hood")
    assert [(e["name"], e["kind"], e["opening"]) for e in panel["edges"]] == [
        ("low", "open", False),
        ("front", "gap", False),
        ("high", "trim", False),
        ("rear", "inner", False),
        ("grille", "trim", True),
    ]
    # Every point lies on the scan; the edges of the outline close.
    for drawn in (*panel["edges"], *panel["keep_outs"]):
        points = np.reshape(drawn["points"], (-1, 3))
        assert locate(dome(), points).distances_mm.max() < 0.05
    ends = [np.reshape(edge["points"], (-1, 3))[[0, -1]] for edge in panel["edges"][:4]]
    for edge, after in zip(ends, [*ends[1:], ends[0]], strict=True):
        assert np.allclose(edge[1], after[0], atol=0.02)
    assert locate(dome(), np.array([panel["middle"]])).distances_mm[0] < 0.05
    scene = trimesh.load_scene(io.BytesIO(kept(result["light"])), file_type="glb")
    assert set(scene.geometry) == {"body", "panel-0", "keep-out-0-0"}
    # About a circle of 30 mm on the dome's slope, whichever way round its rim was picked.
    assert 2700 < scene.geometry["keep-out-0-0"].area < 3000
    assert Image.open(io.BytesIO(kept(result["picture"]))).size == (960, 600)
    mending = result["mending"]
    assert mending["unit"] == "mm"
    assert mending["triangles"] == mending["light_triangles"] == len(dome().faces)
    # The area over a square of 600 mm less the opening, by the surface integral of the dome.
    assert mending["panels"][0]["area_mm2"] == pytest.approx(_area_over_panel(), rel=2e-3)
    assert mending["panels"][0]["fault"] == ""
    assert prepare_body(inputs, silent) == result


def _area_over_panel() -> float:
    side = np.linspace(-300.0, 300.0, 1201)
    x, y = np.meshgrid(0.5 * (side[1:] + side[:-1]), 0.5 * (side[1:] + side[:-1]))
    slope = 2 / 400.0**2 * 150.0 * np.exp(-(x**2 + y**2) / 400.0**2)
    element = np.sqrt(1 + (slope * x) ** 2 + (slope * y) ** 2)
    return float(element[(x - 150.0) ** 2 + y**2 > 60.0**2].sum() * 0.25)


def test_a_scan_without_panels_is_shown_alone(inputs: dict[str, str]) -> None:
    result = prepare_body({**inputs, "panels": ""}, silent)
    assert json.loads(kept(result["lines"]))["panels"] == []
    assert result["mending"]["panels"] == []


def test_a_wrong_unit_names_the_file_and_the_unit_that_would_fit(who: Person) -> None:
    scan = keep_scan(ContentFile(ply(dome(), per_mm=0.001), name="dome.ply"), unit="mm", who=who)
    with pytest.raises(MeshError, match=r"dome\.ply is 1\.4\d mm across when taken in mm.* in m"):
        prepare_body({"scan": scan.sha256, "unit": "mm", "panels": ""}, silent)
    metres = prepare_body({"scan": scan.sha256, "unit": "m", "panels": ""}, silent)
    assert metres["mending"]["size_mm"][:2] == pytest.approx([1000.0, 1000.0], abs=0.2)


@pytest.mark.parametrize("share", [0.3, 0.9])
def test_a_truncated_scan_is_said_in_one_sentence(
    scan_bytes: bytes, share: float, who: Person
) -> None:
    short = scan_bytes[: int(share * len(scan_bytes))]
    scan = keep_scan(ContentFile(short, name="half.ply"), unit="mm", who=who)
    with pytest.raises(LayflatError, match=r"half\.ply") as caught:
        prepare_body({"scan": scan.sha256, "unit": "mm", "panels": ""}, silent)
    assert scan.sha256 not in str(caught.value)


def test_stopping_leaves_nothing(inputs: dict[str, str]) -> None:
    before = set(StoredFile.objects.values_list("sha256", flat=True))

    def stop(_step: str, part: float) -> None:
        if part > 0.5:
            raise StoppedError

    with pytest.raises(StoppedError):
        prepare_body(inputs, stop)
    assert set(StoredFile.objects.values_list("sha256", flat=True)) == before
    assert not list(path_of("00").parent.parent.glob("named-*"))


def test_a_panel_that_does_not_fit_is_drawn_as_picked_and_said() -> None:
    far = info().panels[0]
    hole = Mesh(
        dome().vertices_mm, dome().faces[(dome().vertices_mm[dome().faces, 0] > -100).all(axis=1)]
    )
    (drawn,) = draw_panels(prepare(hole), info())
    assert drawn.mesh is None
    assert "hood" in drawn.fault
    assert [edge.edge.kind for edge in drawn.edges] == [
        *(edge.kind for edge in far.outline),
        EdgeKind.TRIM,
    ]


# With more than eight times the wanted triangles vertices are drawn together first.
@pytest.mark.parametrize("triangles", [2000, 1500])
def test_the_light_mesh_stays_on_the_fine_one(triangles: int) -> None:
    fine = dome(81)
    light = light_mesh(fine, triangles=triangles)
    assert 0.95 * triangles < len(light.faces) <= triangles
    assert locate(fine, light.vertices_mm).distances_mm.max() < 2.0
    assert deviation_mm(fine, light) < 1.0
    assert light_mesh(light, triangles=triangles) is light
    # None of its triangles faces down.
    corners = light.vertices_mm[light.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (normal[:, 2] > 0).all()


def test_folded_triangles_are_laid_flat() -> None:
    from layflat.web.bodies.light import _unfolded

    fine = dome(41)
    points = np.array(fine.vertices_mm)
    middle = 20 * 41 + 20
    points[middle] = points[middle + 3 * 41] + [0, 0, 1.0]
    flat = _unfolded(Mesh(points, fine.faces), Locator(fine))
    corners = flat.vertices_mm[flat.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (normal[:, 2] > 0).all()


def test_other_readers_see_the_body_upright_in_metres() -> None:
    mesh = dome(11)
    data = glb_bytes({"body": Shape(mesh=mesh)}, forward=(0, 1, 0), up=(0, 0, 1))
    scene = trimesh.load_scene(io.BytesIO(data), file_type="glb")
    assert np.allclose(scene.geometry["body"].vertices, mesh.vertices_mm, atol=1e-3)
    seen = trimesh.transform_points([[-500.0, 300.0, 100.0]], scene.graph["body"][0])
    # glTF 2.0, 3.4: y is up, z forward, and -x to the right. The body's -x is its left here.
    assert np.allclose(seen, [[0.5, 0.1, 0.3]])


def test_colours_are_linear_light_in_the_file() -> None:
    # IEC 61966-2-1 by the worked values of the sRGB curve: 0.5 is 0.21404 (from memory).
    assert linear_bytes(np.array([[0, 128, 255]], np.uint8)).tolist() == [[0, 55, 255]]
    mesh = dome(3)
    colours = np.tile(np.array([[128, 64, 200]], np.uint8), (9, 1))
    data = glb_bytes({"body": Shape(mesh=mesh, colours=colours)}, forward=(1, 0, 0), up=(0, 0, 1))
    seen = trimesh.load_scene(io.BytesIO(data), file_type="glb").geometry["body"].visual
    assert seen.vertex_colors[0][:3].tolist() == linear_bytes(colours)[0].tolist()
