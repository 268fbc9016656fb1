"""Two people hand one car back in the same moment: one does, the other is told."""

import datetime
from collections.abc import Callable

import pytest
from django.utils import timezone

from layflat.web.handback import passports
from layflat.web.handback.facts import Given
from layflat.web.handback.giving import hand_back, read_taken
from layflat.web.handback.models import HandBack, Passport
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.views.common import locked_job
from layflat.web.links.private import new_nonce
from layflat.web.people.models import Person, Role, Shop
from web.handback.rows import a_checked_job
from web.stock.test_at_once import apart, at_once

__all__ = ["apart"]
pytestmark = pytest.mark.django_db(transaction=True)


def test_one_hands_it_back_and_the_other_is_told(apart: None) -> None:
    shop = Shop.objects.create(name="Lampwick Yard")
    people = {
        role: Person.objects.create(name=role.value, shown=role.label, role=role) for role in Role
    }
    job, at = a_checked_job(people), timezone.now()
    taken = read_taken(
        name="Perrin Oake",
        signed="paper",
        strokes="",
        because="the tablet's battery was empty",
        care=True,
        due_on=at.date() + datetime.timedelta(days=12),
    )

    def give(who: Person) -> Callable[[], object]:
        given = Given(
            name=taken.name,
            signature="",
            on_paper_because=taken.on_paper_because,
            by=who.shown,
            at=at,
        )
        made = passports.draft(job, given, because="Made.", shop=shop, address="", at=at)

        def act() -> None:
            held = locked_job(job.number)
            hand_back(held, taken, made, nonce=new_nonce(), shop=shop, who=who)

        return act

    told = at_once(give(people[Role.COUNTER]), give(people[Role.OWNER]))
    assert len(told) == 2
    assert told[1] == "yes"
    assert "already" in told[0]
    assert HandBack.objects.count() == Passport.objects.count() == 1
    assert Job.objects.get().stage == Stage.HANDED
