"""From fit notes to the next revision of a pattern."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, InputError, frozen
from layflat.pattern import Pattern
from layflat.revise.back import laid, on_base, with_before
from layflat.revise.carry import carried, moves
from layflat.revise.checks import contradictions, least_jacobian, require_whole
from layflat.revise.outline import Outline, sides_of
from layflat.revise.plate import Field, Taps, bend
from layflat.revise.readings import Reading, read_notes
from layflat.revise.records import Note, checked
from layflat.revise.summary import (
    Summary,
    defaults_said,
    new_lengths,
    odd_said,
    summary_of,
    swing_said,
)
from layflat.revise.weigh import Evidence, Scatter, covariance, scatter


@dataclass(frozen=True, eq=False)
class Revision:
    """One revision of a pattern.

    Attributes:
        number: 1 for the first.
        parent: the number before it; 0 is the base pattern.
        base: the pattern that all its notes were carried to.
        pattern: the revised pattern.
        notes: all notes that it rests on, as they were tapped.
        places_mm: (n, 2) float64, where each note is on the base pattern.
        where: the same in words.
        left_mm: for each note what it still asks for (the larger, where it has two), in mm.
        field: what carries the base pattern to the revised one.
        scatter: what the notes say of their own scatter.
        summary: how far it was moved.
        said: sentences for a person: defaults, contradictions, odd cars, narrow places.
    """

    number: int
    parent: int
    base: Pattern
    pattern: Pattern
    notes: tuple[Note, ...]
    places_mm: FloatArray
    where: tuple[str, ...]
    left_mm: FloatArray
    field: Field
    scatter: Scatter
    summary: Summary
    said: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "places_mm", frozen(self.places_mm).reshape(-1, 2))
        object.__setattr__(self, "left_mm", frozen(self.left_mm).reshape(-1))

    def to_base(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: where points of the revised pattern lie on the base pattern."""
        return self.field.undone(points_mm)

    def moved(self, *, every_mm: float = 5.0) -> tuple[FloatArray, FloatArray]:
        """Points along the base's outline, and how each was moved, both (n, 2) float64 in mm."""
        outline = Outline(self.base.outline, self.base.outline_corners)
        stations = np.arange(0.0, outline.length_mm, every_mm)
        stations = np.union1d(stations, outline.starts_mm[outline.corners])
        shifts = moves(outline, *outline.place(stations)).of(self.field, len(stations))
        return outline.points(stations), shifts


def revise(
    base: Pattern,
    notes: Sequence[Note],
    *,
    earlier: Sequence[Revision] = (),
    parent: int | None = None,
    reach_mm: float | None = None,
) -> Revision:
    """The smallest smooth change of a pattern that meets its fit notes as well as they agree.

    Notes that were made on a revision count from the base: they are carried there by the
    revision's inverse, and what it already changed is added. So a revision always rests on
    all notes given, and taking it back is going to its parent.

    Args:
        base: the pattern as it was before any revision.
        notes: all fit notes, those that earlier revisions rest on too if they still count.
        earlier: the revisions of this base so far, in order; those that notes name must be there.
        parent: number of the revision that it follows; by default the last, 0 for the base.
        reach_mm: at this distance a twentieth of a note's move is left; by default the likeliest.

    Returns:
        The next revision.

    Raises:
        InputError: a note cannot be used, notes fight until the film would fold, or an outline or
            a cut-out would reach another; says which.
    """
    named = checked(tuple(notes))
    outline = Outline(base.outline, base.outline_corners)
    readings = _readings(base, named, outline, earlier)
    taps = Taps.join([reading.taps for reading in readings])
    evidence = _evidence(readings)
    if reach_mm is not None:
        if not (math.isfinite(reach_mm) and 20.0 <= reach_mm <= 5000.0):
            raise InputError(f"The reach is {reach_mm:g} mm; it must lie between 20 and 5000 mm.")
        found = scatter(evidence, taps.gram, reaches_mm=(reach_mm,))
    else:
        found = scatter(evidence, taps.gram)
    field = _field(taps, evidence, found)
    jacobian = least_jacobian(field, outline, readings)
    done = carried(base, outline, field)
    narrow = require_whole(base, done.pattern, readings)
    pattern = replace(done.pattern, edges=new_lengths(base, outline, done.pattern))
    left = evidence.values - taps.of(field)
    summary = summary_of(
        base, outline, field, pattern,
        stray_mm=done.stray_mm, jacobian=jacobian, left=left,
    )  # fmt: skip
    said = (
        *defaults_said(named, found, reach_mm),
        *contradictions(readings),
        *odd_said(found),
        *swing_said(summary, evidence.values),
        *narrow,
    )
    last = max((revision.number for revision in earlier), default=0)
    return Revision(
        number=last + 1,
        parent=last if parent is None else parent,
        base=base,
        pattern=pattern,
        notes=named,
        places_mm=np.array([reading.point_mm for reading in readings]),
        where=tuple(reading.words for reading in readings),
        left_mm=_by_note(readings, left),
        field=field,
        scatter=found,
        summary=summary,
        said=said,
    )


def fields_without(made: Revision, *, earlier: Sequence[Revision] = ()) -> tuple[Field, ...]:
    """For each car the field of a revision without its notes, the others weighed as they were.

    Args:
        made: a revision with notes of two cars or more.
        earlier: the revisions that its notes rest on.

    Raises:
        InputError: one of those is missing, or the field cannot be bent.
    """
    outline = Outline(made.base.outline, made.base.outline_corners)
    readings = _readings(made.base, made.notes, outline, earlier)
    found = []
    for car in made.scatter.weights:
        others = [reading for reading in readings if reading.note.car != car]
        taps = Taps.join([reading.taps for reading in others])
        found.append(_field(taps, _evidence(others), made.scatter))
    return tuple(found)


def _readings(
    base: Pattern, notes: Sequence[Note], outline: Outline, earlier: Sequence[Revision]
) -> tuple[Reading, ...]:
    """What the notes say on the base, with what earlier revisions changed already."""
    readings = read_notes(on_base(tuple(notes), earlier), base, outline, sides_of(base, outline))
    return tuple(with_before(reading, laid(earlier, reading.note)) for reading in readings)


def _evidence(readings: Sequence[Reading]) -> Evidence:
    sizes = [len(reading.values) for reading in readings]
    noise = np.zeros((sum(sizes), sum(sizes)))
    first = 0
    for reading, size in zip(readings, sizes, strict=True):
        noise[first : first + size, first : first + size] = reading.noise
        first += size
    names = tuple(dict.fromkeys(reading.note.car for reading in readings))
    cars = np.repeat([names.index(reading.note.car) for reading in readings], sizes)
    values = np.concatenate([reading.values for reading in readings])
    return Evidence(values, noise, cars.astype(np.int64), names)


def _field(taps: Taps, evidence: Evidence, found: Scatter) -> Field:
    weights = np.array([found.weights[name] for name in evidence.names])
    shared = found.shared_mm**2
    gram = taps.gram(found.reach_mm)
    _, errors = covariance(evidence, gram, weights, shared, found.car_mm**2)
    return bend(taps, evidence.values, errors / shared, reach_mm=found.reach_mm)


def _by_note(readings: Sequence[Reading], left: FloatArray) -> FloatArray:
    first, found = 0, []
    for reading in readings:
        size = len(reading.values)
        part = left[first : first + size]
        found.append(float(part[np.argmax(np.abs(part))]))
        first += size
    return np.array(found)
