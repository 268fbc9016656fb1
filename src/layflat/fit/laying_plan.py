"""How one piece is laid: first hold, first pull, order of sweeps, measured pulls, and heat."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from layflat.base import FloatArray
from layflat.film import Flat, to_surface
from layflat.fit.fingers import Fingers, find_fingers, parts_of
from layflat.fit.laying_anchor import (
    Place,
    Pull,
    find_anchor,
    find_pull,
    place_of,
    surface_direction,
)
from layflat.fit.laying_sweeps import Sweep, find_sweeps
from layflat.fit.laying_tape import Tape, find_tapes
from layflat.pattern import Depths, fold_strain
from layflat.surface import Edge, Region

HEAT_CAUTION: Final = (
    "Heat: hot air burns skin, paint and film, and lights alcohol vapour. Let tack dry off first, "
    "keep the air moving, try the temperature on your own hand's distance; the film maker's limits "
    "go first."
)
"""Common practice, no source."""

STROKES: Final = "Strokes overlap by a third; those beside the band begin next to O."
"""Common practice, no source."""

WARM_FROM: Final = 0.01
"""A wrap that is crowded or stretched by less goes round cold. Common practice, no source."""

_LEAST_MM2 = 400.0
_MOST_HEATS = 4

_TWO_PEOPLE_MM = 1000.0
"""One person's hands hold no longer piece at both ends (common practice, no source)."""


class HeatKind(StrEnum):
    """Why film is warmed."""

    WRAP = "wrap"
    STRETCH = "stretch"


@dataclass(frozen=True, eq=False)
class Heat:
    """A place where film is warmed.

    Attributes:
        kind: why.
        at: the place that asks most.
        strain: of the film there, a fraction; negative where it is crowded.
        words: what to do there.
    """

    kind: HeatKind
    at: Place
    strain: float
    words: str

    @property
    def sentence(self) -> str:
        """What to do there, as a sentence."""
        return f"{self.words[0].upper()}{self.words[1:]}"


@dataclass(frozen=True, eq=False, kw_only=True)
class PiecePlan:
    """How one piece is laid.

    Attributes:
        anchor: the first hold.
        anchor_strain: the strain there, a fraction.
        pull: the line that is laid first.
        sweeps: in their order.
        tapes: measured pulls, the strongest first.
        heats: where film is warmed, wraps last, since they go round last.
        two_people: whether one person's hands do not hold it at both ends.
        hold: sentences on anchor and first pull.
        wipes: a sentence for each sweep, by its number.
    """

    anchor: Place
    anchor_strain: float
    pull: Pull
    sweeps: tuple[Sweep, ...]
    tapes: tuple[Tape, ...]
    heats: tuple[Heat, ...]
    two_people: bool
    hold: tuple[str, ...] = ()
    wipes: tuple[str, ...] = ()

    @property
    def steps(self) -> tuple[str, ...]:
        """All of it in sentences, in the order of work."""
        return tuple(_steps(self))


def plan_piece(
    flat: Flat,
    region: Region,
    *,
    wraps: Sequence[tuple[Edge, Depths]] = (),
    fingers: Fingers | None = None,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0),
) -> PiecePlan:
    """The plan of a piece.

    Args:
        flat: as it lies on the car.
        region: its surface with its edges.
        wraps: its wrapped edges, as `layflat.pattern.Made` has them.
        fingers: where it fingers, if that has been found already.
        up, forward: unit vectors of the body.
    """
    fingers = fingers or find_fingers(flat)
    anchor, calm = find_anchor(flat)
    sides = _Sides(np.asarray(up), np.asarray(forward))
    pull = find_pull(flat, anchor, up=sides.up, forward=sides.forward)
    sweeps = find_sweeps(flat, anchor, pull, fingers.zones, up=sides.up, forward=sides.forward)
    tapes = find_tapes(flat, region, anchor)
    heats = (*_stretched(flat), *_wrapped(flat, wraps))
    plan = PiecePlan(
        anchor=anchor,
        anchor_strain=calm,
        pull=pull,
        sweeps=sweeps,
        tapes=tapes,
        heats=heats,
        two_people=wants_two_people(flat),
    )
    return replace(plan, hold=tuple(_hold(plan)), wipes=tuple(_wipes(flat, plan, sides)))


def wants_two_people(flat: Flat) -> bool:
    """Whether a piece is longer than what one person's hands hold at both ends."""
    return bool(np.ptp(flat.points_mm, axis=0).max() > _TWO_PEOPLE_MM)


def plan_results(plan: PiecePlan) -> dict[str, Any]:
    """A plan for a report: places in the flat and on the body, in mm."""
    return {
        "anchor": _place(plan.anchor),
        "pull": {
            "along": plan.pull.along,
            "stretch": plan.pull.stretch,
            "is_pulled": plan.pull.is_pulled,
        },
        "sweeps": [
            {"number": sweep.number, "along": sweep.along, "arrows_mm": sweep.arrows}
            for sweep in plan.sweeps
        ],
        "tapes": [
            {
                "letters": list(tape.letters),
                "ends": [_place(end) for end in tape.ends],
                "liner_mm": tape.liner_mm,
                "car_mm": tape.car_mm,
                "sentence": tape.sentence,
            }
            for tape in plan.tapes
        ],
        "heats": [
            {"kind": heat.kind.value, "at": _place(heat.at), "strain": heat.strain,
             "words": heat.words}
            for heat in plan.heats
        ],
        "two_people": plan.two_people,
        "steps": list(plan.steps),
    }  # fmt: skip


def _place(place: Place) -> dict[str, FloatArray]:
    return {"flat_mm": place.flat_mm, "surface_mm": place.surface_mm}


def _stretched(flat: Flat) -> Iterator[Heat]:
    """Places that are stretched beyond the film's limit, the largest first."""
    limit = flat.film.stretch_limit
    over = np.flatnonzero(flat.strain.greatest > 1.0 + limit)
    if not len(over):
        return
    faces, areas = flat.mesh.faces[over], flat.mesh.face_areas_mm2[over]
    of_face = parts_of(faces)
    sizes = np.bincount(of_face, areas)
    for part in np.argsort(-sizes, kind="stable")[:_MOST_HEATS]:
        if sizes[part] < _LEAST_MM2:
            return
        mine = over[of_face == part]
        worst = mine[np.argmax(flat.strain.greatest[mine])]
        strain = float(flat.strain.greatest[worst] - 1.0)
        at = place_of(flat, flat.points_mm[flat.mesh.faces[worst]].mean(axis=0))
        yield Heat(
            HeatKind.STRETCH,
            at,
            strain,
            f"warm it evenly before it is stretched: {100 * strain:.0f} % here, more than the "
            f"{100 * limit:g} % that go unnoticed. Pull slowly, let it cool before you let go.",
        )


def _wrapped(flat: Flat, wraps: Sequence[tuple[Edge, Depths]]) -> Iterator[Heat]:
    """Wraps that film does not go round cold, each edge at its worst place.

    Reliefs part an edge; its parts are one wrap to the person who lays it.
    """
    worst: dict[str, tuple[float, Edge, Depths, int]] = {}
    for edge, depths in wraps:
        strain = np.where(np.isfinite(depths.mm), fold_strain(depths.fold, depths.mm), 0.0)
        strain = np.where(depths.mm > 0.0, strain, 0.0)
        at = int(np.argmax(np.abs(strain)))
        most = float(strain[at])
        if not WARM_FROM <= abs(most) < np.inf:
            continue
        if edge.name not in worst or abs(most) > abs(worst[edge.name][0]):
            worst[edge.name] = (most, edge, depths, at)
    for most, edge, depths, at in worst.values():
        name = f"“{edge.name}”" if edge.name else "an edge"
        what = "crowded" if most < 0.0 else "stretched"
        surface = to_surface(flat, depths.points[at])[0]
        yield Heat(
            HeatKind.WRAP,
            Place(depths.points[at], surface),
            most,
            f"warm the wrap round {name} when the flat has set: it is {what} by up to "
            f"{100 * abs(most):.0f} %.",
        )


@dataclass(frozen=True, eq=False)
class _Sides:
    """The body's directions in words."""

    up: FloatArray
    forward: FloatArray

    def words(self, direction: FloatArray) -> str:
        """Where a direction on the car goes."""
        left = np.cross(self.up, self.forward)
        known = {
            "to the front": self.forward,
            "to the rear": -self.forward,
            "upwards": self.up,
            "downwards": -self.up,
            "to the car's left": left,
            "to the car's right": -left,
        }
        return max(known, key=lambda name: float(direction @ known[name]))


def _hold(plan: PiecePlan) -> Iterator[str]:
    """The anchor and the first pull in sentences."""
    people = "Two people. " if plan.two_people else ""
    yield (
        f"{people}Anchor at O: tack there, slip everywhere else. The film is strained by "
        f"{100 * plan.anchor_strain:.1f} % there."
    )
    if plan.pull.is_pulled:
        yield (
            "Pull along the line of arrow 1 before anything is wiped: film is stretched along it "
            f"by {100 * plan.pull.stretch:.1f} % in the mean, more than across."
        )
    else:
        then = ", then stretch what is measured" if plan.tapes else " as it is"
        yield f"No line has to be pulled more than another: lay it down{then}."


def _wipes(flat: Flat, plan: PiecePlan, sides: _Sides) -> Iterator[str]:
    """The sweeps in sentences."""

    def to(direction: FloatArray) -> str:
        return sides.words(surface_direction(flat, plan.anchor, direction))

    for sweep in plan.sweeps:
        along = to(sweep.along)
        if sweep.is_first:
            yield f"From O {along}: one band as wide as the squeegee."
            continue
        half = to(plan.pull.along if sweep.is_ahead else -plan.pull.along)
        more = ""
        if sweep.excess_mm >= 1.0:
            more = f" {sweep.excess_mm:.0f} mm too much film: out to the edge, never to one corner."
        yield f"{half[0].upper()}{half[1:]} of O: from the band {along}.{more}"


def _steps(plan: PiecePlan) -> Iterator[str]:
    """The plan in sentences."""
    yield from plan.hold
    if plan.tapes:
        yield "Measure while it still slips; what is given for the car is along its surface:"
        for tape in plan.tapes:
            yield tape.sentence
    else:
        yield "No pull needs a tape: nowhere is film stretched by 2 mm between two marks."
    yield STROKES
    for sweep, words in zip(plan.sweeps, plan.wipes, strict=True):
        yield f"{sweep.number}: {words}"
    for heat in plan.heats:
        yield heat.sentence
    if plan.heats:
        yield HEAT_CAUTION
