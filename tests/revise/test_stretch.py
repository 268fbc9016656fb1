"""What fit notes say of stretch: closed forms, and notes of cars that agree or do not."""

import numpy as np
import pytest

from layflat.base import FloatArray
from layflat.revise import Field, NotedStretch, Taps, bend, noted_stretch, revise
from layflat.revise.stretch import places_in, stretch_of
from revise.panel import panel, short

PLACES = places_in(panel())


def plate(matrix: FloatArray) -> Field:
    """The free plate through exact readings at four places: bent nowhere, so even everywhere."""
    at = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 400.0], [0.0, 400.0]])
    moves = at @ (matrix - np.eye(2)).T
    taps = Taps(np.repeat(at, 2, axis=0), np.tile(np.eye(2), (4, 1)), np.arange(8))
    return bend(taps, moves.ravel(), np.zeros((8, 8)), reach_mm=None)


@pytest.mark.parametrize(("along", "across"), [(0.01, 0.0), (0.02, 0.005), (-0.01, -0.02)])
def test_an_even_stretch_is_told_exactly(along: float, across: float) -> None:
    mean, greatest = stretch_of(plate(np.diag([1.0 + along, 1.0 + across])), PLACES)
    assert mean == pytest.approx(along, abs=1e-9)
    assert greatest == pytest.approx(along, abs=1e-9)


def test_a_turn_is_no_stretch_and_changes_none() -> None:
    cos, sin = np.cos(0.1), np.sin(0.1)
    turn = np.array([[cos, -sin], [sin, cos]])
    assert stretch_of(plate(turn), PLACES) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert stretch_of(plate(turn @ np.diag([1.03, 1.0])), PLACES) == pytest.approx((0.03, 0.03))
    assert stretch_of(Field.still(), PLACES) == (0.0, 0.0)


def test_places_lie_on_the_film() -> None:
    assert len(PLACES) > 300
    assert np.hypot(*(PLACES - (200.0, 200.0)).T).min() > 19.0  # the round cut-out


def test_notes_tell_the_stretch_with_the_cars_scatter() -> None:
    """4 mm short along one side: the film beside it had to give as the field's own slope says."""
    cars = [("A", 4.0), ("B", 4.6), ("C", 3.4)]
    notes = [short(600, 100 + 40 * i, mm, car=car) for i, (car, mm) in enumerate(cars)]
    made = revise(panel(), notes)
    found = noted_stretch(made)
    h = 1e-4
    moved = [
        (made.field.at(PLACES + s) - made.field.at(PLACES - s)) / (2 * h) for s in h * np.eye(2)
    ]
    slopes = np.stack(moved, axis=2) + np.eye(2)
    # The greatest principal stretch is the root of the greater eigenvalue of FᵀF.
    squares = np.linalg.eigvalsh(np.einsum("nij,nik->njk", slopes, slopes))[:, 1]
    assert found.greatest == pytest.approx(np.sqrt(squares).max() - 1.0, abs=1e-6)
    assert 0.0 < found.mean < found.greatest
    assert found.cars == 3
    assert found.scatter is not None
    assert 0.0 < found.scatter < found.greatest
    assert "estimated from notes of 3 cars, not measured" in found.words()
    assert noted_stretch(revise(panel(), notes[:1])).scatter is None


def test_where_film_was_too_long_no_stretch_is_said() -> None:
    words = NotedStretch(mean=-0.01, greatest=0.0, scatter=None, cars=1).words()
    assert words == (
        "The notes ask for no more stretch than before "
        "(estimated from notes of 1 car, not measured)."
    )
