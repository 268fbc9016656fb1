"""What a tap changes, straight lines by numbers, starting points and words; on the dome."""

from dataclasses import replace

import numpy as np
import pytest

from job_workshop import RADIUS_MM
from layflat.base import InputError
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import EdgeKind, locate
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices, PanelChoice
from layflat.web.cover.choosing import (
    cover_up_to,
    cover_whole,
    end_edge,
    film_over,
    finish_of,
    leave_bare,
    stay_free,
    wanted_finish,
    wrap_free_edges,
)
from layflat.web.cover.cuts import KINDS, RELIEF, Kind, forget_refused, move, refuse, take
from layflat.web.cover.lines import trace_line
from layflat.web.cover.panels import panels_on, surfaces_of
from layflat.web.cover.shown import drawn_to_edges, other_side
from layflat.web.cover.starts import carried_over, usual_starts
from layflat.web.cover.straight import straight_line, ways
from layflat.web.cover.words import difference, panels_in_words
from layflat.web.people.models import Shop
from web.cover.domes import KEEP, LINE, Domes

WRAP = EdgeFinish(Finish.WRAP, 8.0)
NONE = Choices()


def test_a_panel_is_covered_parted_and_left_bare(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    whole = cover_whole(NONE, left).choices
    assert whole.panels == (PanelChoice(panel="left"),)
    assert cover_whole(whole, left).choices == whole
    wrapped = end_edge(whole, left, edge="front", finish=WRAP).choices
    part = cover_up_to(wrapped, left, line_mm=LINE, keep_mm=KEEP).choices.of("left")
    assert part == PanelChoice(panel="left", line_mm=LINE, keep_mm=KEEP, edges={"front": WRAP})
    assert part is not None
    # Whole again: what was chosen for the edge stays.
    again = cover_whole(Choices((part,)), left).choices.of("left")
    assert again == PanelChoice(panel="left", edges={"front": WRAP})
    assert leave_bare(wrapped, left).choices == NONE


def test_an_edge_that_ends_as_the_rules_say_is_not_written_down(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    whole = cover_whole(NONE, left).choices
    wrapped = end_edge(whole, left, edge="front", finish=WRAP).choices
    back = end_edge(wrapped, left, edge="front", finish=EdgeFinish(Finish.SHORT, 1.5)).choices
    assert back == whole
    assert finish_of(PanelChoice(panel="left"), left.edge("front")) == EdgeFinish(Finish.SHORT, 1.5)


def test_another_way_to_end_begins_with_its_usual_distance(domes: Domes) -> None:
    front = panels_on(domes.revision).of("left").edge("front")
    short = PanelChoice(panel="left")
    assert wanted_finish(short, front, finish="wrap", distance_mm=1.5) == WRAP
    wrapped = replace(short, edges={"front": EdgeFinish(Finish.WRAP, 12.0)})
    kept = wanted_finish(wrapped, front, finish="wrap", distance_mm=10.0)
    assert kept == EdgeFinish(Finish.WRAP, 10.0)
    back = wanted_finish(wrapped, front, finish="short", distance_mm=12.0)
    assert back == EdgeFinish(Finish.SHORT, 1.5)


def test_every_free_edge_is_wrapped_and_no_other(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    deep = PanelChoice(panel="left", edges={"front": EdgeFinish(Finish.WRAP, 12.0)})
    found = wrap_free_edges(Choices((deep,)), left).choices.of("left")
    assert found is not None
    free = {edge.name for edge in left.edges if edge.kind is EdgeKind.OPEN}
    assert set(found.edges) == free
    assert found.edges["front"].distance_mm == 12.0


def test_what_cannot_be_is_refused_in_words(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    whole = cover_whole(NONE, left).choices
    with pytest.raises(InputError, match="cannot be wrapped round the edge “left”"):
        end_edge(whole, left, edge="left", finish=WRAP)
    with pytest.raises(InputError, match="ends short of the edge"):
        end_edge(whole, left, edge="front", finish=EdgeFinish(Finish.FLUSH))
    with pytest.raises(InputError, match="has no edge “nose”"):
        end_edge(whole, left, edge="nose", finish=WRAP)
    with pytest.raises(InputError, match="is bare; cover it first"):
        end_edge(NONE, left, edge="front", finish=WRAP)
    (emblem,) = left.keep_outs
    for reason in ("", "  \n"):
        with pytest.raises(InputError, match="Say why"):
            film_over(whole, left, keep_out=emblem.name, reason=reason)
    with pytest.raises(InputError, match="201 letters; 200 fit"):
        film_over(whole, left, keep_out=emblem.name, reason="x" * 201)
    with pytest.raises(InputError, match="no keep-out “badge”"):
        stay_free(whole, left, keep_out="badge")
    with pytest.raises(InputError, match="cannot be cut out"):
        cover_whole(NONE, replace(left, mesh=""))


def test_a_keep_out_goes_under_film_with_its_reason_and_back(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    (emblem,) = left.keep_outs
    assert emblem.is_cautioned
    whole = cover_whole(NONE, left).choices
    over = film_over(whole, left, keep_out=emblem.name, reason=" No  radar. ").choices
    found = over.of("left")
    assert found is not None
    assert found.film_over == {emblem.name: "No radar."}
    assert stay_free(over, left, keep_out=emblem.name).choices == whole


ONE = ((-130.0, -140.0, 880.0), (-130.0, -100.0, 880.0))
OTHER = ((-130.0, 140.0, 880.0), (-130.0, 100.0, 880.0))


EACH_KIND = pytest.mark.parametrize("kind", KINDS, ids=["cuts", "seams"])


@EACH_KIND
def test_a_cut_is_taken_once_refused_and_given_up_with_its_part(domes: Domes, kind: Kind) -> None:
    left = panels_on(domes.revision).of("left")
    with pytest.raises(InputError, match="is bare"):
        take(NONE, left, kind=kind, path=ONE)
    whole = cover_whole(NONE, left).choices
    one = take(whole, left, kind=kind, path=ONE).choices
    both = take(one, left, kind=kind, path=OTHER)
    assert both.says == f"{kind.word} 2 taken"
    assert take(both.choices, left, kind=kind, path=ONE).choices == both.choices
    refused = refuse(both.choices, left, kind=kind, path=ONE).choices
    assert _paths(refused, kind) == ((OTHER,), (ONE,))
    assert refuse(refused, left, kind=kind, path=ONE).choices == refused
    assert _paths(take(refused, left, kind=kind, path=ONE).choices, kind) == ((OTHER, ONE), ())
    assert _paths(forget_refused(refused, left, kind=kind).choices, kind) == ((OTHER,), ())
    # As much as before: the cuts stay. Another part: they were for the part before.
    assert cover_whole(refused, left).choices == refused
    part = cover_up_to(refused, left, line_mm=LINE, keep_mm=KEEP).choices
    assert _paths(part, kind) == ((), ())


def _paths(choices: Choices, kind: Kind) -> tuple[object, object]:
    choice = choices.of("left")
    assert choice is not None
    return kind.paths(choice), kind.refusals(choice)


def test_a_cut_that_is_moved_keeps_its_number(domes: Domes) -> None:
    left = panels_on(domes.revision).of("left")
    there = ((-130.0, -140.0, 880.0), (-110.0, -90.0, 890.0))
    both = Choices((PanelChoice(panel="left", reliefs=(ONE, OTHER)),))
    moved = move(both, left, kind=RELIEF, path=ONE, to=there)
    assert moved.says == "relief cut 1 moved"
    assert _paths(moved.choices, RELIEF) == ((there, OTHER), ())
    # Led onto the other one, there is one cut; one that was given up cannot be moved.
    onto = move(both, left, kind=RELIEF, path=ONE, to=OTHER)
    assert _paths(onto.choices, RELIEF) == ((OTHER,), ())
    with pytest.raises(InputError, match="not there any more"):
        move(onto.choices, left, kind=RELIEF, path=ONE, to=there)


@EACH_KIND
def test_no_more_cuts_than_a_piece_bears(domes: Domes, kind: Kind) -> None:
    left = panels_on(domes.revision).of("left")
    many = tuple(((float(i), 0.0, 0.0), (float(i), 9.0, 0.0)) for i in range(24))
    full = Choices((kind.of(PanelChoice(panel="left"), taken=many[: kind.most], refused=many),))
    with pytest.raises(InputError, match=f"{kind.most} {kind.word}s at most"):
        take(full, left, kind=kind, path=ONE)
    with pytest.raises(InputError, match=f"24 {kind.word}s at most"):
        refuse(full, left, kind=kind, path=ONE)


def test_cuts_of_another_revision_are_left_away_and_said(domes: Domes) -> None:
    chosen = Choices((PanelChoice(panel="left", reliefs=(ONE,), seams=(ONE, OTHER)),))
    other = Revision.objects.get(pk=domes.revision.pk)
    other.pk, other.number = None, 99
    carried = carried_over(chosen, source=other, target=domes.revision, can_trace=lambda *_: True)
    assert carried.choices == Choices((PanelChoice(panel="left"),))
    one, two = carried.left_out
    assert "1 relief cut of the left was chosen" in one
    assert "2 seams of the left were chosen" in two


@pytest.mark.parametrize(
    ("side", "deep_mm", "x_mm"), [("front", 90.0, 150.0), ("rear", 130.0, 150.0)]
)
def test_a_line_by_numbers_lies_where_the_numbers_say(
    domes: Domes, side: str, deep_mm: float, x_mm: float
) -> None:
    """The dome faces along x; its right panel reaches from x = 20 to x = 240 mm."""
    body, surface = panels_on(domes.revision), surfaces_of(domes.revision)["panel-1"]
    found = straight_line(surface, body, side=side, deep_mm=deep_mm)
    points = np.array(found.line_mm)
    assert np.abs(points[:, 0] - x_mm).max() < 0.5
    assert locate(surface, points).distances_mm.max() < 0.05
    part = trace_line(domes.revision, "right", found.line_mm, found.keep_mm)
    mesh = part.mesh
    covered = mesh.vertices_mm[:, 0] - x_mm
    assert (covered.min() if side == "front" else -covered.max()) > -1.0
    assert len(mesh.faces) > 10


def test_ways_to_part_a_panel_say_how_far_it_reaches(domes: Domes) -> None:
    body, surface = panels_on(domes.revision), surfaces_of(domes.revision)["panel-1"]
    reach = {way.side: way.reach_mm for way in ways(surface, body)}
    assert reach["front"] == pytest.approx(220.0, abs=0.5)
    assert reach["left"] == pytest.approx(280.0, abs=0.5)
    # The dome of 900 mm is nearly flat there: a line "above" would mean nothing.
    low = RADIUS_MM - float(np.sqrt(RADIUS_MM**2 - 240**2 - 140**2))
    assert ("upper" in reach) == (low > 60.0)


def test_numbers_beside_the_panel_are_refused(domes: Domes) -> None:
    body, surface = panels_on(domes.revision), surfaces_of(domes.revision)["panel-1"]
    for deep_mm in (-5.0, 0.0, 215.0, 1e9, float("nan")):
        with pytest.raises(InputError, match="reaches 220 mm that way"):
            straight_line(surface, body, side="front", deep_mm=deep_mm)
    with pytest.raises(InputError, match="which part"):
        straight_line(surface, body, side="inner", deep_mm=50.0)


def test_a_drawn_line_is_led_on_to_the_edges(domes: Domes) -> None:
    """A finger stops within the panel or beside it; the line must run from edge to edge."""
    z = LINE[0][2]
    within = ((150.0, -60.0, 884.9), (150.0, 0.0, 887.4), (150.0, 60.0, 884.9))
    led = drawn_to_edges(domes.revision, "right", within)
    assert len(led) == 5
    assert [round(abs(led[k][1])) for k in (0, -1)] == [140, 140]
    assert trace_line(domes.revision, "right", led, None).share > 0.5
    beside = ((150.0, -170.0, 871.0), (150.0, 0.0, 887.4), (150.0, 170.0, 871.0))
    led = drawn_to_edges(domes.revision, "right", beside)
    assert len(led) == 3
    assert [round(abs(led[k][1])) for k in (0, -1)] == [140, 140]
    assert trace_line(domes.revision, "right", led, None).share > 0.5
    far = ((150.0, -450.0, z), (150.0, 450.0, z))
    assert drawn_to_edges(domes.revision, "right", far) == far


def test_the_other_side_of_a_line_is_the_rest_of_the_panel(domes: Domes) -> None:
    choice = PanelChoice(panel="right", line_mm=LINE, keep_mm=KEEP)
    turned = replace(choice, keep_mm=other_side(domes.revision, choice))
    shares = [trace_line(domes.revision, "right", LINE, c.keep_mm).share for c in (choice, turned)]
    assert sum(shares) == pytest.approx(1.0, abs=1e-4)
    assert min(shares) > 0.1


def test_usual_starts_are_made_of_the_panels_that_a_body_has(domes: Domes) -> None:
    body = panels_on(domes.revision)
    (only,) = usual_starts(body)
    assert (only.title, [c.panel for c in only.choices.panels]) == (
        "Whole vehicle",
        ["left", "right"],
    )
    left = body.of("left")
    names = ("hood", "Fender left", "door-left", "roof")
    vehicle = replace(body, panels={name: replace(left, name=name, title=name) for name in names})
    starts = {
        start.name: [c.panel for c in start.choices.panels] for start in usual_starts(vehicle)
    }
    assert starts == {
        "nose": ["Fender left", "hood"],
        "nose-doors": ["Fender left", "door-left", "hood"],
        "whole": ["Fender left", "door-left", "hood", "roof"],
    }


def test_choices_are_carried_over_and_what_is_not_is_said(domes: Domes) -> None:
    other = Revision(pk=domes.revision.pk + 1)
    chosen = Choices(
        (
            PanelChoice(
                panel="right",
                line_mm=LINE,
                keep_mm=KEEP,
                edges={"front": WRAP, "left": WRAP, "nose": WRAP},
                film_over={"badge": "Because."},
            ),
            PanelChoice(panel="roof"),
        )
    )
    lost = carried_over(chosen, source=other, target=domes.revision, can_trace=lambda *_: False)
    assert lost.choices == Choices((PanelChoice(panel="right", edges={"front": WRAP}),))
    said = " ".join(lost.left_out)
    for words in ("no panel “roof”", "line on the right", "“left”", "“nose”", "“badge”"):
        assert words in said
    kept = carried_over(chosen, source=other, target=domes.revision, can_trace=lambda *_: True)
    found = kept.choices.of("right")
    assert found is not None
    assert found.line_mm == LINE
    same = carried_over(
        chosen, source=domes.revision, target=domes.revision, can_trace=lambda *_: False
    )
    assert (same.choices, same.left_out) == (chosen, ())


def test_differences_are_said_both_ways(domes: Domes) -> None:
    body = panels_on(domes.revision)
    part = PanelChoice(panel="right", line_mm=LINE, keep_mm=KEEP)
    one = Choices((PanelChoice(panel="left"), PanelChoice(panel="right")))
    two = Choices((part,))
    assert panels_in_words(one, body) == "Left · right"
    assert panels_in_words(two, body) == "Right up to a line"
    assert panels_in_words(NONE, body) == "nothing yet"
    found = difference(one, two, body)
    assert (found.more, found.less) == ("Left", "")
    assert found.otherwise == "right: whole, not up to a line"
    back = difference(two, one, body)
    assert (back.more, back.less) == ("", "Left")
    assert back.otherwise == "right: up to a line, not whole"
    assert difference(one, one, body).otherwise == ""


def test_a_left_and_a_right_panel_are_said_together(domes: Domes) -> None:
    body = panels_on(domes.revision)
    left = body.of("left")
    titles = {"door-left": "Door, left", "door-right": "Door, right", "hood": "Hood"}
    panels = {name: replace(left, name=name, title=title) for name, title in titles.items()}
    vehicle = replace(body, panels=panels)
    chosen = Choices(tuple(PanelChoice(panel=name) for name in titles))
    assert panels_in_words(chosen, vehicle) == "Door, both sides · hood"
    parted = chosen.with_panel(PanelChoice(panel="door-left", line_mm=LINE, keep_mm=KEEP))
    assert panels_in_words(parted, vehicle) == "Door, left up to a line · door, right · hood"


def test_lengths_are_said_in_the_unit_of_the_shop(domes: Domes) -> None:
    body, surface = panels_on(domes.revision), surfaces_of(domes.revision)["panel-1"]
    left, inches = body.of("left"), Shop(inches=True)
    whole = cover_whole(NONE, left).choices
    said = end_edge(whole, left, edge="front", finish=WRAP, shop=inches).says
    # 8 mm are 0.315 in (an inch is 25.4 mm: the yard and pound agreement of 1959).
    assert said == "edge “front” wrapped round by 0.31 in"
    # 220 mm are 8.66 in.
    with pytest.raises(
        InputError, match=r"reaches 8\.7 in that way; the line can lie 0\.4 in to 8\.3 in"
    ):
        straight_line(surface, body, side="front", deep_mm=215.0, shop=inches)
