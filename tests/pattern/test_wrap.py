"""How deep flaps may be: by the film's stretch and by the room they have."""

import math

import numpy as np
import pytest
from shapely import Polygon

from flat_shapes import Line, circle_edge, panel, polygon_edges, straight
from layflat.film import Flat
from layflat.pattern import (
    EdgeFinish,
    Finish,
    from_flat,
    pattern_area_mm2,
    to_polygon,
)
from layflat.pattern.edges import FlatEdge
from layflat.pattern.fold import Limits
from layflat.pattern.wrap_depth import depths
from layflat.surface import Edge, EdgeKind, Region

WRAP = EdgeFinish(Finish.WRAP, 8.0)


def wrapped(flat: Flat, region: Region, depth: float = 8.0) -> tuple[Polygon, tuple[str, ...]]:
    made = from_flat(flat, region, name="piece", finishes=lambda _: EdgeFinish(Finish.WRAP, depth))
    return to_polygon(made.pattern), made.notes


@pytest.mark.parametrize("depth", [5.0, 10.0, 20.0])
def test_a_square_with_wraps_has_the_area_of_its_trapezia(depth: float) -> None:
    flat, region = panel(polygon_edges([(0, 0), (100, 0), (100, 100), (0, 100)]))
    made = from_flat(flat, region, name="square", finishes=lambda _: EdgeFinish(Finish.WRAP, depth))
    # Each end leans back by the depth and half a relief gap of 1 mm at 45°.
    lean = depth + 0.5 / np.sin(np.pi / 4)
    area = 100.0**2 + 4 * depth * (100.0 - lean)
    assert pattern_area_mm2(made.pattern) == pytest.approx(area, abs=0.02)
    assert len(made.pattern.outline.bulges) == 12
    assert made.notes == ()


def test_a_disc_with_a_wrap_is_a_larger_disc() -> None:
    flat, region = panel(circle_edge("rim", (0.0, 0.0), 100.0, step=5.0))
    piece, notes = wrapped(flat, region)
    assert piece.area == pytest.approx(np.pi * 108.0**2, rel=2e-4)
    assert notes == ()


def bay(radius: float) -> list[Line]:
    """A plate whose upper edge has a half-round bay."""
    turn = np.linspace(0.0, np.pi, 60)
    arc = [(200 + radius * np.cos(a), 200 - radius * np.sin(a)) for a in turn]
    top = [
        *(tuple(p) for p in straight((400, 200), (200 + radius, 200), 10)),
        *arc,
        *[tuple(p) for p in straight((200 - radius, 200), (0, 200), 10)][1:],
    ]
    sides = polygon_edges([(0, 0), (400, 0), (400, 200), (0, 200)])
    return [sides[0], sides[1], ("bay", top), sides[3]]


def test_a_tight_bay_in_a_wrapped_edge_is_scalloped_and_said() -> None:
    flat, region = panel(bay(30.0))
    piece, notes = wrapped(flat, region)
    assert any("“bay”" in note and "stretch" in note for note in notes)
    limit = flat.film.stretch_limit
    deepest = 30.0 * limit / (1.0 + limit)
    # The bay's ground is at y = 170; the flap there is as deep as the film stretches.
    ground = piece.intersection(Polygon([(199, 150), (201, 150), (201, 199), (199, 199)]))
    assert ground.bounds[3] == pytest.approx(170.0 + deepest, abs=0.1)


def test_flaps_do_not_meet_across_a_slot() -> None:
    width = 9.0
    corners = [(0, 0), (200, 0), (200, 100), (104.5, 100), (104.5, 30), (95.5, 30), (95.5, 100),
               (0, 100)]  # fmt: skip
    flat, region = panel(polygon_edges([(float(x), float(y)) for x, y in corners]))
    piece, notes = wrapped(flat, region)
    assert any("across a slot" in note for note in notes)
    across = piece.intersection(Polygon([(90, 69), (110, 69), (110, 71), (90, 71)]))
    assert len(across.geoms) == 2
    gap = across.geoms[0].distance(across.geoms[1])
    assert gap == pytest.approx(1.0, abs=0.1)
    assert gap < width


def test_an_opening_too_tight_to_wrap_stays_flush_and_says_so() -> None:
    ring = circle_edge("jet", (100.0, 100.0), 12.0, step=2.0, clockwise=True)
    flat, region = panel(polygon_edges([(0, 0), (200, 0), (200, 200), (0, 200)]), [ring])
    made = from_flat(flat, region, name="plate", finishes=lambda _: WRAP)
    assert [record.finish for record in made.pattern.edges if record.name == "jet"] == [
        EdgeFinish(Finish.FLUSH)
    ]
    assert any("too hollow" in note for note in made.notes)
    (hole,) = to_polygon(made.pattern).interiors
    assert Polygon(hole).area == pytest.approx(np.pi * 12.0**2, rel=2e-3)


@pytest.mark.parametrize("angle_deg", [15, 35, 60, 90, 120, 150, 170])
def test_folded_flaps_do_not_lie_double_at_any_outer_corner(angle_deg: float) -> None:
    tip = np.radians(angle_deg)
    corners = [(0.0, 0.0), (200.0, 0.0), (200.0 * np.cos(tip), 200.0 * np.sin(tip))]
    if angle_deg < 120:
        corners.insert(2, (corners[2][0] + 150.0, corners[2][1] + 80.0))
    flat, region = panel(polygon_edges(corners))
    piece, _ = wrapped(flat, region)
    base = Polygon(corners)
    below = piece.intersection(Polygon([(0, 0), (400, 0), (400, -50), (0, -50)]))
    # Beside the flap, the line may stray below the edge by as much as the deviation.
    flap = max(getattr(below, "geoms", [below]), key=lambda part: part.area)
    folded = [Polygon([(x, -y) for x, y in flap.exterior.coords])]
    # The other flap at the corner, turned so that its edge lies on the x axis, then folded.
    cos, sin = np.cos(tip), np.sin(tip)
    turned = Polygon([(x * cos + y * sin, y * cos - x * sin) for x, y in piece.exterior.coords])
    above = turned.intersection(Polygon([(0, 0), (400, 0), (400, 50), (0, 50)]))
    flap = max(getattr(above, "geoms", [above]), key=lambda part: part.area)
    other = [(x, -y) for x, y in flap.exterior.coords]
    folded.append(Polygon([(x * cos - y * sin, x * sin + y * cos) for x, y in other]))
    assert folded[0].area > 100.0
    near = base.buffer(0.05)
    assert folded[0].intersection(folded[1]).intersection(near).area < 1.0


def test_short_and_wrapped_edges_at_awkward_corners_give_one_sound_piece() -> None:
    star = [
        (r * np.cos(a), r * np.sin(a))
        for a, r in zip(np.arange(10) * np.pi / 5, [60.0, 25.0] * 5, strict=True)
    ]
    flat, region = panel(polygon_edges(star, step=5.0))
    for pattern in range(4):
        made = from_flat(
            flat,
            region,
            name="star",
            finishes=lambda edge, pattern=pattern: (
                WRAP
                if (int(edge.name.split()[1]) + pattern) % 4 < 2
                else EdgeFinish(Finish.SHORT, 2)
            ),
        )
        assert to_polygon(made.pattern).is_valid


def noisy_arch(radius: float, *, seed: int) -> list[Line]:
    """A band over a hollow half circle, its points off by 0.1 mm as on a scanned wheel arch."""
    random = np.random.default_rng(seed)
    turn = np.arange(math.pi, 0.0, -8.0 / radius)
    noise = random.normal(0.0, 0.1, len(turn))
    hollow = (radius + noise) * np.array([np.cos(turn), np.sin(turn)])
    side, top = radius + 120.0, radius + 160.0
    outer = [(radius, 0.0), (side, 0.0), (side, top), (-side, top), (-side, 0.0)]
    lines: list[Line] = [("arch", [(float(x), float(y)) for x, y in hollow.T])]
    for name, start, end in zip("abcde", outer, [*outer[1:], (-radius, 0.0)], strict=True):
        lines.append((name, [tuple(point) for point in straight(start, end, 10.0)]))
    return lines


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("radius", [350.0, 420.0])
def test_noise_of_a_scan_does_not_scallop_a_wheel_arch(radius: float, seed: int) -> None:
    """The film may be folded 8 mm deep here: 8 / (350 - 8) is half the limit of 5 %."""
    flat, region = panel(noisy_arch(radius, seed=seed))
    made = from_flat(
        flat,
        region,
        name="arch",
        finishes=lambda edge: (
            EdgeFinish(Finish.WRAP, 8.0) if edge.name == "arch" else EdgeFinish(Finish.FLUSH)
        ),
    )
    assert made.notes == ()
    line = np.array(to_polygon(made.pattern).exterior.coords)
    away = np.hypot(line[:, 0], line[:, 1])
    flap = away[(line[:, 1] > 40.0) & (away < radius + 20.0)]
    assert len(flap) > 50
    assert flap.min() > radius - 8.0 - 0.5
    assert flap.max() < radius - 8.0 + 0.5


def hollow_edge(points: np.ndarray, *, closed: bool = False) -> FlatEdge:
    return FlatEdge(
        Edge(EdgeKind.OPEN, np.zeros((1, 3)), "rim"), points, math.pi, math.pi, closed=closed
    )


def test_two_points_at_almost_one_place_do_not_pass_for_a_hollow() -> None:
    """A straight edge with a pair of points a thousandth of a millimetre apart, square to it."""
    x = np.arange(0.0, 301.0, 5.0)
    line = np.column_stack((x, np.zeros_like(x)))
    line = np.insert(line, 31, [[150.0, 1e-3], [155.0 - 1e-3, 1e-3]], axis=0)
    found = depths(hollow_edge(line), 8.0, Polygon(), limits=Limits(0.05, 0.1))
    assert found.mm.min() == pytest.approx(8.0)
    assert np.abs(found.outward - [0.0, -1.0]).max() < 0.01


@pytest.mark.parametrize("radius", [6.0, 30.0, 100.0])
@pytest.mark.parametrize("closed", [False, True])
def test_the_depth_on_a_round_rim_is_the_stretch_flange_s(radius: float, closed: bool) -> None:
    """W / (r - w) at the limit: stretch flange of sheet-metal handbooks, from memory."""
    count = 721 if closed else 361
    turn = -np.linspace(0.0, 2.0 * math.pi if closed else math.pi, count)
    rim = radius * np.column_stack((np.cos(turn), np.sin(turn)))
    found = depths(hollow_edge(rim, closed=closed), 8.0, Polygon(), limits=Limits(0.05, 0.1))
    wanted = min(8.0, radius * 0.05 / 1.05)
    assert found.mm == pytest.approx(np.full(len(found.mm), wanted), rel=0.01)
