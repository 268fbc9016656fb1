"""The invented workshop's bay: what is told of its cars holds by the rules that people meet."""

import datetime

import pytest
from django.db.models import Sum
from django.utils import timezone

from layflat.web.cutting.models import Cut, Layout
from layflat.web.gates.models import Kind, Step, Tool
from layflat.web.handback.models import FollowUp, Passport
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role
from layflat.web.seed_bay import go_on
from layflat.web.seed_yard import seed_yard
from layflat.web.stock.models import Movement, Roll
from layflat.web.work.models import Computation
from web.bayed import an_accepted_job, some_cuts


@pytest.fixture
def car(people: dict[Role, Person]) -> Job:
    """The car that is handed back: accepted, its layout kept and not cut yet."""
    seed_yard(who=people[Role.OWNER])
    job, outcome = an_accepted_job("2031-0001", plate="LY 15 HQ", panels=("lamp-left",))
    some_cuts(job, outcome, roll=Roll.objects.get(number=2), state=Cut.State.PLACED)
    return job


def test_a_car_goes_all_the_way_once(car: Job) -> None:
    assert go_on()
    car.refresh_from_db()
    assert car.stage == Stage.HANDED
    assert not Step.objects.filter(job=car).exclude(state=Step.State.DONE).exclude(kind=Kind.REST)
    laying = Laying.objects.filter(way=Laying.Way.LAID).get()
    iron = Step.objects.get(job=car, kind=Kind.IRON)
    assert iron.ended_at < laying.began_at < timezone.now() - datetime.timedelta(days=7)
    flag = Flag.objects.get()
    assert (flag.state, flag.ended_by.role) == (Flag.State.ENDED, Role.COUNTER)
    assert Passport.objects.get().job == car
    assert FollowUp.objects.get().due_on > laying.began_at.date()
    roll = Roll.objects.get(number=2)
    assert roll.left_mm == Movement.objects.filter(roll=roll).aggregate(all=Sum("delta_mm"))["all"]
    assert roll.left_mm < 15_200
    assert go_on()
    assert Passport.objects.count() == 1


def test_a_layout_is_asked_for_and_waited_for(people: dict[Role, Person]) -> None:
    seed_yard(who=people[Role.OWNER])
    assert Tool.objects.count() == 7
    job, outcome = an_accepted_job("2031-0002", plate="LY 72 RT", panels=("hood",))
    piece = outcome.pieces.get()
    piece.pattern = piece.flat
    piece.save()
    assert not go_on()
    layout = Layout.objects.get()
    assert (layout.job, layout.roll.lot) == (job, "K7-2311")
    assert not go_on()
    Computation.objects.filter(pk=layout.computation_id).update(
        state="failed", error="It broke off.", ended_at=timezone.now()
    )
    assert go_on()
    assert Layout.objects.get().state == Layout.State.SEARCHING


def test_accepted_work_is_placed_in_the_calendar_once(people: dict[Role, Person]) -> None:
    job, _ = an_accepted_job("2031-0003", plate="LY 204 W", panels=("hood",))
    assert go_on()
    placed = list(job.bookings.values_list("work", flat=True))
    assert placed[0] == "intake"
    assert placed[-1] == "hand-back"
    assert go_on()
    assert job.bookings.count() == len(placed)
