"""Which film to order: by what is there, promised and used, as the plan of the core says."""

import datetime
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from layflat.plan import reorder, usual_of
from layflat.web.cutting.models import Layout
from layflat.web.cutting.to_buy import DAYS, LEAD_DAYS, to_buy
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role, Shop
from layflat.web.stock.booking import cut_offcut, give_back, reserve, take
from layflat.web.stock.models import Movement
from web.bayed import a_roll
from web.cutting.patterned import a_job

USED_M = 24.0


def test_film_is_ordered_in_time(shop: Shop) -> None:
    for _ in range(4):
        roll = a_roll(length_mm=15_000)
    matt = a_roll()
    type(matt).objects.filter(pk=matt.pk).update(film="Matt 160", width_mm=762)
    now = timezone.now()
    long_ago = now.date() - datetime.timedelta(days=400)
    type(matt).objects.update(received_on=long_ago)
    assert to_buy(shop) == []
    # 24 m in the last 90 days, on two days; what was cut before them, and given back, counts not.
    for place, days in enumerate((100, 20, 5, 1)):
        source = f"section {place}"
        take(
            roll,
            12_000 if place else 1_000,
            kind=Movement.Kind.CUT,
            job=None,
            who=None,
            source=source,
        )
        at = now - datetime.timedelta(days=days)
        Movement.objects.filter(source=source).update(at=at)
        roll = type(roll).objects.filter(left_mm=15_000, film="Clear 150").first() or roll
    give_back("section 3", reason="a slip", who=None)
    # Half a roll's width counts half; an offcut is no film to count on.
    assert shop.roll_width_mm == 1524.0
    cut_offcut(roll, width_mm=800, length_mm=2_000, place="", who=None)
    job, outcome = a_job("2031-0042", "hood")
    reserve(roll, job, 3_000, who=None)
    bare_m = outcome.film_mm * outcome.roll_width_mm / 1524.0 / 1e3
    found = {one.film: one for one in to_buy(shop, at=now)}
    assert list(found) == ["Clear 150"]
    clear = found["Clear 150"]
    there_m = 60.0 - 25.0 - 2.0
    usual = usual_of([12.0, 12.0, *[0.0] * (DAYS - 2)], LEAD_DAYS)
    wanted = reorder(usual, there_m=there_m, promised_m=3.0 + bare_m, roll_m=15.0)
    assert clear.there_m == pytest.approx(there_m)
    assert clear.promised_m == pytest.approx(3.0 + bare_m)
    assert clear.week_m == pytest.approx(USED_M / DAYS * 7)
    assert clear.plan.point_m == pytest.approx(wanted.point_m)
    assert clear.plan.is_due == wanted.is_due
    assert clear.is_usual
    with CaptureQueriesContext(connection) as queries:
        to_buy(shop, at=now)
    assert len(queries) <= 5
    # A job that was laid out on matt before needs matt again.
    Layout.objects.create(
        job=job, number=1, outcome=outcome, roll=matt, pieces=[1], state=Layout.State.CUT
    )
    by_film = {one.film: one for one in to_buy(shop, at=now)}
    assert by_film["Clear 150"].promised_m == pytest.approx(3.0)
    # Nothing of matt was ever used, and more is there than is promised: it is not spoken of.
    assert "Matt 160" not in by_film
    # So does one that was only a guest on another job's layout of matt.
    Layout.objects.all().delete()
    other, its = a_job("2031-0043", "hood")
    Job.objects.filter(pk=other.pk).update(stage=Stage.CLOSED)
    layout = Layout.objects.create(
        job=other, number=1, outcome=its, roll=matt, pieces=[1001, 2001], state=Layout.State.CUT
    )
    assert to_buy(shop, at=now)[0].promised_m == pytest.approx(3.0 + bare_m)
    for letter, one, accepted in (("A", other, its), ("B", job, outcome)):
        layout.members.create(job=one, outcome=accepted, letter=letter, pieces=[1])
    assert to_buy(shop, at=now)[0].promised_m == pytest.approx(3.0)
    Job.objects.update(stage=Stage.CLOSED)
    assert to_buy(shop, at=now)[0].promised_m == pytest.approx(3.0)


@pytest.mark.on_sqlite
def test_the_day_is_the_last_on_which_film_comes_in_time(
    shop: Shop, signed_in: Callable[[Role], Client]
) -> None:
    roll = a_roll(length_mm=15_000)
    now = timezone.now()
    type(roll).objects.update(received_on=now.date() - datetime.timedelta(days=89))
    take(roll, 9_000, kind=Movement.Kind.CUT, job=None, who=None, source="")
    (one,) = to_buy(shop, at=now)
    spare_m = one.plan.free_m - one.plan.point_m
    days = spare_m / 0.1
    assert one.plan.days_left == pytest.approx(max(0.0, days), abs=1e-6)
    if one.by is not None:
        assert (one.by - now.date()).days in (int(days), int(days) - 1, int(days) + 1)
    take(roll, 5_900, kind=Movement.Kind.CUT, job=None, who=None, source="")
    (one,) = to_buy(shop, at=now)
    assert one.plan.is_due
    assert one.by is None
    page = signed_in(Role.INSTALLER).get("/stock/").content.decode()
    assert "Film to order: Clear 150" in page
    assert "Order 15.0 m now" in page
    assert "There 0.1 m, promised 0.0 m, usual 1.2 m a week." in page
    # Who looks for something else is not asked to order.
    assert "Film to order" not in signed_in(Role.INSTALLER).get("/stock/?q=R1").content.decode()
