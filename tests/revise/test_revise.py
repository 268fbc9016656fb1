"""From fit notes to a revision: what is met, what stays as it was, what is refused."""

import json
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from layflat.base import DrawingError, InputError
from layflat.pattern import Curve, Pattern, corners, pattern_json, tangent_turns, to_polygon
from layflat.revise import (
    History,
    Note,
    NoteKind,
    Spot,
    history_json,
    read_history_json,
    read_revision_json,
    revise,
    revision_json,
    sides_of,
)
from revise.panel import circle, fits, moved_out, outline_of, panel, short

SURE = {"doubt_mm": 0.05}


def is_straight(pattern: Pattern, joint: int, count: int = 1) -> bool:
    return not np.asarray(pattern.outline.bulges)[joint : joint + count].any()


def test_the_outline_grows_where_it_is_short_and_shrinks_where_it_is_over() -> None:
    made = revise(panel(), [short(-16, 200, 2.0, **SURE), short(600, 100, -1.0, **SURE)])
    left, right = moved_out(made, (-16, 200), (600, 100))
    assert left == pytest.approx(2.0, abs=0.1)
    assert right == pytest.approx(-1.0, abs=0.1)
    assert np.abs(made.left_mm).max() < 0.1
    assert made.summary.largest_mm == pytest.approx(2.0, abs=0.2)


def test_without_a_sure_reading_a_note_is_not_taken_for_more_than_it_is() -> None:
    (small,) = moved_out(revise(panel(), [short(-16, 200, 0.3)]), (-16, 200))
    (large,) = moved_out(revise(panel(), [short(-16, 200, 3.0)]), (-16, 200))
    assert 0.05 < small < 0.3
    assert 2.5 < large < 3.0


def test_what_fits_holds_what_is_near_it() -> None:
    alone = revise(panel(), [short(-16, 200, 2.0)], reach_mm=500)
    held = revise(panel(), [short(-16, 200, 2.0), fits(-12, 290), fits(-12, 110)], reach_mm=500)
    places = ((-12, 290), (-12, 110))
    assert np.abs(moved_out(held, *places)).max() < 0.6 * np.abs(moved_out(alone, *places)).min()


def test_straight_lines_stay_straight_and_corners_corners() -> None:
    made = revise(panel(), [short(150, 0, 2.0, **SURE), short(300, 400, -1.5, **SURE)])
    after = made.pattern
    outline = outline_of(after)
    assert [run.count for run in outline.straights] == [1, 1, 1]
    assert len(after.outline_corners) == 3
    assert moved_out(made, (150, 0))[0] == pytest.approx(2.0, abs=0.1)
    # No kink where a line runs on into the bend.
    turns = np.abs(tangent_turns(after.outline))
    turns[after.outline_corners] = 0.0
    assert math.degrees(turns.max()) < 0.06
    assert set(corners(after.outline)) == set(after.outline_corners)


def test_cut_outs_keep_their_shape_and_only_shift() -> None:
    note = Note(NoteKind.SHIFT, Spot(), cut_out=0, mm=(1.5, -1.0), **SURE)
    base = panel()
    made = revise(base, [note, short(-16, 200, 3.0)])
    for before, after in zip(base.cut_outs, made.pattern.cut_outs, strict=True):
        shift = after.points_mm - before.points_mm
        assert np.ptp(shift, axis=0).max() < 1e-9
        assert (after.bulges == before.bulges).all()
    shift = made.pattern.cut_outs[0].points_mm[0] - base.cut_outs[0].points_mm[0]
    assert shift == pytest.approx([1.5, -1.0], abs=0.1)


def test_a_finger_takes_film_out_along_its_stretch() -> None:
    base = panel()
    stretch = {"at": Spot(edge="left", share=0.3), "to": Spot(edge="left", share=0.7)}
    made = revise(base, [Note(NoteKind.FINGER, mm=(1.2,), **stretch, **SURE)])
    left = sides_of(base, outline_of(base))[-1]
    between = left.start_mm + left.length_mm * np.linspace(0.3, 0.7, 200)
    old = outline_of(base).points(between)
    new = old + made.field.at(old)
    lengths = [np.hypot(*np.diff(line, axis=0).T).sum() for line in (old, new)]
    assert lengths[1] - lengths[0] == pytest.approx(-1.2, abs=0.05)
    guessed = revise(base, [Note(NoteKind.FINGER, **stretch)])
    assert any("1 finger without a measure takes out 1 mm" in sentence for sentence in guessed.said)


def test_excess_at_a_corner_is_taken_off_both_edges() -> None:
    note = Note(NoteKind.CORNER, Spot(point_mm=(598, 3)), mm=(2.0, 1.0), **SURE)
    made = revise(panel(), [note])
    corner = made.pattern.outline.points_mm[made.pattern.outline_corners[1]]
    # The corner of “low” and “right”: 2 mm over low's line, 1 mm over right's.
    assert corner == pytest.approx([599.0, 2.0], abs=0.1)


def test_a_stretch_moves_alike_and_counts_as_one_reading() -> None:
    stretch = {"at": Spot(edge="left", share=0.35), "to": Spot(edge="left", share=0.65)}
    made = revise(panel(), [Note(NoteKind.SHORT, mm=(1.5,), **stretch)])
    middle, *ends = moved_out(made, (-16, 200), (-15, 250), (-15, 150))
    assert middle == pytest.approx(1.25, abs=0.25)
    assert ends == pytest.approx([middle, middle], abs=0.15)


def test_far_from_all_notes_nothing_moves() -> None:
    base = panel(size=4.0)
    made = revise(base, [short(-64, 800, 2.0)], reach_mm=300)
    far = outline_of(base).points(np.linspace(0, 2400, 30))
    assert np.hypot(*made.field.at(far).T).max() < 0.001
    assert made.summary.still_share > 0.6


def test_marks_go_with_their_edge() -> None:
    base = panel()
    made = revise(base, [short(-16, 200, 2.0, **SURE)])
    shift = made.pattern.marks[2].points_mm - base.marks[2].points_mm
    assert shift[0] == pytest.approx([-2.0, 0.0], abs=0.15)
    assert np.ptp(shift, axis=0).max() < 1e-9


@pytest.mark.parametrize(
    ("note", "says"),
    [
        (short(-200, 200, 1.0), "mm from the piece's edge; tap it within 30 mm"),
        (short(math.nan, 0, 1.0), "not finite"),
        (short(0, 0, math.inf), "not finite"),
        (Note(NoteKind.SHORT, Spot(edge="roof"), mm=(1.0,)), "the piece has “low”"),
        (short(300, 0, 100.0), "not bent by more than 50 mm"),
        (short(300, 0, 100.0, confirmed=True), "not bent by more than 50 mm"),
        (short(300, 0, 12.0), "confirm it if it is right"),
        (short(300, 0, 1.0, doubt_mm=0.0), "its doubt is 0 mm"),
        (short(300, 0, 1.0, revision=3), "revision 3, which is not here"),
        (Note(NoteKind.SHORT, Spot(edge="low"), mm=()), "has 0 measures; it needs 1"),
        (Note(NoteKind.SHORT, Spot(edge="low"), mm=(-1.0,)), "give it as more than 0"),
        (Note(NoteKind.SHORT, Spot(edge="low", share=1.5), mm=(1.0,)), "between 0 and 1"),
        (Note(NoteKind.FINGER, Spot(edge="low")), "needs the stretch"),
        (Note(NoteKind.CORNER, Spot(edge="low"), mm=(1.0, 1.0)), "the nearest is 300 mm away"),
        (Note(NoteKind.SHIFT, Spot(), cut_out=7, mm=(1.0, 0.0)), "cut-out 8; the piece has 2"),
        (Note(NoteKind.SHIFT, Spot(point_mm=(900, 0)), mm=(1.0, 0.0)), "300 mm outside the piece"),
        (
            Note(NoteKind.FITS, Spot(edge="right"), to=Spot(edge="low")),
            "more than half of the outline",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_the_notes_name(note: Note, says: str) -> None:
    with pytest.raises(InputError) as refused:
        revise(panel(), [replace(note, name="tap 7")])
    assert says in str(refused.value)
    assert "“tap 7”" in str(refused.value)


def test_no_notes_and_names_twice_are_refused() -> None:
    with pytest.raises(InputError, match="no fit notes"):
        revise(panel(), [])
    with pytest.raises(InputError, match="Two fit notes are called “a”"):
        revise(panel(), [short(300, 0, 1, name="a"), short(100, 0, 1, name="a")])


def test_a_confirmed_large_note_is_taken() -> None:
    made = revise(panel(), [short(-16, 200, 12.0, confirmed=True)])
    assert moved_out(made, (-16, 200))[0] > 11.0


def test_notes_that_fold_the_film_are_named() -> None:
    sure = {"doubt_mm": 0.05, "confirmed": True}
    notes = [
        Note(NoteKind.SHIFT, Spot(point_mm=(300, 90)), mm=(30.0, 0.0), name="one", **sure),
        Note(NoteKind.SHIFT, Spot(point_mm=(330, 90)), mm=(-30.0, 0.0), name="other", **sure),
        short(-16, 200, 1.0, name="third"),
    ]
    with pytest.raises(InputError, match=r"would fold .* “(one|other)” and “(one|other)” fight"):
        revise(panel(), notes, reach_mm=150)


def test_a_cut_out_is_not_moved_into_the_edge() -> None:
    near = replace(panel(), cut_outs=(circle(200, 24, 20),))
    note = Note(NoteKind.SHIFT, Spot(), cut_out=0, mm=(0.0, -8.0), **SURE)
    with pytest.raises(InputError, match=r"Cut-out 1 .* would reach the edge"):
        revise(near, [note, *(fits(x, 0, **SURE) for x in (100, 200, 300))])


def test_contradictions_and_odd_cars_are_said() -> None:
    two = [short(300, 0, 2.5, car="a", name="x"), short(310, 0, -2.5, car="b", name="y")]
    made = revise(panel(), two)
    assert any("“x”" in said and "“y”" in said and "contradict" in said for said in made.said)
    places = [(-16, 200), (300, 0), (600, 120), (300, 400), (100, 400), (100, 0)]
    cars = [short(*place, 1.0, car=car) for place in places for car in "abcd"]
    odd = [short(*place, 5.0, car="odd") for place in places]
    made = revise(panel(), [*cars, *odd])
    assert any("Car odd does not agree" in said for said in made.said)
    assert moved_out(made, (300, 0), (-16, 200)) == pytest.approx([1.0, 1.0], abs=0.35)


def test_a_line_that_swings_beyond_its_notes_is_said() -> None:
    made = revise(panel(), [fits(300, 400, **SURE), short(370, 400, 2.0, **SURE)])
    assert made.summary.largest_mm > 2.5
    assert any("swings" in sentence and "2" in sentence for sentence in made.said)


def test_a_note_on_a_revision_counts_from_what_was_laid() -> None:
    base = panel()
    history = History(base).revised([short(-16, 200, 2.0, **SURE, name="a")], reach_mm=300)
    # Laid again, the same place fits: nothing more is moved.
    again = history.revised([fits(-17, 200, **SURE, revision=1, name="b")], reach_mm=300)
    assert moved_out(again.revision(2), (-16, 200))[0] == pytest.approx(2.0, abs=0.1)
    # Still short by 1 mm: 3 in all. The first note is of another laying, and must not count too.
    more = revise(
        base, [short(-17, 200, 1.0, **SURE, revision=1)], earlier=history.revisions, reach_mm=300
    )
    assert moved_out(more, (-16, 200))[0] == pytest.approx(3.0, abs=0.1)
    places = np.array([[-17.0, 200.0], [20.0, 5.0]])
    first = history.revision(1)
    assert np.allclose(first.to_base(places + first.field.at(places)), places, atol=1e-6)


def test_a_revision_is_taken_back_and_stays_on_record() -> None:
    history = History(panel()).revised([short(-16, 200, 2.0)]).revised([short(300, 0, 1.0)])
    assert (history.current, len(history.notes())) == (2, 2)
    back = history.taken_back()
    assert back.pattern() is history.revision(1).pattern
    branched = back.revised([fits(600, 100)])
    assert [(r.number, r.parent) for r in branched.revisions] == [(1, 0), (2, 1), (3, 1)]
    base = back.taken_back()
    assert base.pattern() is history.base
    with pytest.raises(InputError, match="no revision that could be taken back"):
        base.taken_back()
    with pytest.raises(InputError, match="no revision 9"):
        base.pattern(9)


def test_every_bit_of_a_revision_comes_back_through_json() -> None:
    notes = [
        short(-16, 200, 2.0, car="k"),
        Note(NoteKind.SHIFT, Spot(), cut_out=1, mm=(0.5, 0.0)),
        Note(NoteKind.FINGER, Spot(edge="left", share=0.2), to=Spot(edge="left", share=0.6)),
    ]
    history = History(panel()).revised(notes).taken_back()
    text = json.dumps(history_json(history), allow_nan=False)
    again = read_history_json(json.loads(text))
    assert json.dumps(history_json(again)) == text
    one = revision_json(history.revision(1))
    assert revision_json(read_revision_json(json.loads(json.dumps(one)))) == one
    assert pattern_json(again.revision(1).pattern) == one["pattern"]
    assert again.revision(1).notes == history.revision(1).notes


@cache
def one_revision() -> str:
    return json.dumps(revision_json(revise(panel(), [short(-16, 200, 1.0)], reach_mm=300)))


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        (("form",), "layflat revision 9", "its form is 'layflat revision 9'"),
        (("number",), -1, "its number is no whole number"),
        (("notes", 0, "kind"), "odd", "a note's kind is 'odd'"),
        (("notes", 0, "at", "point_mm"), [1.0], "1 numbers, not 2"),
        (("notes", 0, "at", "point_mm"), [1.0, 2.0, 3.0, 4.0], "not one x and one y"),
        (("notes", 0, "mm"), [True], "a note's measure is no number"),
        (("left_mm",), [], "its notes have not one place"),
        (("field", "pushes"), [0.0], "1 numbers, not 2"),
        (("field", "pushes"), [0.0, 0.0] * 50, "not one push for each centre"),
        (("field", "reach_mm"), 0, "its reach is not above 0"),
        (("summary", "rms_mm"), None, "the summary's rms_mm is no number"),
        (("scatter",), 3, "its scatter is no table"),
        (("said",), "x", "what is said is no list"),
    ],
)
def test_a_damaged_revision_is_refused(place: tuple[object, ...], value: object, says: str) -> None:
    data = json.loads(one_revision())
    inner = data
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = value
    with pytest.raises(DrawingError, match=r"Revise the pattern anew") as refused:
        read_revision_json(data)
    assert says in str(refused.value)


def changes(curve: Curve) -> int:
    """Changes between bending left and right, counted on points, by no code of ours."""
    line = np.asarray(
        Polygon(to_polygon(Pattern("x", curve)).exterior).segmentize(4.0).exterior.coords
    )
    steps = np.diff(line[::2], axis=0)
    turns = np.arctan2(
        steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0],
        np.einsum("ij,ij->i", steps[:-1], steps[1:]),
    )
    signs = np.sign(turns[np.abs(turns) > 1e-4])
    return int(np.sum(signs[1:] != signs[:-1]))


@settings(max_examples=5, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 1.0), st.floats(-4.0, 4.0), st.sampled_from("abc")),
        min_size=1, max_size=6,
    )
)  # fmt: skip
def test_whatever_is_noted_the_piece_stays_whole_and_does_not_wiggle(
    taps: list[tuple[float, float, str]],
) -> None:
    base = panel()
    old = outline_of(base)
    notes = [
        short(*map(float, old.points(np.array([share * old.length_mm]))[0]), mm, car=car)
        for share, mm, car in taps
    ]
    made = revise(base, notes)
    shape = to_polygon(made.pattern)
    assert shape.is_valid
    assert len(shape.interiors) == 2
    assert made.summary.least_jacobian > 0.5
    # A straight line swings about its notes; but for this no place moves farther than notes ask,
    # and bends change at most twice for each note.
    if not any("swings" in sentence for sentence in made.said):
        assert made.summary.largest_mm <= 1.25 * max(abs(mm) for _, mm, _ in taps) + 0.05
    assert made.summary.new_inflections <= 2 * len(notes)
    assert changes(made.pattern.outline) - changes(base.outline) <= 2 * len(notes)
    assert len(outline_of(made.pattern).straights) == 3
    assert made.summary.stray_mm < 0.05
