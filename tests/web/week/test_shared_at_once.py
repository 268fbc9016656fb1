"""Two people tick a section that jobs share at once, each from the page of another job."""

from collections.abc import Callable

import pytest
from django.utils import timezone

from layflat.web.cutting import ticking
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.stock.models import Movement
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, shared
from web.stock.test_at_once import apart, at_once

__all__ = ["apart"]
pytestmark = pytest.mark.django_db(transaction=True)


def test_a_shared_section_is_cut_once(apart: None) -> None:
    Shop.objects.create(name="Lampwick Yard")
    jobs = [a_job("2031-0042", "hood")[0], a_job("2031-0043", "hood")[0]]
    section = only_section(shared(jobs, a_roll()))

    def tick(job: Job) -> Callable[[], object]:
        def act() -> object:
            held = Job.objects.select_for_update().get(pk=job.pk)
            found = ticking.section_of(held, section.pk)
            return ticking.tick_cut(found, who=None, at=timezone.now())

        return act

    told = at_once(*(tick(job) for job in jobs))
    assert told.count("yes") == 1, told
    # Who holds the lock that the other waits for is told to try again; else, that it is done.
    assert "do it once more" in told[0] or "was ticked as cut already" in told[0]
    taken = Movement.objects.filter(kind=Movement.Kind.CUT).values_list("delta_mm", flat=True)
    assert len(taken) == len(jobs)
    assert -sum(taken) == section.film_mm
    assert set(Cut.objects.values_list("state", flat=True)) == {Cut.State.CUT}
