import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from film.shapes import car_like, film_of
from layflat.base import SettingError
from layflat.film import Film
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.flatten import best_scale
from layflat.film.frames import frames_of_mesh
from layflat.film.tension import SLACK_STIFFNESS, RelaxedLaw

strains = st.floats(-0.5, 0.5)
ratios = st.sampled_from([0.0, 0.3, 0.45, 0.499])
leftovers = st.sampled_from([0.0, 1e-3, 0.5, 1.0])


def number(law: HenckyLaw | RelaxedLaw, e1: float, e2: float) -> float:
    return float(law.density(np.array(e1), np.array(e2)))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(strains, strains, ratios)
def test_it_is_the_least_energy_over_all_that_fingers_may_take_up(
    e1: float, e2: float, poisson_ratio: float
) -> None:
    """Pipkin's relaxation by brute force: the least over d1, d2 >= 0 of w(e1 + d1, e2 + d2)."""
    plain, law = HenckyLaw(poisson_ratio), RelaxedLaw(poisson_ratio, 0.0)
    found = minimize(
        lambda d: number(plain, e1 + d[0], e2 + d[1]),
        x0=(0.1, 0.1),
        bounds=((0, None), (0, None)),
        options={"ftol": 1e-15, "gtol": 1e-10},
    )
    assert number(law, e1, e2) == pytest.approx(float(found.fun), abs=1e-9)
    taken_up = law.taken_up(np.array(e1), np.array(e2))
    assert min(taken_up) >= 0.0
    assert number(plain, e1 + taken_up[0], e2 + taken_up[1]) == pytest.approx(
        number(law, e1, e2), abs=1e-15
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(strains, strains, strains, strains, ratios, leftovers)
def test_it_is_convex_and_nowhere_above_the_full_energy(
    a1: float, a2: float, b1: float, b2: float, poisson_ratio: float, left: float
) -> None:
    law = RelaxedLaw(poisson_ratio, left)
    ends = (number(law, a1, a2) + number(law, b1, b2)) / 2
    assert number(law, (a1 + b1) / 2, (a2 + b2) / 2) <= ends + 1e-12
    assert 0.0 <= number(law, a1, a2) <= number(HenckyLaw(poisson_ratio), a1, a2) + 1e-15


@settings(max_examples=80, deadline=None, derandomize=True)
@given(strains, strains, ratios, leftovers)
def test_its_stress_is_the_slope_of_its_energy_and_has_no_jumps(
    e1: float, e2: float, poisson_ratio: float, left: float
) -> None:
    law, step = RelaxedLaw(poisson_ratio, left), 1e-6
    s1, s2 = law.stress(np.array(e1), np.array(e2))
    rise1 = number(law, e1 + step, e2) - number(law, e1 - step, e2)
    rise2 = number(law, e1, e2 + step) - number(law, e1, e2 - step)
    # Where two regions meet the slope has a kink but no jump: an error of the size of the step.
    assert s1 == pytest.approx(rise1 / (2 * step), abs=3 * step)
    assert s2 == pytest.approx(rise2 / (2 * step), abs=3 * step)
    if left == 0.0:
        assert min(s1, s2) >= -1e-15
    near1, near2 = law.stress(np.array(e1 + step), np.array(e2 - step))
    assert max(abs(near1 - s1), abs(near2 - s2)) <= 2 * step


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.3, 0.45])
def test_the_three_regions_by_hand(poisson_ratio: float) -> None:
    nu, law, plain = poisson_ratio, RelaxedLaw(poisson_ratio, 0.0), HenckyLaw(poisson_ratio)
    assert number(law, 0.02, 0.03) == number(plain, 0.02, 0.03)
    assert number(law, -0.2, -0.1) == 0.0
    for e1, e2 in ((-0.2, 0.04), (0.04, -0.2)):
        assert number(law, e1, e2) == pytest.approx((1 - nu**2) * 0.04**2 / 2, rel=1e-12)
    pull, press = law.stress(np.array(0.04), np.array(-0.2))
    assert pull == pytest.approx((1 - nu**2) * 0.04, rel=1e-12)
    assert abs(press) < 1e-16
    # What fingers take up: all that is shorter than the freely narrowed film.
    along, across = law.taken_up(np.array(0.04), np.array(-0.2))
    assert along == 0.0
    assert across == pytest.approx(0.2 - nu * 0.04, rel=1e-12)


def test_what_is_left_where_film_is_slack_is_stated_and_counts() -> None:
    law, plain = RelaxedLaw(0.3), HenckyLaw(0.3)
    assert law.slack_stiffness == SLACK_STIFFNESS == 1e-3
    assert number(law, -0.1, -0.2) == pytest.approx(1e-3 * number(plain, -0.1, -0.2), rel=1e-12)
    assert number(RelaxedLaw(0.3, 1.0), -0.1, 0.2) == number(plain, -0.1, 0.2)


@pytest.mark.parametrize("left", [1e-3, 0.2])
def test_a_shape_may_be_descended_under_it(left: float) -> None:
    """The gradient over a mesh is that of the value, and the best scale is the least."""
    mesh = car_like(6, 5)
    energy = FlatEnergy(frames_of_mesh(mesh), RelaxedLaw(0.45, left))
    random = np.random.default_rng(3)
    points = mesh.vertices_mm[:, 0] + 1j * mesh.vertices_mm[:, 1]
    points = 1.03 * points + 15 * (random.normal(size=30) + 1j * random.normal(size=30))
    gradient = energy.state(points).gradient
    for i in range(0, len(points), 7):
        move = np.zeros_like(points)
        move[i] = 1e-4
        rise = energy.value(points + move) - energy.value(points - move)
        assert rise / 2e-4 == pytest.approx(gradient[i].real, abs=1e-5 * np.abs(gradient).max())
    scale = best_scale(energy, points)
    least = energy.value(points * scale)
    assert least <= energy.value(points * scale * 1.001)
    assert least <= energy.value(points * scale * 0.999)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(strains, strains, ratios, leftovers)
def test_swelling_is_the_slope_of_both_stresses(
    e1: float, e2: float, poisson_ratio: float, left: float
) -> None:
    step = 1e-7
    for law in (RelaxedLaw(poisson_ratio, left), HenckyLaw(poisson_ratio, 1.0 + 5 * left)):
        before = sum(law.stress(np.array(e1 - step), np.array(e2 - step)))
        after = sum(law.stress(np.array(e1 + step), np.array(e2 + step)))
        ways = [
            law.swelling(np.array(e1 + way), np.array(e2 + way)) for way in (-2 * step, 2 * step)
        ]
        slope = (after - before) / (2 * step)
        assert min(ways) - 1e-6 <= slope <= max(ways) + 1e-6


@pytest.mark.parametrize("poisson_ratio", [0.5, 0.7, -0.1, np.nan])
def test_a_ratio_out_of_physics_is_refused(poisson_ratio: float) -> None:
    for law in (RelaxedLaw, HenckyLaw):
        with pytest.raises(SettingError, match=r"Poisson ratio is .*below 0.5"):
            law(poisson_ratio)
    with pytest.raises(SettingError, match="Poisson"):
        film_of(poisson_ratio=poisson_ratio)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("youngs_modulus_mpa", -20.0, "modulus is -20 MPa"),
        ("youngs_modulus_mpa", 0.0, "modulus is 0 MPa"),
        ("youngs_modulus_mpa", np.inf, "modulus is inf"),
        ("thickness_um", -1.0, "thickness is -1 micrometres"),
    ],
)
def test_a_material_out_of_physics_is_refused(name: str, value: float, words: str) -> None:
    values = vars(film_of()) | {name: value}
    with pytest.raises(SettingError, match=words):
        Film(**values)


@pytest.mark.parametrize("left", [-0.1, 1.1, np.nan])
def test_the_leftover_is_a_part(left: float) -> None:
    with pytest.raises(SettingError, match="between 0 and 1"):
        RelaxedLaw(0.3, left)


@pytest.mark.parametrize("aversion", [0.0, -1.0, np.inf, np.nan])
def test_an_aversion_is_more_than_zero(aversion: float) -> None:
    with pytest.raises(SettingError, match="finger aversion"):
        HenckyLaw(0.3, aversion)
