"""Templates traced in pictures of the plane: against the truth that was drawn."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, affinity

from layflat.base import IntArray
from layflat.pattern import corners, curve_area_mm2
from layflat.photo import Accepted, NotALine, PhotoError, Through, trace
from layflat.photo.correct import accepted
from photo.bad import BAD, BOX, seen, small
from photo.flatbed import scanned
from photo.rendered import BLACK, DARK_FILM, PAPER, Paint, Scene, Shadow
from photo.scenes import mirror_cap
from photo.truth import missed

CAP = mirror_cap()
KITE = Polygon([(-110.0, -70.0), (120.0, -60.0), (90.0, 70.0), (-60.0, 85.0)])


def stroke(along_mm: float, *, length: float = 24.0) -> LineString:
    """A registration stroke square across the cap's outline."""
    ring = CAP.exterior
    one, two = ring.interpolate(along_mm), ring.interpolate(along_mm + 0.1)
    way = np.array([two.x - one.x, two.y - one.y])
    half = 0.5 * length * np.array([-way[1], way[0]]) / np.hypot(*way)
    middle = np.array([one.x, one.y])
    return LineString([middle - half, middle + half])


@settings(max_examples=2, deadline=None, derandomize=True, database=None)
@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(0.0, 360.0))
def test_wherever_the_sheet_lies_the_line_is_the_same(x: float, y: float, turn: float) -> None:
    """Moves by parts of a pixel and turns change nothing: no pixel shows through."""
    shape = affinity.translate(affinity.rotate(mirror_cap(size=0.8), turn, (0, 0)), x, y)
    found = trace(seen(small(outline=shape))).curves
    assert len(found) == 1
    error = missed(found[0], shape)
    assert error.rms_mm < 0.04
    assert error.worst_mm < 0.12
    assert error.within > 0.95


def test_the_middle_of_the_pen_is_the_outline() -> None:
    traced = trace(seen(small(pen_mm=2.2)))
    assert curve_area_mm2(traced.curves[0].curve) == pytest.approx(CAP.area, rel=4e-4)
    assert traced.curves[0].unsure == ()


@pytest.mark.parametrize("cut", [False, True])
def test_sharp_corners_stay_and_tight_bends_stay_round(cut: bool) -> None:
    for radius, count in ((0.0, 4), (4.0, 0)):
        shape = KITE.buffer(-radius).buffer(radius, quad_segs=64) if radius else KITE
        template = small(outline=shape)
        plane = scanned(template.cut(), BOX) if cut else seen(template)
        traced = trace(plane).curves[0]
        found: IntArray = corners(traced.curve, least_turn_deg=25.0)
        assert len(found) == count
        error = missed(traced, shape)
        assert error.worst_mm < 0.3
        assert error.rms_mm < 0.04


def test_holes_and_landmarks_are_found_to_a_part_of_a_pixel() -> None:
    template = small(
        holes=(shapely.Point(-50.0, 10.0).buffer(12.0, quad_segs=64),),
        crosses=((40.0, 20.0),), dots=((10.0, -30.0),), squares=((-10.0, 35.0),),
    )  # fmt: skip
    for scene in (template.traced(), replace(template, sheet_mm=BOX).cut()):
        traced = trace(scanned(scene, BOX))
        assert [curve.kind for curve in traced.curves] == ["outline", "cut-out"]
        assert curve_area_mm2(traced.curves[1].curve) == pytest.approx(-np.pi * 144.0, rel=0.01)
        found = {mark.kind: mark for mark in traced.landmarks}
        assert len(traced.landmarks) == len(found) == 3
        for kind, at in (
            ("cross", (40.0, 20.0)),
            ("dot", (10.0, -30.0)),
            ("square", (-10.0, 35.0)),
        ):
            away = float(np.hypot(*(found[kind].at_mm - at)))
            assert away < 0.08
            assert away < 3.0 * found[kind].doubt_mm


def test_light_spots_on_dark_film_are_landmarks_and_no_holes() -> None:
    template = small(
        sheet=DARK_FILM, pen=(0.5, 0.5, 0.5), dots=((10.0, -30.0),), squares=((-10.0, 35.0),)
    )
    traced = trace(scanned(replace(template.cut(), table=(0.6, 0.57, 0.5)), BOX), follow="edge")
    assert [curve.kind for curve in traced.curves] == ["outline"]
    found = {mark.kind: mark.at_mm for mark in traced.landmarks}
    np.testing.assert_allclose(found["dot"], (10.0, -30.0), atol=0.1)
    np.testing.assert_allclose(found["square"], (-10.0, 35.0), atol=0.1)


def test_a_short_gap_is_bridged_and_said() -> None:
    template = small(gaps_mm=((100.0, 6.0),))
    traced = trace(seen(template)).curves[0]
    (stretch,) = traced.unsure
    assert stretch.why == "a gap in the line was bridged"
    assert 3.0 <= stretch.end_mm - stretch.start_mm <= 8.0
    error = missed(traced, CAP)
    assert error.worst_mm < 0.6
    assert error.within > 0.95
    assert traced.interval_mm.max() > 0.5 > traced.interval_mm.min()
    gap, elsewhere = (np.array(CAP.exterior.interpolate(at).coords[0]) for at in (103.0, 300.0))
    (again,) = accepted([traced], [Accepted(elsewhere)])
    assert again.unsure == traced.unsure
    (again,) = accepted([traced], [Accepted(gap)])
    assert again.unsure == ()


def test_strokes_across_the_line_are_named_and_do_not_lead_away() -> None:
    places = (60.0, 250.0, 400.0)
    traced = trace(seen(small(strokes=tuple(stroke(at) for at in places)))).curves[0]
    assert {s.why for s in traced.unsure} == {"another line crosses here or runs near by"}
    assert len(traced.unsure) == 3
    assert missed(traced, CAP).worst_mm < 0.4


def test_a_person_closes_a_wide_gap() -> None:
    plane = seen(small(gaps_mm=((100.0, 30.0),)))
    along = np.array([CAP.exterior.interpolate(at).coords[0] for at in range(96, 136, 4)])
    traced = trace(plane, corrections=[Through(along)]).curves[0]
    assert "the line was put by hand" in {stretch.why for stretch in traced.unsure}
    error = missed(traced, CAP)
    assert error.worst_mm < 0.4
    assert error.within > 0.95
    again = trace(plane, corrections=[Through(along[::-1])]).curves[0]
    assert missed(again, CAP).worst_mm < 0.4


def test_a_person_says_which_line_is_none() -> None:
    ring = LineString(shapely.Point(0, 0).buffer(40.0, quad_segs=90).exterior.coords)
    plane = seen(small(strokes=(ring,)))
    assert len(trace(plane).curves) == 2
    assert len(trace(plane, corrections=[NotALine(np.array([40.0, 0.0]))]).curves) == 1


def test_a_corrected_stretch_must_lie_in_the_picture_and_be_a_line() -> None:
    plane = seen(small())
    for points in ([[0.0, 0.0], [900.0, 0.0]], [[1.0, 1.0], [1.0, 1.0]]):
        with pytest.raises(PhotoError, match="corrected stretch"):
            trace(plane, corrections=[Through(np.array(points))])


def test_a_white_pen_on_dark_film_is_a_line_too() -> None:
    template = small(sheet=DARK_FILM, pen=(0.7, 0.7, 0.7))
    traced = trace(scanned(template.traced(), BOX), follow="line", light_ink=True)
    assert missed(traced.curves[0], CAP).worst_mm < 0.15


def test_shadow_blur_and_noise_cost_little_and_are_said() -> None:
    shade = shapely.box(-160.0, -120.0, 0.0, 120.0)
    shadowed = seen(small(shadows=(Shadow(shade, 0.45, 1.5),)))
    rough = seen(small(), blur_px=1.3, noise=0.03, sharpen=0.4)
    shade_edge = {"the edge of a shadow crosses the line"}
    for plane, said in ((shadowed, shade_edge), (rough, set())):
        traced = trace(plane).curves[0]
        assert {stretch.why for stretch in traced.unsure} == said
        error = missed(traced, CAP)
        assert error.worst_mm < 0.25
        assert error.within > 0.95


def test_the_line_is_taken_before_the_sheet_and_each_when_asked() -> None:
    sheet = (-140.0, -100.0, 140.0, 100.0)
    plane = seen(small(sheet_mm=sheet))
    judged, line, edge = (trace(plane, follow=which) for which in ("auto", "line", "edge"))
    assert "pen line" in judged.notes[0]
    # The same picture gives the same curve, to the last bit.
    assert np.array_equal(judged.curves[0].curve.points_mm, line.curves[0].curve.points_mm)
    assert np.array_equal(judged.curves[0].interval_mm, line.curves[0].interval_mm)
    assert curve_area_mm2(edge.curves[0].curve) == pytest.approx(280.0 * 200.0, rel=1e-3)


def test_an_open_line_on_a_closed_sheet_is_never_the_sheet() -> None:
    sheet = (-140.0, -100.0, 140.0, 100.0)
    with pytest.raises(PhotoError, match="is open by"):
        trace(seen(small(sheet_mm=sheet, gaps_mm=((100.0, 30.0), (300.0, 30.0)))))
    ink = Paint(LineString([(-40, 0), (40, 10)]).buffer(0.7), BLACK)
    with pytest.raises(PhotoError, match="which of the two"):
        trace(scanned(Scene((Paint(shapely.box(*sheet), PAPER), ink)), BOX))


def test_a_line_beside_the_template_is_said_to_be_left_out() -> None:
    notes = trace(seen(small(strokes=(LineString([(-30, 0), (10, 20)]),)))).notes
    assert any("left out" in note for note in notes)


@pytest.mark.parametrize("name", sorted(BAD))
def test_a_bad_picture_is_refused_with_its_reason(name: str) -> None:
    make, reason = BAD[name]
    with pytest.raises(PhotoError) as caught:
        trace(make())
    message = str(caught.value)
    assert reason in message
    assert message.endswith(".")
    assert len(message) < 260
