"""The files of a piece's fit agree with each other, triangle by triangle.

GLB is read by trimesh. That an area grows by the product of its principal stretches is textbook
mechanics (the determinant is the product of the singular values).
"""

import base64
import io
import json
import re
from typing import Any

import numpy as np
import pytest
import trimesh
from PIL import Image

from layflat.papers import strain_colours
from web.fit.pieces import a_piece, its_files


@pytest.fixture(scope="module")
def flat() -> dict[str, Any]:
    return json.loads(its_files().flat)


@pytest.fixture(scope="module")
def surface() -> trimesh.Trimesh:
    scene = trimesh.load(io.BytesIO(its_files().surface), file_type="glb", process=False)
    return scene.geometry["piece"]


def triangles(flat: dict[str, Any]) -> np.ndarray:
    points = np.array(flat["points"]).reshape(-1, 2)
    return points[np.array(flat["faces"]).reshape(-1, 3)]


def areas(corners: np.ndarray) -> np.ndarray:
    p, q = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return 0.5 * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])


def test_triangles_have_the_same_order_on_the_surface_and_in_the_flat(
    flat: dict[str, Any], surface: trimesh.Trimesh
) -> None:
    faces = np.array(flat["faces"]).reshape(-1, 3)
    np.testing.assert_array_equal(surface.faces, faces)
    np.testing.assert_allclose(surface.vertices, a_piece().region.mesh.vertices_mm, atol=1e-3)
    for name in ("stretch", "compression", "direction"):
        assert len(flat[name]) == len(faces)


def test_areas_grow_by_the_product_of_the_principal_stretches(
    flat: dict[str, Any], surface: trimesh.Trimesh
) -> None:
    stretch, compression = np.array(flat["stretch"]), np.array(flat["compression"])
    ratio = surface.area_faces / areas(triangles(flat))
    # Values to 1e-4 each, and coordinates to a micrometre in triangles of some millimetres.
    large = surface.area_faces > 20.0
    assert large.mean() > 0.9
    product = (1 + stretch) * (1 - compression)
    np.testing.assert_allclose(ratio[large], product[large], rtol=1e-3)
    # The fit to the surface is close but not without strain: else nothing was compared.
    assert np.ptp(ratio[large]) > 0.01


def test_film_is_stretched_along_its_direction(
    flat: dict[str, Any], surface: trimesh.Trimesh
) -> None:
    """A step along the direction in the flat is longer by the stretch on the surface."""
    corners = triangles(flat)
    sides = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)
    there = surface.vertices[surface.faces]
    lifted = np.stack([there[:, 1] - there[:, 0], there[:, 2] - there[:, 0]], axis=2)
    angle = np.radians(flat["direction"])
    step = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    length = np.linalg.norm(
        np.einsum("nij,nj->ni", lifted, np.linalg.solve(sides, step[..., None])[..., 0]), axis=1
    )
    stretch, compression = np.array(flat["stretch"]), np.array(flat["compression"])
    clear = (surface.area_faces > 20.0) & (stretch + compression > 0.01)
    assert clear.sum() > 50
    np.testing.assert_allclose(length[clear], 1 + stretch[clear], atol=1e-3)


def test_vertices_bear_the_colours_of_the_strain_map(
    flat: dict[str, Any], surface: trimesh.Trimesh
) -> None:
    """Where a vertex's triangles agree, its colour is that of their strain."""
    faces = np.array(flat["faces"]).reshape(-1, 3)
    stretch = np.maximum(flat["stretch"], 0.0) / flat["stretch_limit"]
    compression = np.maximum(flat["compression"], 0.0) / flat["finger_limit"]
    position = 0.5 * np.where(stretch >= compression, stretch, -compression)
    low, high = np.full(len(surface.vertices), 9.0), np.full(len(surface.vertices), -9.0)
    np.minimum.at(low, faces.ravel(), np.repeat(position, 3))
    np.maximum.at(high, faces.ravel(), np.repeat(position, 3))
    steady = high - low < 0.01
    assert steady.sum() > 10
    linear = surface.visual.vertex_colors[steady, :3] / 255.0
    # The curve from linear light to sRGB: IEC 61966-2-1.
    shown = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    wanted = strain_colours(0.5 * (low + high)[steady]) / 255.0
    np.testing.assert_allclose(shown, wanted, atol=0.03)


def test_the_map_says_where_the_flat_lies_on_it(flat: dict[str, Any]) -> None:
    svg = its_files().map.decode()
    wide, high = flat["map"]["width_mm"], flat["map"]["height_mm"]
    assert f'viewBox="0 0 {wide:g} {high:g}"' in svg
    a, b, c, d, e, f = flat["map"]["to_map"]
    corners = triangles(flat).reshape(-1, 2)
    on_map = corners @ np.array([[a, b], [c, d]]) + [e, f]
    assert (on_map > 0).all()
    assert (on_map < [wide, high]).all()
    # To scale and not mirrored: the map's y runs down.
    assert a * d - b * c < 0
    assert np.isclose(a * d - b * c, -(a * a + b * b))
    found = re.search(
        r'<image x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)".*?base64,([^"]+)"',
        svg,
    )
    assert found is not None
    x, y, w, h = (float(value) for value in found.groups()[:4])
    picture = Image.open(io.BytesIO(base64.b64decode(found[5]))).convert("RGBA")
    alpha = np.asarray(picture)[..., 3]
    # A triangle's middle is on film in the picture, and so is nothing beside the flat's box.
    middles = triangles(flat).mean(axis=1) @ np.array([[a, b], [c, d]]) + [e, f]
    columns = ((middles[:, 0] - x) / w * picture.width).astype(int)
    rows = ((middles[:, 1] - y) / h * picture.height).astype(int)
    assert (alpha[rows, columns] == 255).all()
    share = np.abs(areas(triangles(flat))).sum() * (a * a + b * b) / (w * h)
    assert np.isclose((alpha > 0).mean(), share, atol=0.01)
    # The pattern's outline goes round the flat: it is wrapped at one edge.
    points = np.array(flat["points"]).reshape(-1, 2)
    beyond = [*(points.min(axis=0) - flat["box"][:2]), *(flat["box"][2:] - points.max(axis=0))]
    assert max(beyond) > 5.0


def test_edges_and_free_places_lie_in_the_flat(flat: dict[str, Any]) -> None:
    assert [(e["title"], e["kind"], e["opening"]) for e in flat["edges"]] == [
        ("Low", "open", False),
        ("Front", "gap", False),
        ("High", "trim", False),
        ("Rear", "inner", False),
        ("Grille", "trim", True),
    ]
    edges = [edge["vertices"] for edge in flat["edges"][:4]]
    assert [edge[-1] for edge in edges] == [edge[0] for edge in [*edges[1:], edges[0]]]
    # The edge "low" is the row of points at y = -300 on the dome.
    low = a_piece().region.mesh.vertices_mm[edges[0]]
    assert np.abs(low[:, 1] + 300.0).max() < 3.0
    assert np.ptp(low[:, 0]) > 590.0
    (free,) = flat["free"]
    assert free["name"] == "eye"
    assert len(flat["cut_outs"]) == 2


def test_the_greatest_strains_are_among_the_places_with_words(flat: dict[str, Any]) -> None:
    places = flat["places"]
    for kind, word in (("stretch", "Stretched"), ("compression", "Compressed")):
        first = next(place for place in places if place["kind"] == kind)
        assert first["value"] == max(flat[kind])
        assert flat[kind][first["face"]] == first["value"]
        assert first["sentence"].startswith(f"{word} by {100 * first['value']:.1f}\u00a0% ")
    ratios = [
        place["value"] / flat[{"stretch": "stretch_limit", "compression": "finger_limit"}[k]]
        for place in places
        for k in [place["kind"]]
    ]
    assert ratios == sorted(ratios, reverse=True)
    assert all(p["is_beyond"] == (r > 1) for p, r in zip(places, ratios, strict=True))
