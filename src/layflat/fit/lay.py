"""A given flat piece laid on a surface: where film comes to rest, and what that asks of it.

`layflat.film.flatten` asks which flat shape a surface takes; this asks the other way round where a
given shape goes. The theory is in docs/theory-fit.md.
"""

import math
from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
import shapely
from shapely import Polygon

from layflat.base import FloatArray, InputError, Progress, SettingError, part_of, silent
from layflat.film import (
    MAX_FINGER_AVERSION,
    MAX_STEPS,
    RELATIVE_TOLERANCE,
    ComplexArray,
    Film,
    Flat,
    HenckyLaw,
    RelaxedLaw,
    flatten,
    sheet_loops,
    to_flat,
)
from layflat.fit.lay_anchor import Anchor, Pinned, drawn_in, pinned
from layflat.fit.lay_chart import chart_of, flat_loops
from layflat.fit.lay_descent import slide
from layflat.fit.lay_edge import checked_outline
from layflat.fit.lay_energy import Balance, Law, LayEnergy
from layflat.fit.lay_piece import PieceMesh, checked_piece, triangulated
from layflat.fit.lay_result import Laid, laid
from layflat.fit.lay_start import Motion, Placement, as_complex, as_plane, best_fit, placed, rigid
from layflat.surface import Mesh

HANGING_SHARE = 0.01
"""What film that hangs free beyond the surface counts with, over film that lies on it."""

MOST_HANGING = 0.75
"""A piece of which more than this part hangs beyond the surface is not for this surface."""

RELAXED_TOLERANCE = 2e-8
"""Balance of film that cannot push, where it may hang slack: twenty times that of the plain law.

Strains are then within 1e-4 of where they would end. Slack film, whose place nothing but
`SLACK_STIFFNESS` decides, would wander on by a millimetre or two.
"""

_RELAXED_SOFTNESS = 2.0
"""Film that pulls one way only, as a whole: as soft as this the descent takes the fewest steps."""

_REST_STEPS = 15
_CLEAR_SPACINGS = 2.0
_FEWEST_SPACINGS = 4.0
_MARGIN = 1.3


def lay(
    piece: Polygon,
    surface: Mesh,
    film: Film,
    *,
    start: Placement | None = None,
    anchors: Sequence[Anchor] = (),
    law: Literal["plain", "relaxed"] = "plain",
    finger_aversion: float = 1.0,
    balance: Balance = Balance.FLATTENING,
    chart: Flat | None = None,
    outline: Sequence[FloatArray] | None = None,
    spacing_mm: float | None = None,
    max_steps: int = MAX_STEPS,
    progress: Progress = silent,
) -> Laid:
    """Lay *piece* on *surface* and let it slide, without friction, to where it is in balance.

    Args:
        piece: the flat shape in mm, with or without holes, seen from outside.
        surface: one sheet with an edge, in mm; beyond its edge it goes on smoothly.
        film: its Poisson ratio decides where film comes to rest; the rest scales the energy.
        start: where the piece is first put; without it, where its anchors ask for, and without
            those, where its outline fits the *outline* best.
        anchors: points that are held. What they leave free as a whole (everything without any, the
            turning with one) stays as it was first put.
        law: "plain", or "relaxed" for film that cannot push (tension field).
        finger_aversion: as in `flatten`, for the plain law; a pattern comes back to the panel it
            was made for under the aversion it was made with.
        balance: see `layflat.fit.lay_energy`.
        chart: the surface's own pattern, if it is known already.
        outline: closed loops (k, 3) to measure the laid edges from; the surface's own edge if None.
        spacing_mm: sides of the film's triangles; None lets them follow the surface's vertices.
        max_steps: limit of the descent's steps.
        progress: told each step; raise `StoppedError` from it to stop.

    Raises:
        InputError: the piece is no shape to lay, an anchor or the placement is off the piece or the
            surface, or most of the piece hangs beyond the surface.
        MeshError: the surface is not one sheet with an edge.
        SettingError: an option is out of its range.
        CheckError: a triangle came out turned over.
    """
    piece = checked_piece(piece)
    rule = _law(film, law, finger_aversion)
    tolerance, softness = RELATIVE_TOLERANCE, 1.0
    if law == "relaxed":
        tolerance, softness = RELAXED_TOLERANCE, _RELAXED_SOFTNESS
    if spacing_mm is not None and not (math.isfinite(spacing_mm) and spacing_mm > 0.0):
        raise SettingError(f"The spacing is {spacing_mm:g} mm; it must be more than zero.")
    if max_steps < 0:
        raise SettingError(f"The limit of steps is {max_steps}; it must not be negative.")
    goal = None if outline is None else checked_outline(outline)
    if chart is None:
        chart = flatten(surface, film, progress=part_of(progress, start=0.0, end=0.4))
    held = pinned(anchors, piece, chart)
    progress("placing the piece", 0.4)
    motion = _motion(piece, chart, start, held, goal)
    under = chart_of(chart, margin_mm=_margin_mm(piece, chart, motion))
    mesh = _triangles(piece, chart, motion, held, spacing_mm)
    progress("preparing the film", 0.45)
    energy = LayEnergy(
        mesh, under, rule, balance=balance, anchors=np.arange(len(held.names), dtype=np.int64)
    )
    places = motion.of(mesh.points_mm)
    _let_hang(energy, places, mesh.spacing_mm)
    precondition = energy.hold.preconditioner(energy.frames, softness=softness)

    def rest(places: ComplexArray) -> ComplexArray:
        return slide(
            energy,
            places,
            precondition,
            max_steps=_REST_STEPS,
            tolerance=tolerance,
            each_step=_drawing(progress),
        ).laying.places

    places = drawn_in(energy, places, held.places, rest) if held.names else places
    told = part_of(progress, start=0.55, end=1.0)
    done = slide(
        energy,
        places,
        precondition,
        max_steps=max_steps,
        tolerance=tolerance,
        each_step=lambda step, near: told(f"laying, step {step}", near),
    )
    return laid(
        mesh,
        energy,
        done,
        film=film,
        law=rule,
        finger_aversion=finger_aversion,
        pinned=held,
        outline=goal or [surface.vertices_mm[loop] for loop in sheet_loops(surface)],
    )


def _law(film: Film, law: str, finger_aversion: float) -> Law:
    if law not in ("plain", "relaxed"):
        raise SettingError(f"The law is {law!r}; it must be plain or relaxed.")
    if not (math.isfinite(finger_aversion) and 1.0 <= finger_aversion <= MAX_FINGER_AVERSION):
        raise SettingError(
            f"The finger aversion is {finger_aversion:g}; it must lie between 1 and "
            f"{MAX_FINGER_AVERSION:g}."
        )
    if law == "plain":
        return HenckyLaw(film.poisson_ratio, finger_aversion)
    if finger_aversion != 1.0:
        raise SettingError("Film that cannot push has no finger aversion; leave it at 1.")
    return RelaxedLaw(film.poisson_ratio)


def _motion(
    piece: Polygon,
    chart: Flat,
    start: Placement | None,
    held: Pinned,
    goal: Sequence[FloatArray] | None,
) -> Motion:
    """How the piece is first put on the chart."""
    if start is not None:
        return placed(chart, start)
    if len(held.names) > 1:
        return rigid(as_complex(held.flat_mm), held.places)
    loops = flat_loops(chart) if goal is None else [to_flat(chart, loop) for loop in goal]
    motion = best_fit(piece, loops)
    if held.names:
        there = held.places[0] - motion.of(held.flat_mm)[0]
        motion = Motion(motion.turn, motion.shift + complex(there))
    return motion


def _margin_mm(piece: Polygon, chart: Flat, motion: Motion) -> float:
    """How far the chart must go on beyond the surface for the piece to lie on it.

    Raises:
        InputError: most of the piece would hang beyond the surface.
    """
    loops = flat_loops(chart)
    outline = Polygon(loops[0], loops[1:])
    if not outline.is_valid:
        return 0.0
    there = shapely.transform(piece, lambda points: as_plane(motion.of(points)))
    beyond = there.difference(outline)
    if beyond.area > MOST_HANGING * piece.area:
        raise InputError(
            f"The piece covers {piece.area / 100.0:.0f} cm² and {beyond.area / 100.0:.0f} cm² of "
            "it would hang beyond the surface; trim it, place it better or take a larger surface."
        )
    far = shapely.distance(outline, shapely.points(shapely.get_coordinates(there))).max()
    return _MARGIN * float(far) + _FEWEST_SPACINGS * _spacing_mm(chart)


def _spacing_mm(chart: Flat) -> float:
    """The side of an even triangle of the chart's mean area."""
    return math.sqrt(chart.pattern_area_mm2 / len(chart.mesh.faces) / (math.sqrt(3.0) / 4.0))


def _triangles(
    piece: Polygon, chart: Flat, motion: Motion, held: Pinned, spacing_mm: float | None
) -> PieceMesh:
    """The piece's triangles, with corners where the surface's come to lie in it.

    Then both bend at the same lines, which is worth more than smaller triangles.
    """
    if spacing_mm is not None:
        return triangulated(piece, spacing_mm=spacing_mm, anchors_mm=held.flat_mm)
    return triangulated(
        piece,
        spacing_mm=min(_spacing_mm(chart), math.sqrt(piece.area) / _FEWEST_SPACINGS),
        anchors_mm=held.flat_mm,
        inner_mm=motion.back(chart.points_mm),
    )


def _let_hang(energy: LayEnergy, places: ComplexArray, spacing_mm: float) -> None:
    """Weaken the film that lies well beyond the surface: nothing holds it or presses it on."""
    outline = energy.chart.outline
    if outline is None:
        return
    beyond = energy.spots(places).faces >= energy.chart.own_faces
    gap = np.zeros(len(places))
    gap[beyond] = shapely.distance(outline, shapely.points(as_plane(places[beyond])))
    clear = gap > _CLEAR_SPACINGS * spacing_mm
    hangs = clear[energy.frames.corners[0]]
    for corner in energy.frames.corners[1:]:
        hangs = hangs & clear[corner]
    energy.shares = np.where(hangs, HANGING_SHARE, 1.0)


def _drawing(progress: Progress) -> Callable[[int, float], None]:
    return lambda _step, _near: progress("drawing the anchors in", 0.5)
