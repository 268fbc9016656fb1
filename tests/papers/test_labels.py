"""Labels stand near their things, apart from each other and within the picture."""

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from shapely import Point, box, unary_union

from layflat.papers import fit_document
from layflat.papers.labels import Ground, place_labels
from papers import scene

FILM = box(10, 10, 150, 60)
GROUND = Ground(width_mm=160.0, height_mm=70.0, film=FILM)


def dots(count: int) -> list[tuple[str, Point]]:
    return [
        (f"parking sensor {i}", Point(15.0 + 130.0 * i / count, 30.0 + 12.0 * (i % 2)).buffer(1.5))
        for i in range(count)
    ]


@pytest.mark.parametrize("count", [1, 4, 8])
def test_labels_keep_apart_and_stay_on_the_picture(count: int) -> None:
    things = dots(count)
    labels = place_labels(things, ground=GROUND, taken=[box(60, 30, 90, 36)])
    assert [label.text for label in labels] == [name for name, _ in things]
    boxes = [box(*label.box) for label in labels]
    covered = sum(item.area for item in boxes)
    assert unary_union(boxes).area == pytest.approx(covered)
    assert box(0, 0, 160, 70).contains(unary_union(boxes))
    others = unary_union([box(60, 30, 90, 36), *(shape for _, shape in things)])
    assert unary_union(boxes).intersection(others).area == 0.0
    for label, (_, shape) in zip(labels, things, strict=True):
        assert label.line is not None
        assert label.line.distance(shape) == pytest.approx(0.0, abs=1e-9)
        assert label.line.length < 45.0


def test_a_thing_with_room_holds_its_own_name() -> None:
    (label,) = place_labels([("lock", box(40, 20, 80, 50))], ground=GROUND)
    assert label.line is None
    assert box(40, 20, 80, 50).contains(box(*label.box))


def test_a_label_rather_stands_off_the_film() -> None:
    (label,) = place_labels([("jet", Point(80.0, 12.0).buffer(1.0))], ground=GROUND)
    assert box(*label.box).intersection(FILM).area == 0.0


def test_places_left_free_are_named_on_the_strain_map() -> None:
    picture = fromstring(fit_document(scene.fit_sheet()).pictures["strain.svg"].decode())
    words = [item.text for item in picture if item.tag.endswith("text")]
    assert "maker's emblem" in words
    assert "washer jet, left" in words
    assert np.isin(["A", "B"], words).all()
