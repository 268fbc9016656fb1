"""Pictures of the vehicles: painted, glazed, marked, and the same each time."""

import io

import numpy as np
import pytest
from PIL import Image

from layflat.demo import Design
from layflat.demo.picture import FILM, Model, model_of, picture
from layflat.papers import VIEWS

SIZE = (420, 260)


@pytest.fixture(scope="module")
def model(design: Design) -> Model:
    return model_of(design, spacing_mm=40.0)


def png(model: Model, view: str) -> bytes:
    data = io.BytesIO()
    picture(model, view=VIEWS[view], size_px=SIZE).save(data, format="PNG")
    return data.getvalue()


def pixels(data: bytes) -> np.ndarray:
    image = Image.open(io.BytesIO(data))
    image.verify()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=np.float64)


def test_the_vehicle_fills_the_picture_in_its_paint_with_glass_and_tyres(
    design: Design, model: Model
) -> None:
    seen = pixels(png(model, "front-left"))
    assert seen.shape == (SIZE[1], SIZE[0], 3)
    ground = seen[0, 0]
    body = np.abs(seen - ground).max(axis=2) > 12
    assert 0.2 < body.mean() < 0.8
    columns, rows = np.flatnonzero(body.any(axis=0)), np.flatnonzero(body.any(axis=1))
    assert max(np.ptp(columns) / SIZE[0], np.ptp(rows) / SIZE[1]) > 0.8
    # Light and reflections pale the paint, but its order of red, green and blue stays.
    red, green, blue = np.moveaxis(seen, 2, 0)
    paint = (red > green) & (green >= blue - 3) if design.paint[0] > 200 else red > 1.25 * green
    assert (paint & body).sum() > 0.4 * body.sum()
    assert 0.02 < (seen.max(axis=2) < 115).mean() < 0.35


def test_a_picture_is_the_same_byte_for_byte(designs: dict[str, Design]) -> None:
    first, second = (model_of(designs["coupe"], spacing_mm=60.0) for _ in range(2))
    assert png(first, "rear-right") == png(second, "rear-right")


def test_both_sides_of_a_vehicle_look_alike(model: Model) -> None:
    left, right = pixels(png(model, "left")), pixels(png(model, "right"))[:, ::-1]
    assert np.abs(left - right).mean() < 12.0


def test_a_marked_panel_is_blue(designs: dict[str, Design]) -> None:
    design = designs["coupe"]
    marked = model_of(design, spacing_mm=60.0, marked=["hood"])
    films = (marked.colours == np.array(FILM)).all(axis=1)
    middle = marked.mesh.vertices_mm[marked.mesh.faces[films]].mean(axis=(0, 1))
    hood = design.info.panel("hood")
    assert hood is not None
    rim = np.vstack([edge.points_mm for edge in hood.outline])
    assert films.sum() > 50
    assert (rim.min(axis=0) < middle).all()
    assert (middle < rim.max(axis=0)).all()


def test_a_panel_that_is_not_there_cannot_be_marked(designs: dict[str, Design]) -> None:
    with pytest.raises(ValueError, match="no panel 'roof'"):
        model_of(designs["coupe"], spacing_mm=60.0, marked=["roof"])


def test_shut_lines_lie_on_the_skin_and_the_rail_is_on_the_sliding_doors_side(
    name: str, design: Design, model: Model
) -> None:
    points = np.vstack([line.points_mm for line in model.lines])
    # The mirror caps' rims are no part of the skin.
    assert (np.abs(design.skin(points)) < 0.01).mean() > 0.9
    lines = [line.points_mm for line in model.lines]
    rails = [line for line in lines if np.ptp(line[:, 0]) == pytest.approx(1510.0)]
    assert [bool(line[:, 1].max() < 0) for line in rails] == ([True] if name == "van" else [])
