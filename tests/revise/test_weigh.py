"""How cars are weighed: against a published trial of trials, and by simulation."""

import numpy as np
import pytest

from layflat.revise.weigh import Evidence, scatter, sizes

# The thirteen trials of the vaccine BCG: cases and others, vaccinated and not (G. A. Colditz and
# others, JAMA 271 (1994) 698–702; table and results from memory). Log relative risks.
TRIALS = np.array(
    [
        (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
        (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619),
        (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
        (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
    ],
    float,
)  # fmt: skip


def test_restricted_likelihood_gives_the_published_scatter_of_trials() -> None:
    # Published for these data by restricted maximum likelihood: τ² = 0.3132, mean −0.7145; from
    # memory. Cochran's Q, 152.23, says that the table is the right one.
    a, b, c, d = TRIALS.T
    risks = np.log(a / (a + b)) - np.log(c / (c + d))
    variances = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    fixed = np.average(risks, weights=1 / variances)
    assert np.sum((risks - fixed) ** 2 / variances) == pytest.approx(152.23, abs=0.01)
    names = tuple(str(i) for i in range(13))
    evidence = Evidence(risks, np.diag(variances), np.arange(13), names)
    _, between = sizes(evidence, np.ones((13, 13)), shared_mm=1000.0)
    assert between**2 == pytest.approx(0.3132, abs=2e-4)
    mean = np.average(risks, weights=1 / (variances + between**2))
    assert mean == pytest.approx(-0.7145, abs=2e-4)


def gram_of(places: np.ndarray, reach: float) -> np.ndarray:
    from layflat.revise.plate import influence

    return influence(np.abs(places[:, None] - places[None]), reach)


def drawn(seed: int, *, cars: int, each: int, car_mm: float) -> tuple[Evidence, np.ndarray]:
    rng = np.random.default_rng(seed)
    places = np.tile(np.linspace(0, 2000, each), cars)
    car = np.repeat(np.arange(cars), each)
    low = np.linalg.cholesky(gram_of(np.linspace(0, 2000, each), 300.0) + 1e-9 * np.eye(each))
    shared = low @ rng.normal(size=each) * 1.5
    own = np.concatenate([low @ rng.normal(size=each) * car_mm for _ in range(cars)])
    values = np.tile(shared, cars) + own + rng.normal(0, 0.3, cars * each)
    return Evidence(values, 0.09 * np.eye(len(values)), car, tuple("abcdefgh"[:cars])), places


def test_the_scatter_of_drawn_cars_is_found_again() -> None:
    found = []
    for seed in range(6):
        evidence, places = drawn(seed, cars=6, each=14, car_mm=0.8)
        found.append(sizes(evidence, gram_of(places, 300.0)))
    shared, car = np.mean(found, axis=0)
    assert shared == pytest.approx(1.5, rel=0.2)
    assert car == pytest.approx(0.8, rel=0.2)


def test_one_odd_car_counts_little_and_the_others_fully() -> None:
    evidence, places = drawn(3, cars=5, each=10, car_mm=0.2)
    values = evidence.values + np.where(evidence.cars == 2, 4.0, 0.0)
    odd = Evidence(values, evidence.noise, evidence.cars, evidence.names)
    found = scatter(odd, lambda reach: gram_of(places, reach))
    assert found.weights["c"] < 0.2
    assert min(found.weights[name] for name in "abde") > 0.4
    assert found.car_mm < 1.0


def test_of_one_car_nothing_is_said_of_scatter() -> None:
    evidence, places = drawn(4, cars=1, each=8, car_mm=0.5)
    found = scatter(evidence, lambda reach: gram_of(places, reach))
    assert (found.car_mm, found.weights) == (0.0, {"a": 1.0})
