"""How a piece is laid: holds, pulls that a tape can check, sweeps that cover all film, heat."""

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely import LinearRing, Point, Polygon

from layflat.base import FloatArray, IntArray
from layflat.film import Flat, flatten, generic_film, to_surface
from layflat.film.frames import frames_of_mesh
from layflat.film.strain import strain_of_frames
from layflat.fit import PiecePlan, Place, plan_piece, plan_results
from layflat.fit.lay import lay
from layflat.fit.lay_anchor import Anchor
from layflat.fit.laying_anchor import surface_direction
from layflat.fit.laying_plan import HeatKind
from layflat.pattern import SQUARE, Depths, Fold, Reason
from layflat.surface import Edge, EdgeKind, Loop, Mesh, Region, boundary_loops

NAMES = ("near", "right", "far", "left")
MIRROR = np.array([1.0, -1.0, 1.0])


def grid(wide: int, high: int, step: float) -> tuple[FloatArray, IntArray, IntArray]:
    """Points and triangles of a rectangle round the origin, and its rim counter-clockwise."""
    x, y = np.meshgrid(np.arange(wide) - (wide - 1) / 2, np.arange(high) - (high - 1) / 2)
    points = np.column_stack((x.ravel(), y.ravel(), np.zeros(wide * high))) * step
    corner = (np.arange(high - 1)[:, None] * wide + np.arange(wide - 1)).ravel()
    a, b, c, d = corner, corner + 1, corner + wide + 1, corner + wide
    faces = np.concatenate((np.stack((a, b, c), 1), np.stack((a, c, d), 1)))
    number = np.arange(wide * high).reshape(high, wide)
    rim = np.concatenate((number[0, :-1], number[:-1, -1], number[-1, :0:-1], number[:0:-1, 0]))
    return points, faces, rim


def region_of(points: FloatArray, faces: IntArray, rim: IntArray, sides: list[int]) -> Region:
    edge_of = np.repeat(np.arange(4), sides)
    starts = rim[np.concatenate(([0], np.cumsum(sides)[:-1]))]
    edges = tuple(
        Edge(EdgeKind.GAP, points[[start]], name) for start, name in zip(starts, NAMES, strict=True)
    )
    return Region(Mesh(points, faces), (Loop(rim, edge_of, edges),))


def sheet(shape: str, *, wide: int = 41, high: int = 25, step: float = 20.0) -> Region:
    points, faces, rim = grid(wide, high, step)
    x, y = points[:, 0].copy(), points[:, 1].copy()
    if shape == "cylinder":
        points[:, 0], points[:, 2] = 600 * np.sin(x / 600), 600 * np.cos(x / 600)
    if shape == "sphere":
        points[:, 2] = np.sqrt(900.0**2 - x**2 - y**2)
    if shape == "saddle":
        points[:, 2] = (x**2 - y**2) / 2400
    return region_of(points, faces, rim, [wide - 1, high - 1, wide - 1, high - 1])


def skewed(*, across: bool = False) -> Region:
    """A crooked panel that no plane mirrors, long along the car or across it."""
    points, faces, rim = grid(31, 19, 20.0)
    x, y = points[:, 0].copy(), points[:, 1].copy()
    points[:, 1] += 0.3 * x
    points[:, 2] = (1e-3 * x**3 - x**2 - 0.5 * x * y - 0.8 * y**2) / 1200
    if across:
        points = np.column_stack((-points[:, 1], points[:, 0], points[:, 2]))
    return region_of(points, faces, rim, [30, 18, 30, 18])


def moved_by(region: Region, shift: tuple[float, float, float]) -> Region:
    mesh = Mesh(region.mesh.vertices_mm + np.array(shift), region.mesh.faces)
    return Region(mesh, region.loops)


def image(region: Region, *, noise_mm: float = 0.0) -> Region:
    """The panel on the car's other side, numbered otherwise."""
    dice = np.random.default_rng(7)
    points = region.mesh.vertices_mm * MIRROR
    order = dice.permutation(len(points))
    back = np.argsort(order)
    faces = dice.permutation(back[region.mesh.faces][:, ::-1])
    points = points[order] + dice.normal(size=points.shape) * [0.0, 0.0, noise_mm]
    (loop,) = region.loops
    around = back[np.roll(loop.vertices[::-1], 1)]
    edge_of = len(loop.edges) - 1 - loop.edge_of[::-1]
    return Region(Mesh(points, faces), (Loop(around, edge_of, loop.edges[::-1]),))


def flat_with(region: Region, points: FloatArray) -> Flat:
    """The film in a given flat shape, its strain computed from it."""
    frames = frames_of_mesh(region.mesh)
    strain = strain_of_frames(frames, points[:, 0] + 1j * points[:, 1])
    flat = flatten(region.mesh, generic_film(), max_steps=0)
    return replace(flat, points_mm=points, strain=strain)


def planned(region: Region, flat: Flat | None = None) -> tuple[Flat, PiecePlan]:
    flat = flatten(region.mesh, generic_film()) if flat is None else flat
    return flat, plan_piece(flat, region)


@pytest.mark.parametrize("shape", ["plane", "cylinder"])
def test_what_unrolls_needs_no_tape_and_no_heat(shape: str) -> None:
    _, plan = planned(sheet(shape))
    assert (plan.tapes, plan.heats) == ((), ())
    assert not plan.pull.is_pulled
    assert any("No pull needs a tape" in step for step in plan.steps)


def test_a_known_stretch_is_read_off_the_tape() -> None:
    # A flat panel covered by film that is 1/1.03 as long along x: 300 mm become 309 mm.
    region = sheet("plane", wide=31, high=16)
    points = region.mesh.vertices_mm[:, :2] / [1.03, 1.0]
    _, plan = planned(region, flat_with(region, points))
    assert plan.pull.is_pulled
    assert plan.pull.stretch == pytest.approx(0.03, abs=1e-9)
    assert np.abs(plan.pull.along) == pytest.approx([1.0, 0.0], abs=1e-9)
    assert plan.tapes
    for tape in plan.tapes:
        step = tape.ends[1].flat_mm - tape.ends[0].flat_mm
        assert tape.liner_mm == pytest.approx(np.hypot(*step))
        assert tape.car_mm == pytest.approx(np.hypot(1.03 * step[0], step[1]), rel=1e-9)
    longest = plan.tapes[0]
    assert longest.car_mm / longest.liner_mm == pytest.approx(1.03, rel=2e-3)


def test_tapes_on_a_sphere_are_great_circles() -> None:
    # The length of the great circle between two points at a chord c: 2 R asin(c / 2R).
    flat, plan = planned(sheet("sphere", wide=41, high=41))
    assert plan.tapes
    for tape in plan.tapes:
        ends = np.array([end.surface_mm for end in tape.ends])
        chord = np.linalg.norm(ends[1] - ends[0])
        assert tape.car_mm == pytest.approx(2 * 900 * np.arcsin(chord / 1800), rel=1e-3)
        assert tape.car_mm - tape.liner_mm >= 2.0
    # Film stretches in the middle of a dome, so the pulls go through it.
    assert min(
        np.linalg.norm(np.mean([end.flat_mm for end in tape.ends], axis=0)) for tape in plan.tapes
    ) < 0.2 * np.ptp(flat.points_mm)


def test_film_held_at_the_marks_lies_as_it_was_flattened() -> None:
    region = sheet("sphere", wide=31, high=31, step=20.0)
    flat, plan = planned(region)
    marks = [plan.anchor, *(end for tape in plan.tapes for end in tape.ends)]
    outline = flat.points_mm[region.loops[0].vertices]
    unlike = list({tuple(np.round(mark.flat_mm, 6)): mark for mark in marks}.values())
    laid = lay(
        Polygon(outline),
        region.mesh,
        generic_film(),
        anchors=[Anchor(mark.flat_mm, mark.surface_mm) for mark in unlike],
    )
    assert len(unlike) >= 2
    assert laid.off_edge_mm.greatest_mm < 0.2


@pytest.mark.parametrize("shape", ["plane", "sphere", "saddle"])
def test_every_sweep_begins_at_laid_film_and_all_film_is_laid_once(shape: str) -> None:
    region = sheet(shape)
    flat, plan = planned(region)
    faces = flat.mesh.faces
    laid = np.zeros(len(flat.points_mm), bool)
    nearest = np.argmin(np.linalg.norm(flat.points_mm - plan.anchor.flat_mm, axis=1))
    laid[nearest] = True
    for sweep in plan.sweeps:
        own = faces[sweep.faces]
        reached = laid.copy()
        for _ in range(len(flat.points_mm)):
            touching = reached[own].any(axis=1)
            before = reached.sum()
            reached[own[touching]] = True
            if reached.sum() == before:
                break
        assert reached[own].all()
        laid[own] = True
    counted = np.bincount(np.concatenate([sweep.faces for sweep in plan.sweeps]))
    assert (counted == 1).all()
    assert len(counted) == len(faces)
    assert [sweep.number for sweep in plan.sweeps] == list(range(1, len(plan.sweeps) + 1))


def test_a_ring_is_laid_whole() -> None:
    points, faces, rim = grid(31, 21, 20.0)
    middle = points[faces].mean(axis=1)
    hole = (np.abs(middle[:, 0]) < 100) & (np.abs(middle[:, 1]) < 60)
    keep = faces[~hole]
    used = np.unique(keep)
    number = np.full(len(points), -1)
    number[used] = np.arange(len(used))
    region = region_of(points[used], number[keep], number[rim], [30, 20, 30, 20])
    inner = _rim_of_hole(number[keep], region.loops[0].vertices)
    opening = Loop(
        inner, np.zeros(len(inner), int), (Edge(EdgeKind.TRIM, points[used][inner[:1]]),)
    )
    whole = replace(region, loops=(*region.loops, opening))
    flat, plan = planned(whole)
    assert sorted(np.concatenate([sweep.faces for sweep in plan.sweeps])) == list(range(len(keep)))
    # No tape is laid across the opening.
    assert not any(
        np.all(np.abs(np.mean([end.flat_mm for end in tape.ends], axis=0)) < 40)
        for tape in plan.tapes
    )
    assert flat.converged
    # The middle lies in the opening, the anchor well inside the film beside it.
    rims = [LinearRing(flat.points_mm[loop.vertices]) for loop in whole.loops]
    assert min(Point(plan.anchor.flat_mm).distance(rim) for rim in rims) > 25.0


def _rim_of_hole(faces: IntArray, outer: IntArray) -> IntArray:
    (inner,) = [loop for loop in boundary_loops(faces) if loop[0] not in set(outer.tolist())]
    return inner


def test_the_order_of_vertices_and_the_car_s_place_change_nothing() -> None:
    region = sheet("saddle")
    flat, plan = planned(region)
    dice = np.random.default_rng(5)
    order = dice.permutation(len(flat.points_mm))
    back = np.argsort(order)
    shift = np.array([1000.0, 0.0, 300.0])
    mesh = Mesh(region.mesh.vertices_mm[order] + shift, back[region.mesh.faces])
    loop = region.loops[0]
    moved = Region(mesh, (Loop(back[loop.vertices], loop.edge_of, loop.edges),))
    again = plan_piece(replace(flat, mesh=mesh, points_mm=flat.points_mm[order]), moved)
    assert again.anchor.flat_mm == pytest.approx(plan.anchor.flat_mm)
    assert again.anchor.surface_mm == pytest.approx(plan.anchor.surface_mm + shift)
    assert again.pull.along == pytest.approx(plan.pull.along)
    assert [tape.sentence for tape in again.tapes] == [tape.sentence for tape in plan.tapes]


def on_car(flat: Flat, plan: PiecePlan) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The anchor, the first pull and the middles of the sweeps, on the car."""
    middles = np.array([to_surface(flat, sweep.middle_mm)[0] for sweep in plan.sweeps])
    pull = surface_direction(flat, plan.anchor, plan.pull.along)
    return plan.anchor.surface_mm, pull, middles


def sides_swapped(words: str) -> str:
    swapped = {"car's left": "car's right", "car's right": "car's left"}
    return re.sub("|".join(swapped), lambda found: swapped[found[0]], words)


def require_mirrored(
    one: tuple[Flat, PiecePlan], other: tuple[Flat, PiecePlan], *, off_mm: float
) -> None:
    plan, imaged = one[1], other[1]
    (anchor, pull, middles), images = on_car(*one), on_car(*other)
    assert np.linalg.norm(anchor - images[0] * MIRROR) < off_mm
    assert pull @ (images[1] * MIRROR) > 0.99
    assert len(middles) == len(images[2])
    assert np.linalg.norm(middles - images[2] * MIRROR, axis=1).max() < off_mm
    assert [sides_swapped(words) for words in plan.wipes] == list(imaged.wipes)
    assert [tape.letters for tape in plan.tapes] == [tape.letters for tape in imaged.tapes]
    assert [tape.where for tape in plan.tapes] == [tape.where for tape in imaged.tapes]
    for tape, there in zip(plan.tapes, imaged.tapes, strict=True):
        lengths = (there.liner_mm, there.car_mm)
        assert (tape.liner_mm, tape.car_mm) == pytest.approx(lengths, abs=off_mm)


@pytest.mark.parametrize("across", [False, True])
def test_a_mirrored_panel_has_a_mirrored_plan(across: bool) -> None:
    left = moved_by(skewed(across=across), (900.0, 700.0, 400.0))
    found = planned(left)
    assert len(found[1].sweeps) == 6
    assert found[1].tapes
    require_mirrored(found, planned(image(left)), off_mm=0.01)
    # A scan's noise may move the anchor to the next triangle, and nothing else.
    require_mirrored(found, planned(image(left, noise_mm=0.03)), off_mm=15.0)


def test_where_no_end_is_the_outer_one_the_longer_is_laid_first() -> None:
    """Across the middle of the car, one end stretched, so that the anchor is nearer the other."""
    points, faces, rim = grid(11, 41, 20.0)
    middle = moved_by(region_of(points, faces, rim, [10, 40, 10, 40]), (0.0, 8.0, 0.0))
    for panel, longer in ((middle, 1.0), (image(middle), -1.0)):
        y = panel.mesh.vertices_mm[:, 1] * longer
        short = np.where(y > 360.0, 360.0 + (y - 360.0) / 1.08, y) * longer
        flat, plan = planned(
            panel, flat_with(panel, np.column_stack((panel.mesh.vertices_mm[:, 0], short)))
        )
        assert abs(plan.anchor.surface_mm[1]) < 20.0
        assert surface_direction(flat, plan.anchor, plan.pull.along)[1] * longer > 0.99


def test_of_like_parts_the_upper_is_wiped_first_then_the_one_ahead_then_the_outer() -> None:
    """On a plane nothing is too much, and only their places tell the four parts apart."""
    region = sheet("plane")
    up, ahead, left = np.eye(3)[[2, 0, 1]]
    # Flat on the car's right: no part is upper, two are ahead, and of those one is farther out.
    right = moved_by(region, (0.0, -500.0, 0.0))
    flat, plan = planned(right)
    middles = on_car(flat, plan)[2][2:] - plan.anchor.surface_mm
    assert np.sign(middles @ ahead).tolist() == [1.0, 1.0, -1.0, -1.0]
    assert np.sign(middles @ left).tolist() == [-1.0, 1.0, -1.0, 1.0]
    # Upright on its side: the upper two come first.
    turned = region.mesh.vertices_mm[:, [0, 2, 1]] * [1.0, -1.0, 1.0] + [0.0, 700.0, 0.0]
    flat, plan = planned(Region(Mesh(turned, region.mesh.faces), region.loops))
    middles = on_car(flat, plan)[2][2:] - plan.anchor.surface_mm
    assert np.sign(middles @ up).tolist() == [1.0, 1.0, -1.0, -1.0]
    assert np.sign(middles @ ahead).tolist() == [1.0, -1.0, 1.0, -1.0]


def too_long(region: Region, *, at: tuple[float, float], by: float) -> Flat:
    """Film on a plane that is too long along x round a place."""
    x, y = region.mesh.vertices_mm[:, :2].T
    near = np.exp(-(((x - at[0]) / 60) ** 2) - ((y - at[1]) / 60) ** 2)
    return flat_with(region, np.column_stack((x + by * (x - at[0]) * near, y)))


def test_the_part_with_film_too_much_is_wiped_last() -> None:
    region = sheet("plane")
    # It reaches into the part behind as well; most of it is ahead and on the left.
    _, plan = planned(region, too_long(region, at=(60.0, 190.0), by=0.08))
    assert [sweep.excess_mm > 1.0 for sweep in plan.sweeps] == [False] * 5 + [True]
    assert plan.sweeps[-1].excess_mm == sum(sweep.excess_mm for sweep in plan.sweeps)
    assert plan.wipes[0] == "From O to the front: one band as wide as the squeegee."
    assert plan.wipes[1] == "From O to the rear: one band as wide as the squeegee."
    last = f"{plan.sweeps[-1].excess_mm:.0f} mm too much film"
    assert plan.wipes[-1].startswith("To the front of O: from the band to the car's left. " + last)
    assert not any("too much" in words for words in plan.wipes[:-1])


def test_strokes_go_from_laid_film_to_the_edge() -> None:
    _, plan = planned(sheet("plane"))
    for sweep in plan.sweeps:
        assert (sweep.middle_mm - plan.anchor.flat_mm) @ sweep.along > 0.0
        assert len(sweep.arrows) == (1 if sweep.is_first else 3)
        for start, end in sweep.arrows - plan.anchor.flat_mm:
            assert 0.0 <= start @ sweep.along < 80.0
            assert end @ sweep.along > 120.0


@pytest.mark.parametrize(("wide", "two"), [(49, False), (53, True)])
def test_a_piece_longer_than_a_metre_wants_two_people(wide: int, two: bool) -> None:
    _, plan = planned(sheet("plane", wide=wide, high=11))
    assert plan.two_people == two
    assert plan.hold[0].startswith("Two people. ") == two


def test_marks_stand_inside_the_film_and_no_two_tapes_tell_the_same() -> None:
    flat, plan = planned(sheet("sphere", wide=41, high=41))
    outline = LinearRing(flat.points_mm[sheet("sphere", wide=41, high=41).loops[0].vertices])
    ends = np.array([[end.flat_mm for end in tape.ends] for tape in plan.tapes])
    assert min(Point(end).distance(outline) for end in ends.reshape(-1, 2)) > 5.0
    gains = [tape.car_mm - tape.liner_mm for tape in plan.tapes]
    assert gains[0] == max(gains)
    for i, tape in enumerate(plan.tapes):
        for other in ends[:i]:
            apart = min(
                np.linalg.norm(ends[i] - turn, axis=1).sum() for turn in (other, other[::-1])
            )
            assert apart > 0.4 * tape.liner_mm


def test_heat_is_where_strain_says_so() -> None:
    region = sheet("plane", wide=31, high=21)
    points = region.mesh.vertices_mm[:, :2].copy()
    # The right half of the film is 1/1.08 as long: stretched by 8 %, more than goes unnoticed.
    points[:, 0] = np.where(points[:, 0] > 0, points[:, 0] / 1.08, points[:, 0])
    _, plan = planned(region, flat_with(region, points))
    (heat,) = plan.heats
    assert heat.kind is HeatKind.STRETCH
    assert heat.strain == pytest.approx(0.08)
    assert heat.at.surface_mm[0] > 0
    assert plan.steps[-1].startswith("Heat: hot air burns")


def test_a_plan_can_be_written_down() -> None:
    _, plan = planned(sheet("sphere"))
    results = plan_results(plan)
    assert results["steps"] == list(plan.steps)
    assert isinstance(plan.anchor, Place)
    assert [len(each["ends"]) for each in results["tapes"]] == [2] * len(plan.tapes)


def test_the_parts_of_an_edge_are_one_wrap_at_its_worst_place() -> None:
    region = sheet("plane", wide=31, high=21)
    flat = flatten(region.mesh, generic_film())
    far = region.loops[0].edges[2]
    wraps = []
    for turn in (0.02, 0.008, 0.001):
        # Round an outer radius 1 / k a square fold crowds by k w / (1 + k w).
        fold = Fold(np.full(3, turn), np.zeros(3), np.full(3, SQUARE), np.full(3, np.inf))
        ends = np.array(((-100.0, 200.0), (0.0, 200.0), (100.0, 200.0)))
        depth = np.full(3, 8.0)
        wraps.append((far, Depths(ends, ends, depth, 8.0, (Reason.NONE,) * 3, fold)))
    plan = plan_piece(flat, region, wraps=wraps)
    (heat,) = plan.heats
    assert heat.kind is HeatKind.WRAP
    assert heat.strain == pytest.approx(-0.16 / 1.16)
    assert (
        "warm the wrap round “far” when the flat has set: it is crowded by up to 14 %" in heat.words
    )
