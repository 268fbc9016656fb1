"""Work beside other work: when it is due again."""

import pytest

from layflat.nest import pace
from layflat.nest.pace import Pace


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that the test sets."""
    now = [100.0]
    monkeypatch.setattr(pace.time, "monotonic", lambda: now[0])
    return now


def test_what_took_a_second_of_a_quarter_waits_three_more(clock: list[float]) -> None:
    quarter = Pace(0.25)
    assert quarter.is_due
    with quarter.working():
        clock[0] += 1.0
    assert not quarter.is_due
    clock[0] += 2.999
    assert not quarter.is_due
    clock[0] += 0.001
    assert quarter.is_due


def test_it_waits_for_the_least_time_also_where_an_error_ended_it(clock: list[float]) -> None:
    seldom = Pace(0.5, least_s=10.0)

    def breaks() -> None:
        with seldom.working():
            clock[0] += 1.0
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        breaks()
    clock[0] += 9.999
    assert not seldom.is_due
    clock[0] += 0.001
    assert seldom.is_due
