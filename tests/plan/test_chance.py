"""The chance that an offcut is used, against sums by hand and a plain simulation."""

import numpy as np
import pytest

from layflat.base import SettingError
from layflat.plan import Storing, chance_of_use, offcut_worth

SMALL, LARGE = (300.0, 200.0), (1500.0, 900.0)


def test_without_past_jobs_it_is_laplaces_rule() -> None:
    """Any share is as likely as another: m / (m + 1) that one of m jobs has use for it."""
    found = chance_of_use((500, 500), [], jobs_ahead=1)
    assert found.chance == pytest.approx(1 / 2)
    assert chance_of_use((500, 500), [], jobs_ahead=9).chance == pytest.approx(9 / 10)
    assert found.saved_mm2 == 0.5 * 490 * 460


def test_laplaces_sunrise() -> None:
    """After n of n, the next one comes with (n + 1) / (n + 2); P. S. Laplace 1814, from memory."""
    assert chance_of_use((500, 500), [[SMALL]] * 8, jobs_ahead=1).chance == pytest.approx(9 / 10)
    assert chance_of_use((500, 500), [[LARGE]] * 8, jobs_ahead=1).chance == pytest.approx(1 / 10)


def test_offcuts_that_are_taken_first_lower_the_chance_as_simulated() -> None:
    past = [[SMALL, LARGE]] * 3 + [[LARGE]] * 7
    dice = np.random.default_rng(1)
    shares = dice.beta(1 + 3, 1 + 7, 400_000)
    fitting = dice.binomial(12, shares)
    for before in (0, 2, 5):
        found = chance_of_use((500, 500), past, jobs_ahead=12, before=before)
        assert (found.fitting, found.jobs) == (3, 10)
        assert found.chance == pytest.approx(float((fitting > before).mean()), abs=0.003)
    assert found.saved_mm2 == 300 * 200


def test_a_piece_must_fit_between_the_margins_as_it_may_lie() -> None:
    past = [[(480.0, 100.0)]]
    assert chance_of_use((490, 150), past, jobs_ahead=1).fitting == 1
    assert chance_of_use((489, 150), past, jobs_ahead=1).fitting == 0
    assert chance_of_use((150, 520), past, jobs_ahead=1).fitting == 1
    assert chance_of_use((150, 520), past, jobs_ahead=1, may_turn=False).fitting == 0


def test_an_offcut_is_kept_if_its_use_pays_for_its_shelf() -> None:
    """Half a square metre at 50 a m2, chance 9/10 to save 0.2 m2: 9 less six minutes at 60."""
    past = [[(500.0, 400.0)]] * 8
    chance = chance_of_use((1000, 500), past, jobs_ahead=1)
    worth = offcut_worth(chance, 5e5, per_m2=50, per_hour=60, storing=Storing())
    assert worth == pytest.approx(0.9 * 0.2 * 50 - 6)
    capped = offcut_worth(chance, 5e5, per_m2=50, per_hour=0, storing=Storing(most_worth=0.1))
    assert capped == pytest.approx(0.1 * 0.5 * 50)
    never = chance_of_use((1000, 500), [[LARGE]] * 40, jobs_ahead=1)
    assert offcut_worth(never, 5e5, per_m2=50, per_hour=60, storing=Storing()) < 0


@pytest.mark.parametrize(
    "wrong",
    [{"jobs_ahead": 0}, {"minutes": -1.0}, {"most_worth": 1.5}, {"least_short_mm": 500.0}],
)
def test_impossible_storing_is_refused(wrong) -> None:
    with pytest.raises(SettingError):
        Storing(**wrong)
