"""Small spots that may be landmarks or holes: asked about where the ink does not tell."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely

from layflat.base import FloatArray
from layflat.pattern import curve_area_mm2
from layflat.photo import PhotoError, Plane, Spot, Traced, trace
from layflat.photo.holes import hole_at
from layflat.photo.records import Landmark
from photo.bad import BOX, small
from photo.flatbed import scanned
from photo.rendered import BLACK, TABLE, Paint
from photo.scenes import Template, turned_box

AT: FloatArray = np.array([40.0, 20.0])
ROUND = shapely.Point(AT).buffer(5.0)
DRAWN = turned_box((40.0, 20.0), side=9.0)


def template(spot: Paint) -> Template:
    """A cap with marks of both kinds, and one spot more."""
    return small(dots=((10.0, -30.0),), squares=((-10.0, 35.0),), more=(spot,))


@cache
def picture(name: str) -> Plane:
    cut = template(Paint(ROUND, TABLE))
    scenes = {
        "drawn round": template(Paint(DRAWN.exterior.buffer(0.75), BLACK)).traced(),
        "cut through a sheet with a line": cut.traced(),
        "cut through a cut sheet": replace(cut, sheet_mm=BOX).cut(),
    }
    return scanned(scenes[name], BOX)


def read(name: str, *said: Spot) -> Traced:
    follow = "edge" if name == "cut through a cut sheet" else "line"
    return trace(picture(name), follow=follow, corrections=said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "area"),
    [
        ("drawn round", DRAWN.area),
        ("cut through a sheet with a line", ROUND.area),
        ("cut through a cut sheet", ROUND.area),
    ],
)
def test_a_spot_that_may_be_a_hole_is_asked_about_and_cut_if_it_is_one(
    name: str, area: float
) -> None:
    found = read(name)
    (spot,) = [mark for mark in found.landmarks if mark.maybe_hole]
    np.testing.assert_allclose(spot.at_mm, AT, atol=0.1)
    assert len(found.landmarks) == 3  # filled with the pen, the others are marks without question
    assert len(found.curves) == 1
    assert any("may be a hole" in note for note in found.notes)
    cut = read(name, Spot(AT, hole=False), Spot(AT, hole=True))
    assert len(cut.landmarks) == 2
    assert cut.curves[1].unsure == ()
    assert -curve_area_mm2(cut.curves[1].curve) == pytest.approx(area, rel=0.02)


def test_a_spot_of_which_it_is_said_that_it_is_a_mark_is_not_asked_about_again() -> None:
    found = read("drawn round", Spot(AT, hole=True), Spot(AT + 1.0, hole=False))
    assert len(found.curves) == 1
    assert len(found.landmarks) == 3
    assert not any(mark.maybe_hole for mark in found.landmarks)


def test_a_hole_round_which_nothing_closed_is_seen_is_refused_with_its_place() -> None:
    mark = Landmark(kind="dot", at_mm=AT, doubt_mm=0.1, across_mm=9.0)
    with pytest.raises(PhotoError, match=r"hole at \(40, 20\) mm") as caught:
        hole_at(mark, [])
    assert caught.value.at_mm == ((40.0, 20.0),)
