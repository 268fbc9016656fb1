"""Cutting times learned from records."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from layflat.base import InputError
from layflat.cut import time_ratio
from layflat.cut.time_learned import PRIOR, SCATTER


def test_without_records_the_prior_is_all() -> None:
    found = time_ratio([])
    assert (found.ratio, found.records) == (1.0, 0)
    # Four of five of a normal distribution lie within scipy's 90th percentile.
    assert math.log(found.high) == pytest.approx(norm.ppf(0.9) * PRIOR, abs=1e-4)
    assert "No cutting times" in found.sentence


def test_one_record_is_drawn_towards_the_estimate_by_the_closed_form() -> None:
    found = time_ratio([(100.0, 150.0)])
    share = PRIOR**2 / (PRIOR**2 + SCATTER**2)
    assert math.log(found.ratio) == pytest.approx(share * math.log(1.5), rel=1e-9)


def test_many_records_are_believed_and_the_interval_narrows() -> None:
    few = time_ratio([(60.0, 78.0)] * 3)
    many = time_ratio([(60.0, 78.0)] * 60)
    assert many.ratio == pytest.approx(1.3, rel=0.002)
    assert many.high - many.low < 0.3 * (few.high - few.low)


def test_a_pause_in_one_section_does_not_carry_the_rest() -> None:
    rng = np.random.default_rng(4)
    usual = [(100.0, 120.0 * math.exp(rng.normal(0.0, 0.08))) for _ in range(9)]
    assert time_ratio([*usual, (100.0, 2000.0)]).ratio == pytest.approx(1.2, rel=0.08)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        true = math.exp(rng.normal(0.0, PRIOR))
        records = [(50.0, 50.0 * true * math.exp(rng.normal(0.0, SCATTER))) for _ in range(5)]
        found = time_ratio(records)
        held += found.low <= true <= found.high
    assert 0.74 <= held / 400 <= 0.88


@pytest.mark.parametrize("record", [(0.0, 5.0), (5.0, -1.0), (5.0, math.nan), (10.0, 900.0)])
def test_what_is_no_time_is_refused(record: tuple[float, float]) -> None:
    with pytest.raises(InputError, match="is no"):
        time_ratio([record])


def test_four_of_five_single_sections_lie_in_their_interval() -> None:
    """Shops whose sections scatter by a tenth about a ratio of their own: the share that holds."""
    dice = np.random.default_rng(11)
    inside = []
    for _ in range(200):
        own = math.exp(dice.normal(0.0, PRIOR))
        real = 300.0 * own * np.exp(dice.normal(0.0, 0.1, 13))
        learned = time_ratio((300.0, float(took)) for took in real[:12])
        _, low, high = learned.seconds(300.0)
        inside.append(low <= real[12] <= high)
    assert 0.7 < np.mean(inside) < 0.9
    middle, low, high = time_ratio([]).seconds(100.0)
    assert middle == pytest.approx(100.0)
    assert low * high == pytest.approx(100.0**2)
    assert math.log(high / 100.0) == pytest.approx(1.2816 * math.hypot(PRIOR, SCATTER))
