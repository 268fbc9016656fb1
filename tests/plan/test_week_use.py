"""Layouts put one behind the other on a roll."""

import pytest

from layflat.nest import Layout, Stock, Stretch, place
from layflat.plan.week_use import one_behind_the_other, rest_of
from plan.weeks import GAP, SECTION, bars, film


def laid(job: str, stock: Stock) -> Layout:
    requests = [demand.request for demand in bars(job, (500.0, 200.0))]
    return place(requests, stock, gap_mm=GAP, seconds=0.05, seed=1, max_section_mm=SECTION)


def test_what_one_job_needs_behind_a_fault_is_no_bound_for_all() -> None:
    stock = film("R1", 500, 5000, faults=(Stretch(start_mm=600, end_mm=700, reason="dust"),)).stock
    first = laid("K-1", stock)
    second = laid("K-2", rest_of(stock, first.length_mm))
    whole = one_behind_the_other([first, second], stock, gap_mm=GAP, max_section_mm=SECTION)
    assert whole.length_mm == pytest.approx(700 + 510)
    together = place(whole.requests, stock, gap_mm=GAP, seconds=0.2, seed=1, max_section_mm=SECTION)
    # Side by side before the fault: less than the second job by itself reaches on its rest.
    assert together.length_mm == pytest.approx(510)
    assert second.lower_bound_mm > together.length_mm
    assert whole.lower_bound_mm == together.lower_bound_mm <= together.length_mm


def test_the_bound_of_all_is_above_that_of_each() -> None:
    stock = film("R1", 300, 5000).stock
    first = laid("K-1", stock)
    second = laid("K-2", rest_of(stock, first.length_mm))
    whole = one_behind_the_other([first, second], stock, gap_mm=GAP, max_section_mm=SECTION)
    # Two bars that do not fit side by side, 4 mm apart in one section.
    assert whole.lower_bound_mm == pytest.approx(510 + 504, abs=0.1)
