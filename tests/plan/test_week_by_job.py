"""A week in which no section is shared: beside the one that may share, and by hand."""

from collections import Counter
from dataclasses import replace
from types import SimpleNamespace

import pytest

from layflat.base import FitError
from layflat.nest import check_layout
from layflat.plan import (
    Demand,
    Storing,
    Supply,
    WeekByJob,
    WeekPlan,
    plan_week_by_job,
    shares_sections,
    week_by_job,
)
from plan.weeks import GAP, RATES, SECTION, bars, film, planned

NO_OFFCUTS = replace(RATES, storing=Storing(most_worth=0.0))


def by_job(demands: list[Demand], *supplies: Supply, watch=None) -> WeekByJob:
    return plan_week_by_job(
        demands,
        supplies,
        NO_OFFCUTS,
        gap_mm=GAP,
        max_section_mm=SECTION,
        seconds=0.6,
        seed=1,
        watch=watch,
    )


def test_no_section_is_shared_and_what_sharing_would_save_is_said() -> None:
    """Each bar leaves half the roll bare; side by side both would take the film of one."""
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    found = by_job(demands, film("R1", 600, 9000))
    (use,) = found.plan.uses
    check_layout(use.layout)
    assert not shares_sections(use)
    assert found.plan.film == pytest.approx(2 * 1.510 * 50)
    assert found.plan.cost == pytest.approx(found.plan.alone)
    assert found.together == pytest.approx(1.510 * 50 + 3 + 8)
    assert found.plan.bound <= found.together
    shared = planned(demands, [film("R1", 600, 9000)], rates=NO_OFFCUTS)
    assert shares_sections(shared.uses[0])


def test_jobs_still_share_rolls_and_offcuts() -> None:
    """One offcut takes a bar of each job, one behind the other; the rest is cut from the roll."""
    seen: list[WeekPlan] = []
    demands = [*bars("K-1", (700, 300), (900, 560)), *bars("K-2", (700, 300))]
    offcut = film("O1", 350, 1500, is_offcut=True)
    found = by_job(demands, film("R1", 600, 9000), offcut, watch=seen.append)
    of = {use.supply.name: use for use in found.plan.uses}
    assert sorted(of["O1"].jobs) == ["K-1", "K-2"]
    assert of["R1"].jobs == ("K-1",)
    assert of["R1"].layout.length_mm == pytest.approx(910)
    # 0.910 m at 50, a section there and two on the offcut, two supplies taken in hand.
    assert found.plan.cost == pytest.approx(0.910 * 50 + 3 * 3 + 2 * 8)
    assert found.plan.cost < found.plan.alone - 10
    held = Counter(name for use in found.plan.uses for name in use.jobs)
    assert held == {"K-1": 2, "K-2": 1}
    for use in found.plan.uses:
        check_layout(use.layout)
        assert use.layout.stock == use.supply.stock
        assert not shares_sections(use)
    assert seen[-1].uses == found.plan.uses
    assert [plan.cost for plan in seen] == sorted((plan.cost for plan in seen), reverse=True)


# The first job leaves too short a rest, one that nothing is cut from, or none at all.
@pytest.mark.parametrize("length", [1600, 1530, 1510])
def test_film_that_suffices_only_for_shared_sections_is_told(length: float) -> None:
    demands = [*bars("K-1", (1500, 260)), *bars("K-2", (1500, 260))]
    with pytest.raises(FitError, match="let jobs share sections"):
        by_job(demands, film("R1", 600, length))


def test_the_job_that_gains_most_has_the_offcut(monkeypatch: pytest.MonkeyPatch) -> None:
    """The larger job would fit on it too; the other one, less of it, saves more of the roll."""
    demands = [*bars("K-1", (400, 560)), *bars("K-2", (700, 300))]
    # Two more, whose bars would share a section: so that the plan that may share is no help.
    demands += [*bars("K-3", (150, 260)), *bars("K-4", (150, 260))]
    offcut = film("O1", 600, 720, is_offcut=True)
    # Every order is looked at, however busy the machine is.
    monkeypatch.setattr(week_by_job, "time", SimpleNamespace(monotonic=lambda: 0.0))
    found = by_job(demands, film("R1", 600, 9000), offcut)
    assert found.together < found.plan.cost - 1
    of = {use.supply.name: sorted(use.jobs) for use in found.plan.uses}
    assert of == {"O1": ["K-2"], "R1": ["K-1", "K-3", "K-4"]}
