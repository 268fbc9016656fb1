"""The invented bodies: size, symmetry, panels that lie on them and run the right way."""

import hashlib

import numpy as np
import pytest

from layflat.demo import Design, body_mesh
from layflat.demo.body import mirror_field
from layflat.demo.fields import gradient
from layflat.surface import KeepOutKind, Mesh, Panel, boundary_loops, check_mesh, cut_region

SIZES = {
    "Tarnholm Haulbeck": (5300, 2000, 2400),
    "Tarnholm Siskwing": (4400, 1850, 1300),
}


def loops(panel: Panel) -> list[np.ndarray]:
    whole = [
        np.vstack([edge.points_mm for edge in loop]) for loop in (panel.outline, *panel.openings)
    ]
    return [*whole, *(item.points_mm for item in panel.keep_outs)]


def on_skin(design: Design, points: np.ndarray) -> np.ndarray:
    """Distance from the body or from one of the mirrors, whichever is nearer."""
    left = points * np.where(points[:, 1:2] < 0, [1.0, -1.0, 1.0], 1.0)
    return np.minimum(np.abs(design.skin(points)), np.abs(mirror_field(design)(left)))


def turning(points: np.ndarray, outward: np.ndarray) -> float:
    """Area of a loop, seen against *outward*: positive when counter-clockwise."""
    arms = points - points.mean(axis=0)
    return float(np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0) @ outward / 2)


def test_the_size_is_that_of_such_a_vehicle(design: Design, body: Mesh) -> None:
    length, width, height = SIZES[design.info.name]
    skin = body.vertices_mm[np.abs(design.skin(body.vertices_mm)) < 0.01]
    assert np.ptp(skin[:, 0]) == pytest.approx(length, rel=0.03)
    assert np.ptp(skin[:, 1]) == pytest.approx(width, rel=0.03)
    assert skin[:, 2].max() == pytest.approx(height, rel=0.03)


def test_it_is_symmetric_to_the_last_bit(body: Mesh) -> None:
    points = body.vertices_mm
    image = points * np.array([1.0, -1.0, 1.0]) + 0.0
    order, other = (np.lexsort((array + 0.0).T) for array in (points, image))
    assert np.abs(points[order] - image[other]).max() == 0.0


def test_the_mesh_is_manifold_with_the_openings_as_its_rims(design: Design, body: Mesh) -> None:
    halves = sum(1 + bool(ring[:, 0].min() > 0) for ring in design.openings)
    assert len(boundary_loops(body.faces)) == 1 + halves
    pairs = np.sort(np.vstack([body.faces[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    _, count = np.unique(pairs, axis=0, return_counts=True)
    assert count.max() == 2


def test_faces_look_outward(design: Design, body: Mesh) -> None:
    a, b, c = (body.vertices_mm[body.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    middle = (a + b + c) / 3
    left = np.stack([middle[:, 0], np.abs(middle[:, 1]), middle[:, 2]], axis=1)
    skin = (np.abs(design.skin(middle)) < 2.0) & (mirror_field(design)(left) > 20.0)
    outward = np.einsum("ij,ij->i", normal, gradient(design.skin, middle)) > 0
    assert outward[skin].mean() > 0.999


def test_the_same_design_gives_the_same_arrays(design: Design, body: Mesh) -> None:
    def digest(mesh: Mesh) -> str:
        return hashlib.sha256(mesh.vertices_mm.tobytes() + mesh.faces.tobytes()).hexdigest()

    assert digest(body_mesh(design, spacing_mm=34.0)) == digest(body)


def test_every_point_of_a_panel_lies_on_the_skin(design: Design) -> None:
    for panel in design.info.panels:
        for points in loops(panel):
            assert on_skin(design, points).max() < 1e-3, panel.name


def test_picked_points_are_30_to_60_mm_apart(design: Design) -> None:
    for panel in design.info.panels:
        if panel.name.startswith("mirror"):
            continue
        points = loops(panel)[0]
        gaps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
        assert np.percentile(gaps, 2) > 15, panel.name
        assert gaps.max() < 60, panel.name


def test_outlines_run_counter_clockwise_and_openings_clockwise(design: Design) -> None:
    for panel in design.info.panels:
        skin = design.skin
        if panel.name.startswith("mirror"):
            outline = loops(panel)[0]
            assert turning(outline, np.array([1.0, 0.0, 0.0])) > 0
            continue
        for k, points in enumerate(loops(panel)):
            area = turning(points, gradient(skin, points).mean(axis=0))
            hole = 1 <= k <= len(panel.openings)
            assert (area < 0) == hole, (panel.name, k)


def test_sides_come_in_pairs_of_equal_length(design: Design) -> None:
    for panel in design.info.panels:
        if not panel.name.endswith("-left"):
            continue
        other = design.info.panel(panel.name.replace("left", "right"))
        assert other is not None
        names = {edge.name: len(edge.points_mm) for edge in panel.outline}
        assert {edge.name: len(edge.points_mm) for edge in other.outline} == names


def test_what_must_stay_free_is_there(design: Design) -> None:
    kinds = [item.kind for panel in design.info.panels for item in panel.keep_outs]
    assert kinds.count(KeepOutKind.SENSOR) == 4
    assert kinds.count(KeepOutKind.EMBLEM) == 1
    assert kinds.count(KeepOutKind.JET) == 2
    assert KeepOutKind.LOCK in kinds


def test_every_panel_can_be_cut_with_its_keep_outs_inside(design: Design, body: Mesh) -> None:
    whole = check_mesh(body)
    assert whole
    for panel in design.info.panels:
        if panel.name.endswith("-right") and design.info.panel(panel.name.replace("right", "left")):
            continue
        region = cut_region(body, panel)
        assert len(region.loops) == 1 + len(panel.openings), panel.name
        vertices, faces = region.mesh.vertices_mm, region.mesh.faces
        used = len(np.unique(faces))
        edges = len(
            np.unique(
                np.sort(np.vstack([faces[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1), axis=0
            )
        )
        assert used - edges + len(faces) == 1 - len(panel.openings), panel.name
        for item in panel.keep_outs:
            gap = np.linalg.norm(vertices[None] - item.points_mm[:, None], axis=2).min(axis=1)
            assert gap.max() < 40.0, (panel.name, item.name)


def test_what_must_stay_free_lies_on_the_panel_where_it_is_fitted(design: Design) -> None:
    """Common practice, no source: where vehicles carry emblem, sensors, jets and locks."""
    where = {
        KeepOutKind.EMBLEM: {"hood"},
        KeepOutKind.JET: {"hood"},
        KeepOutKind.SENSOR: {"bumper-front"},
        KeepOutKind.LOCK: {"door-left", "door-right", "sliding-door-right"},
    }
    found = {
        kind: {
            panel.name
            for panel in design.info.panels
            for item in panel.keep_outs
            if item.kind is kind and inside_gap(panel, item.points_mm) > 12.0
        }
        for kind in where
    }
    for kind, panels in where.items():
        assert found[kind], kind
        assert found[kind] <= panels, kind


def inside_gap(panel: Panel, points: np.ndarray) -> float:
    """The least distance of a keep-out from the panel's outline and openings."""
    rims = np.vstack(loops(panel)[: 1 + len(panel.openings)])
    return float(np.linalg.norm(rims[:, None] - points[None], axis=2).min())
