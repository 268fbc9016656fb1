"""Proposed reliefs: where film is too much, never where it is missing, and never twice refused."""

from dataclasses import replace

import numpy as np
import pytest

from film.shapes import cap, car_like, film_of, graph, level, moved, wave
from layflat.base import FloatArray, InputError, MeshError, SettingError, StoppedError
from layflat.film import Flat, flatten, overlaps
from layflat.fit import Reliefs, cut_relief, propose_reliefs
from layflat.fit.relief_cut import carried, flatten_again
from layflat.fit.relief_mirror import find_mirror
from layflat.fit.relief_score import beyond_limits_mm2, cut_paths
from layflat.pattern import reliefs_of
from layflat.surface import Edge, EdgeKind, Loop, Mesh, Region, whole_region

FILM = replace(film_of(), wrap_finger_limit=0.02)
ANGLE, RADIUS = 0.9, 90.0


def cup(rings: int = 14) -> Region:
    """A deep cap of a sphere, mirrored in its two planes, like the cap of a mirror."""
    return whole_region(cap(rings, angle=ANGLE, radius=RADIUS))


def of_kind(region: Region, kind: EdgeKind) -> Region:
    (loop,) = region.loops
    edges = tuple(Edge(kind, edge.points_mm, "rim") for edge in loop.edges)
    return Region(region.mesh, (Loop(loop.vertices, loop.edge_of, edges),))


@pytest.fixture(scope="module")
def region() -> Region:
    return of_kind(cup(), EdgeKind.GAP)


@pytest.fixture(scope="module")
def flat(region: Region) -> Flat:
    return flatten(region.mesh, FILM)


@pytest.fixture(scope="module")
def found(region: Region, flat: Flat) -> Reliefs:
    return propose_reliefs(region, flat, most=4)


def starts(paths: list[FloatArray]) -> FloatArray:
    return np.array([path[0] for path in paths])


def test_each_relief_takes_away_film_that_is_too_much(found: Reliefs, flat: Flat) -> None:
    assert 2 <= len(found.proposals) <= 4
    assert found.before.finger_excess_mm > 2 * found.after.finger_excess_mm
    assert beyond_limits_mm2(found.flat) < 0.5 * beyond_limits_mm2(flat)
    assert found.after.energy_mj < found.before.energy_mj
    for relief in found.proposals:
        assert relief.after.finger_excess_mm < relief.before.finger_excess_mm
        assert relief.opens_mm > 3.0
        assert relief.flat_length_mm == pytest.approx(relief.length_mm, rel=0.15)
        assert 0.0 <= relief.visible_mm <= relief.length_mm + 1e-6
        assert any("“rim”" in reason for reason in relief.reasons)
    assert overlaps(found.flat) == ()
    assert len(reliefs_of(found.region)) == len(found.proposals)


def test_the_warm_start_ends_where_the_cold_one_does(found: Reliefs) -> None:
    cold = flatten(found.region.mesh, FILM)
    assert cold.energy_mj == pytest.approx(found.flat.energy_mj, rel=1e-6)
    assert np.abs(cold.points_mm - found.flat.points_mm).max() < 0.01


def test_a_proposal_cut_by_its_path_gives_what_was_promised(found: Reliefs, region: Region) -> None:
    for relief in found.proposals:
        region = cut_relief(region, relief.path_mm)
    laid = flatten(region.mesh, FILM)
    assert laid.energy_mj == pytest.approx(found.flat.energy_mj, rel=1e-3)
    assert beyond_limits_mm2(laid) == pytest.approx(beyond_limits_mm2(found.flat), rel=0.01)


def test_a_symmetric_panel_gets_mirrored_pairs(found: Reliefs) -> None:
    paths = [relief.path_mm for relief in found.proposals]
    for path in paths:
        image = path * [1.0, -1.0, 1.0]
        assert (
            min(
                np.abs(image - other).max() if len(image) == len(other) else np.inf
                for other in paths
            )
            < 0.5
        )


def test_only_what_is_its_own_mirror_image_is_symmetric(region: Region) -> None:
    axes = {"up": (0.0, 0.0, 1.0), "forward": (1.0, 0.0, 0.0)}
    mirror = find_mirror(region, **axes)
    assert mirror is not None
    assert mirror.offset_mm == pytest.approx(0.0, abs=1e-6)
    assert find_mirror(whole_region(car_like()), **axes) is None


def test_no_room_for_a_pair_is_said(region: Region, flat: Flat) -> None:
    one = propose_reliefs(region, flat, most=1)
    assert len(one.proposals) <= 1
    if not one.proposals:
        assert any("symmetric" in sentence for sentence in one.sentences)
    assert any("no more than 1" in sentence for sentence in one.sentences)
    assert propose_reliefs(region, flat, most=0).proposals == ()


def test_what_was_refused_is_not_proposed_again(found: Reliefs, region: Region, flat: Flat) -> None:
    # A place is where a cut starts: a shorter one that was refused there is the same place.
    refused = [
        r.path_mm[0] + np.outer([0, 0.3], r.path_mm[-1] - r.path_mm[0]) for r in found.proposals
    ]
    other = propose_reliefs(region, flat, most=2, refused=refused)
    assert other.proposals
    near = starts([r.path_mm for r in other.proposals])[:, None] - starts(refused)
    assert np.linalg.norm(near, axis=-1).min() > 15.0
    # Nor one that ends where a refused one did, wherever that came from.
    tip = found.proposals[0].path_mm[-1]
    away = propose_reliefs(region, flat, most=1, refused=[np.array([[0.0, 0.0, 500.0], tip])])
    assert all(np.linalg.norm(r.path_mm[-1] - tip) > 9.0 for r in away.proposals)


def test_a_pair_of_which_one_was_refused_stands_alone_and_says_so(
    found: Reliefs, region: Region, flat: Flat
) -> None:
    pairs = [r.path_mm for r in found.proposals if abs(r.path_mm[0, 1]) > 10.0]
    other = propose_reliefs(region, flat, most=3, refused=pairs[:1])
    ends = starts([r.path_mm for r in other.proposals])
    assert np.linalg.norm(ends - pairs[0][0], axis=1).min() > 15.0


def test_what_was_kept_stays_and_the_search_goes_on_from_there(
    found: Reliefs, region: Region, flat: Flat
) -> None:
    kept = [relief.path_mm for relief in found.proposals[:2]]
    more = propose_reliefs(region, flat, most=4, kept=kept)
    assert more.kept == 2
    assert len(more.proposals) <= 2
    mouths = starts([more.region.mesh.vertices_mm[s.inward] for s in reliefs_of(more.region)])
    for path in kept:
        assert np.linalg.norm(mouths - path[0], axis=1).min() < 0.01
    assert more.before.finger_excess_mm == pytest.approx(
        found.proposals[1].after.finger_excess_mm, rel=0.02
    )
    assert len(reliefs_of(more.region)) == 2 + len(more.proposals)


def test_the_same_wherever_the_panel_lies(found: Reliefs, region: Region) -> None:
    mesh = moved(region.mesh)
    turn = np.linalg.lstsq(
        region.mesh.vertices_mm - region.mesh.vertices_mm.mean(axis=0),
        mesh.vertices_mm - mesh.vertices_mm.mean(axis=0),
        rcond=None,
    )[0]
    (loop,) = region.loops
    edges = tuple(replace(edge, points_mm=mesh.vertices_mm[loop.vertices]) for edge in loop.edges)
    other = Region(mesh, (Loop(loop.vertices, loop.edge_of, edges),))
    again = propose_reliefs(
        other,
        flatten(mesh, FILM),
        most=4,
        up=tuple(np.array([0.0, 0.0, 1.0]) @ turn),
        forward=tuple(np.array([1.0, 0.0, 0.0]) @ turn),
    )
    widths = [sorted(r.opens_mm for r in x.proposals) for x in (found, again)]
    assert widths[0] == pytest.approx(widths[1], abs=0.2)


@pytest.mark.parametrize("height", [level, wave])
def test_none_on_what_lies_flat(height: object) -> None:
    plate = whole_region(graph(height, width=300, depth=200, across=19, along=13))
    nothing = propose_reliefs(plate, flatten(plate.mesh, FILM))
    assert nothing.proposals == ()
    assert nothing.region is plate
    assert nothing.sentences[0].endswith("no relief is needed.")


def saddle() -> Region:
    return whole_region(
        graph(lambda x, y: (x**2 - y**2) / 300.0, width=240, depth=240, across=21, along=21)
    )


def test_none_where_film_is_missing_and_the_reason_is_said() -> None:
    """The rim of a saddle is longer than flat film is there: a cut would have to overlap."""
    bent = saddle()
    laid = flatten(bent.mesh, FILM)
    nothing = propose_reliefs(bent, laid)
    assert not nothing.after.within_limits
    assert overlaps(nothing.flat) == ()
    assert all(relief.opens_mm > 0 for relief in nothing.proposals)
    assert any("seam" in s or "Fingers are left" in s for s in nothing.sentences)
    # The cut that a person may draw there all the same does overlap.
    start = np.array([0.0, -120.0, -(120.0**2) / 300.0])
    path = np.array([start, [0.0, 0.0, 0.0]])
    assert overlaps(flatten_again(cut_relief(bent, path), laid)) != ()
    # A search that tries it passes it over, and says why.
    notes: list[str] = []
    assert cut_paths(bent, laid, [path], notes) is None
    (note,) = notes
    assert note.startswith("A place was passed over: its cut would have to overlap in the flat")


def test_open_paint_is_not_cut_for_what_warmth_takes_up() -> None:
    """Some three per cent of compression, on a side that everybody sees."""
    whole = of_kind(whole_region(cap(14, angle=0.5, radius=300.0)), EdgeKind.INNER)
    laid = flatten(whole.mesh, film_of())
    spared = propose_reliefs(whole, laid, most=2)
    assert spared.proposals == ()
    assert any("Cuts on open paint are not proposed" in s for s in spared.sentences)
    assert any("hidden would gain enough" in s for s in spared.sentences)
    stiff = replace(laid, film=replace(laid.film, wrap_finger_limit=0.0))
    shown = propose_reliefs(whole, stiff, most=2).proposals
    assert {relief.hidden_by for relief in shown} == {"open paint"}


def test_the_side_in_sight_is_spared() -> None:
    """The cup turned to face sideways: its upper half is seen, the lower one faces down."""
    mesh = cup().mesh
    lying = Mesh(mesh.vertices_mm[:, [2, 0, 1]], mesh.faces)
    region = of_kind(whole_region(lying), EdgeKind.OPEN)
    first = propose_reliefs(region, flatten(lying, FILM), most=2, forward=(0.0, 1.0, 0.0))
    assert first.proposals
    assert all(relief.path_mm[0, 2] < 0.0 for relief in first.proposals)
    assert first.proposals[0].hidden_by == "wrap"
    assert first.proposals[0].visible_mm < 0.25 * first.proposals[0].length_mm


def test_a_piece_is_carried_to_a_surface_that_was_cut(found: Reliefs, flat: Flat) -> None:
    """Every vertex lies where it lay, on its own side of a cut."""
    assert carried(flat, flat.mesh) == pytest.approx(flat.points_mm, abs=1e-9)
    again = carried(found.flat, found.region.mesh)
    assert again == pytest.approx(found.flat.points_mm, abs=1e-9)


def test_it_can_be_watched_and_stopped(region: Region, flat: Flat) -> None:
    seen: list[float] = []

    def until(step: str, fraction: float) -> None:
        seen.append(fraction)
        if "2" in step or "3" in step:
            raise StoppedError

    with pytest.raises(StoppedError):
        propose_reliefs(region, flat, progress=until)
    assert seen == sorted(seen)


def test_bad_input_is_refused_in_a_sentence(region: Region, flat: Flat) -> None:
    with pytest.raises(SettingError, match=r"cuts in sight is 0\.5; it must lie between 1 and"):
        propose_reliefs(region, flat, aversion=0.5)
    with pytest.raises(SettingError, match="not be negative"):
        propose_reliefs(region, flat, most=-1)
    with pytest.raises(InputError, match="belong"):
        propose_reliefs(saddle(), flat)
    with pytest.raises(MeshError, match="must start on an edge"):
        propose_reliefs(region, flat, kept=[np.array([[0.0, 0, 90], [10.0, 0, 89]])])
