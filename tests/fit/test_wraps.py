"""What the wraps of a panel are folded round: measured on the body, said in sentences."""

from dataclasses import replace

import numpy as np
import pytest

from flanged import Metal, flanged
from layflat.film import flatten, generic_film
from layflat.fit.wraps import edge_folds
from layflat.pattern import SQUARE, UNSEEN, EdgeFinish, Finish, Fold, Made, from_flat
from layflat.pattern.fold import Reason
from layflat.pattern.wrap_words import fold_notes
from layflat.surface import Edge, EdgeKind, Panel, Region, cut_region

WRAP = EdgeFinish(Finish.WRAP, 8.0)
FLUSH = EdgeFinish(Finish.FLUSH)


def panel_on(metal: Metal, *, kind: EdgeKind = EdgeKind.OPEN) -> Region:
    """The plate up to its bend, cut out of the metal; the edge “lip” runs along the flange."""
    lip = metal.edge[6:-6]
    back = lip[::-1] + np.array([0.0, 20.0, 0.0])
    inner = EdgeKind.INNER
    edges = (
        Edge(kind, lip[:-1], "lip"),
        Edge(inner, lip[-1:], "side"),
        Edge(inner, back[:-1], "back"),
        Edge(inner, back[-1:], "other side"),
    )
    return cut_region(metal.mesh, Panel("plate", edges))


def only_lip(edge: Edge) -> EdgeFinish:
    return WRAP if edge.name == "lip" else FLUSH


def made(metal: Metal, region: Region) -> Made:
    flat = flatten(region.mesh, generic_film())
    folds = edge_folds(region, metal.mesh, only_lip)
    return from_flat(flat, region, name="plate", finishes=only_lip, folds=folds)


def test_a_deep_flange_is_wrapped_as_asked_and_said() -> None:
    metal = flanged(angle_deg=120.0, depth_mm=15.0)
    done = made(metal, panel_on(metal))
    ((edge, depths),) = done.wraps
    assert edge.name == "lip"
    assert depths.mm == pytest.approx(8.0)
    assert set(depths.reasons) == {Reason.NONE}
    assert np.degrees(depths.fold.angle_rad) == pytest.approx(120.0, abs=0.5)
    assert any("turned by 120°" in note and "15 to 15 mm deep" in note for note in done.notes)


def test_a_shallow_flange_bounds_the_wrap_and_the_reason_says_so() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=5.0)
    done = made(metal, panel_on(metal))
    ((_, depths),) = done.wraps
    assert depths.mm == pytest.approx(4.0, abs=0.05)
    assert set(depths.reasons) == {Reason.FLANGE}
    assert any("metal beyond the edge goes no farther" in note for note in done.notes)
    record = next(r for r in done.pattern.edges if r.name == "lip")
    assert record.finish.distance_mm == pytest.approx(4.0, abs=0.11)


def test_no_flange_in_the_scan_is_said_and_folded_square_as_deep_as_asked() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0).without_flange(-1.0, 2.0)
    done = made(metal, panel_on(metal))
    ((_, depths),) = done.wraps
    assert depths.mm == pytest.approx(8.0)
    assert any("no flange in the scan" in note and "square" in note for note in done.notes)


def test_where_the_metal_ends_there_is_nothing_to_wrap_round() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0).without_flange(0.55, 0.8)
    done = made(metal, panel_on(metal))
    ((_, depths),) = done.wraps
    assert depths.mm.min() == 0.0
    assert depths.mm.max() == pytest.approx(8.0)
    assert depths.reasons[depths.shallowest] is Reason.FLANGE
    assert any("the metal ends along" in note for note in done.notes)


@pytest.mark.parametrize(
    ("kind", "finish"),
    [
        (EdgeKind.INNER, EdgeFinish(Finish.FLUSH)),
        (EdgeKind.GAP, EdgeFinish(Finish.SHORT, 1.5)),
        (EdgeKind.TRIM, EdgeFinish(Finish.SHORT, 1.5)),
    ],
)
def test_an_edge_that_is_not_open_ends_as_near_as_can_be_and_says_why(
    kind: EdgeKind, finish: EdgeFinish
) -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0)
    region = panel_on(metal, kind=kind)
    assert edge_folds(region, metal.mesh, only_lip) == {}
    done = made(metal, region)
    assert done.wraps == ()
    assert next(r.finish for r in done.pattern.edges if r.name == "lip") == finish
    assert any("“lip” cannot be wrapped" in note for note in done.notes)


@pytest.mark.parametrize("radius", [90.0, -150.0])
def test_curvature_and_angle_do_not_depend_on_the_numbering(radius: float) -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0, radius_mm=radius)
    found = []
    for body in (metal, metal.shuffled(seed=3)):
        region = panel_on(body)
        edge = region.loops[0].edges[0]
        found.append(edge_folds(region, body.mesh, only_lip)[id(edge)])
    one, two = found
    assert np.median(one.turn_per_mm) == pytest.approx(1.0 / radius, rel=0.02)
    assert np.abs(one.bow_per_mm).max() < 1e-4
    assert two.turn_per_mm == pytest.approx(one.turn_per_mm, abs=1e-4)
    assert two.angle_rad == pytest.approx(one.angle_rad, abs=1e-3)


def test_edges_without_a_flange_are_named_in_one_sentence() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=5.0)
    region = panel_on(metal)
    lip, side, back = region.loops[0].edges[:3]
    fold = Fold(np.zeros(2), np.zeros(2), np.full(2, SQUARE), np.full(2, np.inf), note=UNSEEN)
    seen = replace(fold, note="Beyond the edge “back” the scan shows a flange.")
    (note,) = fold_notes({id(lip): fold}, region)
    assert note.startswith("There is no flange in the scan beyond the edge “lip”: a square fold")
    told = fold_notes({id(lip): fold, id(back): seen, id(side): fold}, region)
    assert told[0] == seen.note
    assert "beyond the edges “lip” and “side”: square folds were assumed" in told[1]
    assert len(told) == 2
