"""A revision on the same panel of the next car: the same piece, one laid elsewhere, another one."""

from dataclasses import replace

import numpy as np
import pytest

from layflat.base import FloatArray, InputError
from layflat.pattern import Curve, Mark, MarkKind, Pattern, place
from layflat.revise import apply, revise, same_shape, sides_of, to_noted
from revise.panel import outline_of, panel, short

NOTES = (short(300.0, 0.0, 2.0), short(600.0, 125.0, -1.0), short(0.0, 200.0, 1.5))
MADE = revise(panel(), NOTES)
WIDER = replace(
    panel(),
    outline=Curve(
        np.array([[-8, -8], [608, -8], [608, 250], [450, 408], [-8, 408]], float),
        panel().outline.bulges,
    ),
)
"""Eight millimetres of wrap more all round."""
LIE = {"turn_deg": 33.0, "x_mm": 700.0, "y_mm": -40.0}


def apart_mm(one: Pattern, other: Pattern) -> float:
    """How far two outlines lie apart at most."""
    outline = outline_of(other)
    points = outline_of(one).points(np.arange(0.0, outline_of(one).length_mm, 5.0))
    return float(outline.nearest(points)[1].max())


def moved(before: Pattern, after: Pattern, point: tuple[float, float]) -> float:
    """How far outward an outline moved at a place."""
    old, new = outline_of(before), outline_of(after)
    station, _ = old.nearest(np.array([point]))
    foot, normal = old.points(station), old.normals(station)
    there, away = new.nearest(foot)
    return float(np.copysign(away, np.einsum("ij,ij->i", new.points(there) - foot, normal))[0])


def test_the_very_same_piece_takes_the_revision_as_it_is() -> None:
    done = apply(MADE, replace(panel(), name="hood"))
    assert same_shape(done.pattern, MADE.pattern)
    assert (done.pattern.name, done.number, done.apart_mm) == ("hood", 1, 0.0)


def test_a_piece_that_lies_elsewhere_takes_the_same_change() -> None:
    # Turned by 33°: the rigid way back is exact but for where the search for it ends.
    done = apply(MADE, place(panel(), **LIE))
    assert done.number == 1
    assert done.apart_mm < 1e-3
    assert apart_mm(done.pattern, place(MADE.pattern, **LIE)) < 5e-3


def test_a_piece_with_wider_wraps_is_moved_as_much() -> None:
    done = apply(MADE, WIDER)
    assert done.number == 1
    assert 5.0 < done.apart_mm < 10.0
    assert "otherwise at its edges" in done.said[0]
    for x, y in ((300.0, -8.0), (608.0, 125.0)):
        like = moved(panel(), MADE.pattern, (x, y))
        assert moved(WIDER, done.pattern, (x, y)) == pytest.approx(like, abs=0.15)
    holes = zip(done.pattern.cut_outs, MADE.pattern.cut_outs, strict=True)
    for mine, theirs in holes:
        assert np.allclose(mine.points_mm, theirs.points_mm, atol=0.15)


def test_half_a_panel_is_not_the_panel() -> None:
    half = panel(size=0.6)
    done = apply(MADE, half)
    assert done.number == 0
    assert done.pattern is half
    assert "was not applied" in done.said[0]
    with pytest.raises(InputError, match="cannot be carried there"):
        to_noted(MADE, panel(), half, np.zeros((1, 2)))


def test_places_on_a_piece_that_lies_elsewhere_are_carried_back() -> None:
    taps = np.array([[300.0, 0.0], [600.0, 100.0], [0.0, 380.0]])
    laid = place(MADE.pattern, **LIE)
    assert np.array_equal(to_noted(MADE, panel(), MADE.pattern, taps), taps)
    found = to_noted(MADE, panel(), laid, turned(taps))
    assert np.allclose(found, taps, atol=5e-3)
    found = to_noted(None, panel(), place(panel(), **LIE), turned(taps))
    assert np.allclose(found, taps, atol=5e-3)


def turned(points: FloatArray) -> FloatArray:
    """Points where `LIE` brings them, by the matrix of a turn."""
    angle = np.radians(LIE["turn_deg"])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return np.asarray(points @ turn.T + (LIE["x_mm"], LIE["y_mm"]))


def test_a_landmark_inside_the_piece_names_no_edge() -> None:
    # Its two strokes stand 100 mm from every edge; those of the edges stand 3 mm outside.
    arms = [np.array([[295.0, 200.0], [305.0, 200.0]]), np.array([[300.0, 195.0], [300.0, 205.0]])]
    marks = tuple(Mark(MarkKind.ALIGN, arm, "cross") for arm in arms)
    marked = replace(panel(), marks=(*panel().marks, *marks))
    names = [side.name for side in sides_of(marked, outline_of(marked))]
    assert names == [side.name for side in sides_of(panel(), outline_of(panel()))]
