"""Corrections between shops: no job goes along, and what they change stays what they change."""

from dataclasses import replace

import pytest

from layflat.base import InputError
from layflat.exchange import chain, joined, mark, of_shop, without_jobs
from layflat.exchange.histories import require_whole
from layflat.pattern import Curve, Pattern, place
from layflat.revise import History, Note, NoteKind, Outline, Spot, revise
from revise.panel import fits, panel, short

LIE = {"turn_deg": 50.0, "x_mm": 1000.0, "y_mm": -300.0}


def their_history() -> History:
    """Two revisions of three cars, the second noted on what the first one cut."""
    first = History(panel("hood")).revised(
        [
            short(300.0, 0.0, 1.5, car="2031-2064", name="2031-2064 note 3"),
            fits(600.0, 100.0, car="2031-2064", name="2031-2064 note 4"),
            Note(
                NoteKind.SHIFT,
                Spot(point_mm=(200.0, 200.0)),
                mm=(1.0, 0.5),
                cut_out=0,
                car="2031-20649",
                name="2031-20649 note 1",
            ),
        ]
    )
    said = ("Car 2031-20649 does not agree, nor “2031-2064 note 3”.",)
    first = replace(first, revisions=(replace(first.revisions[0], said=said),))
    return first.revised([fits(0.0, 400.0, car="2031-2066", name="2031-2066 note 1", revision=1)])


@pytest.fixture(scope="module")
def theirs() -> History:
    return their_history()


def test_cars_leave_without_the_numbers_of_their_jobs(theirs: History) -> None:
    given = without_jobs(theirs, "hood 2")
    assert "2031" not in repr(given)
    assert [note.name for note in given.revisions[1].notes] == [
        "no. 1 note 1",
        "no. 1 note 2",
        "no. 2 note 1",
        "no. 3 note 1",
    ]
    assert given.revisions[0].said == ("Car no. 2 does not agree, nor “no. 1 note 1”.",)
    assert set(given.revisions[1].scatter.weights) == {"no. 1", "no. 2", "no. 3"}
    assert {given.base.name, given.pattern().name} == {"hood 2"}
    assert [mark(one) for one in given.revisions] == [mark(one) for one in theirs.revisions]
    kept = of_shop(given, "Mere Lane Film")
    assert kept.revisions[1].notes[3].car == "Mere Lane Film no. 3"
    # Given on to a third shop it is what the first one gave.
    assert without_jobs(kept, "hood 2").revisions[1].notes == given.revisions[1].notes


def test_the_line_of_the_current_revision_leaves_out_what_was_taken_back(theirs: History) -> None:
    third = theirs.taken_back().revised([short(450.0, 0.0, 1.0, car="4")])
    assert [one.number for one in chain(third)] == [1, 3]
    assert chain(History(panel())) == ()


def test_it_is_the_same_change_on_a_pattern_that_lies_elsewhere(theirs: History) -> None:
    """Against the revised pattern itself, turned and moved by `layflat.pattern.place`."""
    base = place(panel("hood"), **LIE)
    ours = History(base).revised([fits(*base.outline.points_mm[3], car="2031-2070", name="own")])
    found = joined(ours, theirs)
    assert [(one.number, one.parent) for one in found.revisions] == [(1, 0), (2, 0), (3, 2)]
    assert found.current == 3
    # What was noted on their first revision was noted on what is the second here.
    assert [note.revision for note in found.revision(3).notes] == [0, 0, 0, 2]
    goal = place(theirs.pattern(), **LIE)
    for one, other in zip(_curves(found.pattern()), _curves(goal), strict=True):
        assert one.points_mm == pytest.approx(other.points_mm, abs=1e-6)
    # The next revision, on what was noted there and one note more, changes as much as theirs does.
    anew = place(theirs.base, **LIE)
    again = revise(anew, found.revision(3).notes, earlier=found.revisions, parent=3)
    outline = Outline(goal.outline, goal.outline_corners)
    assert outline.nearest(again.pattern.outline.points_mm)[1].max() < 0.01
    assert again.places_mm == pytest.approx(found.revision(3).places_mm, abs=1e-6)


def _curves(pattern: Pattern) -> tuple[Curve, ...]:
    return (pattern.outline, *pattern.cut_outs)


def test_what_is_here_already_is_not_added_again(theirs: History) -> None:
    first = History(theirs.base, theirs.revisions[:1], 1)
    ours = first.revised([short(100.0, 0.0, 1.0, car="own", name="own")])
    # The own second was taken back, so that theirs goes on from what is current.
    found = joined(ours.taken_back(), theirs)
    assert [(one.number, one.parent) for one in found.revisions] == [(1, 0), (2, 1), (3, 1)]
    assert (found.current, mark(found.revision(3))) == (3, mark(theirs.revision(2)))
    # One that was taken back here is another one when it comes again.
    again = joined(first.taken_back(), first)
    assert [one.number for one in again.revisions] == [1, 2]


def test_another_piece_is_refused(theirs: History) -> None:
    with pytest.raises(InputError, match="it is another piece"):
        joined(History(panel("hood", size=1.5)).revised([fits(0.0, 0.0)]), theirs)


def test_a_note_at_an_edge_by_name_is_not_carried(theirs: History) -> None:
    named = History(panel("hood")).revised([Note(NoteKind.FITS, Spot(edge="low"), name="low one")])
    ours = History(place(panel("hood"), **LIE))
    with pytest.raises(InputError, match="“low one” names an edge"):
        joined(ours, named)


def test_a_revision_of_one_that_is_not_there_is_refused(theirs: History) -> None:
    torn = History(theirs.base, theirs.revisions[1:], 2)
    with pytest.raises(InputError, match="Revision 2 of “hood” rests on one that is not there"):
        require_whole(torn)
