"""Pieces and layouts that the tests of this part share."""

from collections.abc import Sequence

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from layflat.nest import Layout, Placement, Request, Section, Stock
from layflat.pattern import Curve, Pattern


def piece(
    points: Sequence[Sequence[float]],
    *,
    name: str = "piece",
    bulges: Sequence[float] | None = None,
    holes: Sequence[Sequence[Sequence[float]]] = (),
) -> Pattern:
    """A pattern of straight lines, or with bulges; holes are given clockwise."""
    return Pattern(
        name=name,
        outline=Curve(
            points_mm=np.array(points, dtype=np.float64),
            bulges=np.zeros(len(points)) if bulges is None else np.array(bulges),
        ),
        cut_outs=tuple(
            Curve(points_mm=np.array(hole, dtype=np.float64), bulges=np.zeros(len(hole)))
            for hole in holes
        ),
    )


def rectangle(width: float, height: float, *, name: str = "rectangle") -> Pattern:
    """A rectangle from the origin."""
    return piece([(0, 0), (width, 0), (width, height), (0, height)], name=name)


def disc(radius: float, *, name: str = "disc") -> Pattern:
    """A circle of two arcs about the origin."""
    return piece([(radius, 0), (-radius, 0)], bulges=[1.0, 1.0], name=name)


bounded = settings(deadline=None, derandomize=True, max_examples=40)
"""Properties: quick, and the same examples every time."""

HOOK = [(0, 0), (90, 0), (90, 30), (30, 30), (30, 60), (0, 60)]
"""An L without any symmetry: mirrored and turned copies are told apart."""


@st.composite
def stars(draw: st.DrawFn) -> Pattern:
    """A star-shaped outline, convex or not, of lines and bent arcs, anywhere near the origin."""
    count = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(40, 120), min_size=count, max_size=count))
    shift = draw(st.tuples(st.floats(-500, 500), st.floats(-500, 500)))
    bulges = draw(st.lists(st.sampled_from([0.0, 0.0, 0.05]), min_size=count, max_size=count))
    angles = 2 * np.pi * np.arange(count) / count
    points = np.column_stack((radii * np.cos(angles), radii * np.sin(angles))) + shift
    return piece(points.tolist(), bulges=bulges, name=f"star{count}")


def two_hooks(**changes: float) -> Layout:
    """Two hooks laid into each other by hand, 5 mm apart, on 95 mm between the margins."""
    pattern = piece(HOOK, name="hook")
    stock = Stock(width_mm=135, edge_margin_mm=20, end_margin_mm=10)
    first = Placement(pattern=pattern, number=1, copy=1, section=0, turn_deg=0, x_mm=10, y_mm=20)
    second = Placement(
        pattern=pattern,
        number=2,
        copy=2,
        section=0,
        turn_deg=changes.get("turn_deg", 180.0),
        x_mm=100 + changes.get("x_mm", 0.0),
        y_mm=115 + changes.get("y_mm", 0.0),
    )
    return Layout(
        stock=stock,
        gap_mm=5,
        placements=(first, second),
        sections=(Section(start_mm=0, end_mm=110),),
        length_mm=110,
        piece_area_mm2=2 * 3600,
        lower_bound_mm=0,
        seed=1,
        seconds=1,
        requests=(Request(pattern=pattern, copies=2),),
    )
