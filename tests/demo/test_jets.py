"""Slopes carried along against derivatives from the handbook and against differences."""

import numpy as np
import pytest

from layflat.base import FloatArray
from layflat.demo import Design
from layflat.demo.body import mirror_field
from layflat.demo.curves import Profile
from layflat.demo.fields import Solid, bell, both, either, fold, step
from layflat.demo.jets import Jet, above, hypot, sqrt, within

AT = np.linspace(0.3, 4.7, 45)
X = Jet(AT, (1.0, None, None))
BEND = Profile((0, 0), (1, 4), (2, -3), (4, 2), (5, 0))


def rate(quantity: Jet) -> FloatArray:
    assert quantity.slopes is not None
    assert quantity.slopes[1] is None
    assert quantity.slopes[2] is None
    return np.broadcast_to(np.asarray(quantity.slopes[0], np.float64), AT.shape)


@pytest.mark.parametrize(
    ("quantity", "expected"),
    [
        (3.0 * X + 1.0, 3.0 + 0 * AT),
        (2.0 - X, -1.0 + 0 * AT),
        (X * X - X, 2 * AT - 1),
        (1.0 + X**3, 3 * AT**2),
        (X**2.6, 2.6 * AT**1.6),
        ((X + 1.0) / (X + 2.0), 1 / (AT + 2) ** 2),
        (X / 4.0, 0.25 + 0 * AT),
        (abs(X - 2.05), np.sign(AT - 2.05)),
        (sqrt(X), 0.5 / np.sqrt(AT)),
        (hypot(X, 2.0 * X), np.sqrt(5) + 0 * AT),
        (above(X, 2.05), np.where(AT > 2.05, 1.0, 0.0)),
        (within(X, 1.05, 3.05), np.where((AT > 1.05) & (AT < 3.05), 1.0, 0.0)),
        (step(X, width=2.0), 0.25 / np.cosh(AT / 2) ** 2),
        (bell(X, width=3.0), -2 * AT / 9 * np.exp(-((AT / 3) ** 2))),
        (fold(X - 2.0, radius=0.5), (AT - 2) / np.hypot(AT - 2, 0.5)),
    ],
)
def test_derivatives_are_those_of_the_handbook(quantity: Jet, expected: FloatArray) -> None:
    assert rate(quantity) == pytest.approx(expected, abs=1e-12)


def test_values_are_the_same_whether_slopes_are_carried_or_not() -> None:
    def formula(x: Jet) -> Jet:
        return both(BEND(x), either(x**2.2 - 3.0, 1.0 - x, blend=0.7), blend=1.3) * BEND.slope(x)

    assert np.array_equal(formula(X).value, formula(Jet(AT)).value)
    assert formula(Jet(AT)).slopes is None


@pytest.mark.parametrize("of", [BEND.__call__, BEND.slope])
def test_profiles_know_their_slopes(of: object) -> None:
    assert callable(of)
    near = 1e-6
    after, before = of(Jet(AT + near)).value, of(Jet(AT - near)).value
    assert rate(of(X)) == pytest.approx((after - before) / (2 * near), abs=1e-3)


def test_fields_know_their_gradients(design: Design) -> None:
    """Against central differences, near the skin, on the middle plane and far away."""
    random = np.random.default_rng(3)
    corner = np.array(design.high)
    points = random.uniform(np.array(design.low) - 200.0, corner + 200.0, (3000, 3))
    points[:500, 1] = 0.0
    for field, places in (
        (design.skin, points),
        (mirror_field(design), np.array(design.mirror_mm) + random.uniform(-200, 200, (999, 3))),
    ):
        assert isinstance(field, Solid)
        value, slope = field.with_gradient(places)
        assert np.array_equal(value, field(places))
        reach = 1e-4
        for axis in range(3):
            aside = reach * np.eye(3)[axis]
            by_difference = (field(places + aside) - field(places - aside)) / (2 * reach)
            far = np.abs(slope[:, axis] - by_difference) > 1e-4 * (1 + np.abs(by_difference))
            # A difference may straddle the few kinks, where a blend or a profile's piece ends.
            assert far.mean() < 2e-3
