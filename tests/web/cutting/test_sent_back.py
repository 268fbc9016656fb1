"""An accepted job that is opened again keeps no film reserved that nobody will cut."""

import pytest

from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.jobs.models import Stage
from layflat.web.jobs.stages import move_back
from layflat.web.people.models import Person, Role
from layflat.web.stock.models import Reservation
from layflat.web.stock.reserving import reserve
from web.bayed import a_roll, an_accepted_job, some_cuts


@pytest.mark.parametrize("is_cut", [False, True])
def test_layouts_are_dropped_when_an_accepted_job_is_opened_again(
    people: dict[Role, Person], is_cut: bool
) -> None:
    job, outcome = an_accepted_job()
    roll = a_roll()
    some_cuts(job, outcome, roll=roll, state=Cut.State.PLACED)
    layout = Layout.objects.get()
    if is_cut:
        layout.sections.create(
            number=2, start_mm=2000, end_mm=2400, film_mm=400, state=Section.State.CUT
        )
    reserve(roll, job, 2000, who=None)
    move_back(job, reason="another cover", who=people[Role.COUNTER])
    assert job.stage == Stage.COVER
    layout.refresh_from_db()
    said = job.events.last().sentence
    if is_cut:
        assert layout.state == Layout.State.KEPT
        assert "Layout 1 is cut in part and not dropped." in said
        assert Reservation.objects.filter(ended_at=None).exists()
    else:
        assert layout.state == Layout.State.DROPPED
        assert "Layout 1 is dropped; what was reserved of the roll is free." in said
        assert not Reservation.objects.filter(ended_at=None).exists()
        assert not Cut.objects.exists()
