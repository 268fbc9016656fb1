"""Edges that two pieces share: the neighbour follows, or it is said what changes."""

import numpy as np
import pytest

from layflat.base import InputError
from layflat.pattern import place
from layflat.revise import Note, NoteKind, Spot, edge_change, join, revise
from revise.panel import moved_out, outline_of, panel, short


def test_the_neighbour_moves_back_by_as_much() -> None:
    made = revise(panel("one"), [short(-16, 200, 2.0), short(-12, 330, -1.0)], reach_mm=300)
    # The same belly on the other side of the seam.
    other = panel("two")
    found = join(made, "left", other, "left")
    change = found.change
    old = outline_of(other)
    assert change.outward_mm.max() > 1.0
    # Along the other, the seam runs the other way: what moves out at y moves back at 400 - y.
    for y in (70.0, 200.0, 330.0):
        (ours,) = moved_out(made, (-10, y))
        step = np.array([[-10.0, 400.0 - y]])
        station = old.nearest(step)[0]
        theirs = np.einsum("ij,ij->i", found.field.at(old.points(station)), old.normals(station))
        assert theirs[0] == pytest.approx(-ours, abs=0.12)
    assert found.left_mm < 0.2
    assert found.pattern.name == "two"


def test_what_nobody_follows_is_said() -> None:
    made = revise(panel(), [short(-16, 200, 2.0)])
    change = edge_change(made, "left")
    assert "moved outward by" in change.sentence()
    assert change.longer_mm > 0.0
    still = revise(panel(), [Note(NoteKind.FITS, Spot(edge="low"))])
    assert "did not move" in edge_change(still, "left").sentence()


def test_edges_that_cannot_join_are_refused() -> None:
    made = revise(panel(), [short(-16, 200, 2.0)])
    with pytest.raises(InputError, match="402 and 600 mm long"):
        join(made, "left", panel("two"), "low")
    with pytest.raises(InputError, match="has no edge “roof”"):
        join(made, "roof", panel("two"), "low")
    with pytest.raises(InputError, match="“two” has no edge “roof”"):
        join(made, "left", place(panel("two"), turn_deg=90), "roof")
