"""The week's film: asked for, shown to each role, kept as layouts of the jobs, refused."""

import datetime
import json
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from layflat.base import InputError
from layflat.web.cutting.models import Cut, Layout
from layflat.web.diary.models import Booking
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.stock.booking import free_mm, reserve
from layflat.web.stock.models import Roll
from layflat.web.week import asking, keeping
from layflat.web.week.models import Plan
from web.bayed import a_roll
from web.cutting.patterned import a_job, done, to_be_cut

SignedIn = Callable[[Role], Client]
MOST_QUERIES = 15


def shown(browser: Client, address: str = "/stock/week/") -> str:
    answer = browser.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def send(browser: Client, rest: str, **fields: Any) -> Any:
    return browser.post(f"/stock/week/{rest}", {"once": uuid.uuid4().hex, **fields})


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    return [a_job("2031-0042")[0], a_job("2031-0043", "door-left")[0]]


@pytest.fixture
def rolls(shop: Shop) -> list[Roll]:
    """A roll that cost 930 for 15 m, and an offcut of it that takes the door."""
    roll = a_roll(cost=Decimal("930.00"))
    offcut = a_roll(length_mm=1200, cut_from=roll)
    Roll.objects.filter(pk=offcut.pk).update(width_mm=600)
    return [roll, offcut]


def planned(
    jobs: list[Job], *, shares: bool = False, runs: bool = True, kind: str = "clear"
) -> Plan:
    plan = asking.begin(
        jobs=[job.pk for job in jobs],
        film="Clear 150",
        kind=kind,
        shares=shares,
        seconds=60,
        who=None,
    )
    if runs:
        done(plan.computation)
    return Plan.objects.select_related("computation").get(pk=plan.pk)


def test_a_week_from_the_question_to_layouts(
    signed_in: SignedIn, jobs: list[Job], rolls: list[Roll]
) -> None:
    Shop.objects.update(film_per_metre=62, hour_cost=20)
    counter = signed_in(Role.COUNTER)
    page = shown(counter)
    assert "What does this week cost us in film?" in page
    assert page.count('name="job"') == page.count(" checked", 0, page.index("From which film")) == 2
    # Least film is proposed where there is something to share.
    assert 'value="shared" checked' in page
    assert 'value="own" checked' not in page
    fields = {
        "once": uuid.uuid4().hex,
        "job": [job.pk for job in jobs],
        "film": "Clear 150",
        "kind": "clear",
        "sections": "own",
        "seconds": 60,
    }
    for _ in range(2):  # a wet glove taps twice
        assert counter.post("/stock/week/begin/", fields)["Location"] == "/stock/week/1/"
    plan = Plan.objects.select_related("computation").get()
    # The job with the first letter is cut first, of each what is laid first.
    assert [one["lay"] for one in plan.asked["jobs"]] == [{"1": 1001, "2": 1002}, {"1": 2001}]
    assert "It is being planned" in shown(counter, "/stock/week/1/")
    assert counter.get("/stock/week/1/ready/").headers.get("HX-Refresh") is None
    done(plan.computation)
    assert counter.get("/stock/week/1/ready/").headers["HX-Refresh"] == "true"
    plan.refresh_from_db()
    assert plan.found is not None
    of = {use["name"]: use for use in plan.found["uses"]}
    for name, job in (("R2", jobs[1]), ("R1", jobs[0])):
        assert [one["job"] for part in of[name]["parts"] for one in part["members"]] == [job.pk]
    # A metre cost 62: 930 for 15 m.
    assert of["R1"]["film"] == pytest.approx(of["R1"]["length_mm"] / 1e3 * 62.0)
    answer = send(counter, "1/keep/")
    assert answer["Location"] == "/stock/week/1/"
    again = send(counter, "1/keep/")
    assert again["Location"] == "/stock/week/1/"
    assert Layout.objects.count() == 2
    assert "Layouts from this plan" in shown(counter, "/stock/week/1/")
    for layout in Layout.objects.select_related("computation"):
        done(layout.computation)
        layout.refresh_from_db()
        assert layout.state == Layout.State.KEPT
    assert Cut.objects.count() == 3
    film_mm = sum(section.film_mm for one in Layout.objects.all() for section in one.sections.all())
    left = sum(roll.left_mm for roll in rolls)
    assert sum(free_mm(roll) for roll in rolls) == left - film_mm
    assert film_mm == pytest.approx(plan.found["length_mm"], abs=2)
    assert Event.objects.filter(kind="week.kept").count() == 1
    assert "No job needs film" in shown(counter)


@pytest.mark.on_sqlite
def test_one_job_alone_shares_nothing(signed_in: SignedIn, rolls: list[Roll]) -> None:
    a_job("2031-0042")
    page = shown(signed_in(Role.COUNTER))
    assert 'value="own" checked' in page
    assert 'value="shared" checked' not in page


def test_what_it_costs_the_shop_is_for_the_owner(
    signed_in: SignedIn, jobs: list[Job], rolls: list[Roll]
) -> None:
    Shop.objects.update(film_per_metre=90, film_cost_per_metre=70, hour_cost=20)
    plan = planned(jobs)
    assert plan.found is not None
    cost = f"EUR\u00a0{plan.found['film']:.2f}"
    offered = sum(use["length_mm"] * use["width_mm"] for use in plan.found["uses"]) / 1e6
    charged = f"EUR\u00a0{offered * 90 / 1.524:.2f}"
    owner = shown(signed_in(Role.OWNER), "/stock/week/1/")
    assert f"<b>{cost}</b>: " in owner
    assert "Each job alone" in owner
    counter = shown(signed_in(Role.COUNTER), "/stock/week/1/")
    assert f"<b>{charged}</b>, as offers charge for film: " in counter
    assert cost not in counter
    assert "worth" not in counter
    installer = signed_in(Role.INSTALLER)
    page = shown(installer, "/stock/week/1/")
    assert "It takes " in page
    assert "EUR" not in page
    assert "Keep this plan" not in page
    assert "EUR" not in shown(installer)
    for rest in ("begin/", "1/keep/", "1/drop/"):
        assert send(installer, rest).status_code == 403
        assert Client().post(f"/stock/week/{rest}").headers["Location"].startswith("/sign-in/")


def test_a_plan_of_before_sections_were_shared_is_planned_anew(
    signed_in: SignedIn, jobs: list[Job], rolls: list[Roll]
) -> None:
    plan = planned(jobs)
    assert plan.found is not None
    for use in plan.found["uses"]:
        use["parts"] = [{**use["parts"][0]["members"][0], "layout": None}]
    plan.save()
    counter = signed_in(Role.COUNTER)
    send(counter, "1/keep/")
    assert "is of before sections could be shared" in shown(counter, "/stock/week/1/")
    assert not Layout.objects.exists()


def refused(plan: Plan) -> str:
    with pytest.raises(InputError) as told, transaction.atomic():
        keeping.keep(plan, who=None)
    assert not Layout.objects.filter(made_at__gt=plan.made_at).exists()
    assert Plan.objects.get(pk=plan.pk).state == Plan.State.OPEN
    return str(told.value)


@pytest.mark.parametrize("what", ["booked", "moved", "cover", "film"])
def test_a_plan_is_refused_once_stock_or_cover_changed(
    jobs: list[Job], rolls: list[Roll], what: str
) -> None:
    plan = planned(jobs)
    if what == "booked":
        reserve(rolls[0], jobs[0], 100, who=None)
        assert refused(plan).startswith("R1 was booked or changed since this plan was made")
    elif what == "moved":
        Roll.objects.filter(pk=rolls[1].pk).update(version=rolls[1].version + 1)
        assert refused(plan).startswith("R2 was booked or changed")
    elif what == "cover":
        plan.asked["jobs"][0]["outcome"] += 1
        assert refused(plan).startswith("The cover of job 2031-0042 was changed")
    else:
        kept = to_be_cut(jobs[1], a_roll(lot="other"))
        Layout.objects.filter(pk=kept.pk).update(made_at=plan.made_at)
        assert refused(plan).startswith("Piece 1 of job 2031-0043 has film")


def test_what_is_asked_for_is_looked_at(
    signed_in: SignedIn, jobs: list[Job], rolls: list[Roll]
) -> None:
    counter = signed_in(Role.COUNTER)
    good = {
        "job": [jobs[0].pk],
        "film": "Clear 150",
        "kind": "clear",
        "sections": "own",
        "seconds": 60,
    }
    for wrong, words in (
        ({"job": []}, "Tick the jobs"),
        ({"job": [jobs[0].pk, 999_999]}, "needs no film any more"),
        ({"film": "Matt"}, "Nothing of that film is free"),
        ({"kind": "striped"}, "clear, matt, tinted or coloured"),
        ({"seconds": 7}, "how long to search"),
    ):
        answer = send(counter, "begin/", **{**good, **wrong})
        assert answer["Location"] == "/stock/week/"
        assert words in shown(counter)
    assert not Plan.objects.exists()
    assert counter.get("/stock/week/9/").status_code == 404
    assert send(counter, "9/keep/").status_code == 302
    plan = planned(jobs, runs=False)
    for _ in range(2):
        send(counter, "1/drop/")
    plan.refresh_from_db()
    assert plan.state == Plan.State.DROPPED
    send(counter, "1/keep/")
    assert "plan the week anew" in shown(counter)


@pytest.mark.parametrize(
    ("values", "words"),
    [({"left_mm": 300}, "The film does not suffice"), ({"width_mm": 300}, "“A1 Hood”")],
)
def test_too_little_film_is_one_sentence(
    jobs: list[Job], values: dict[str, int], words: str
) -> None:
    Roll.objects.filter(pk=a_roll().pk).update(**values)
    plan = planned(jobs, runs=False)
    with pytest.raises(InputError, match=words):
        done(plan.computation)
    assert Plan.objects.get().found is None


def test_without_any_cost_metres_are_compared(signed_in: SignedIn, jobs: list[Job]) -> None:
    a_roll()
    planned(jobs)
    page = shown(signed_in(Role.OWNER), "/stock/week/1/")
    assert "only film is counted, by its area" in page
    assert "It takes " in page
    assert "EUR" not in page


def test_days_come_first_and_the_pages_ask_little(
    signed_in: SignedIn,
    jobs: list[Job],
    rolls: list[Roll],
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    begins = datetime.datetime(2031, 5, 26, 8, 0, tzinfo=datetime.UTC)
    Booking.objects.create(
        job=jobs[1], work="cut", starts_at=begins, ends_at=begins + datetime.timedelta(hours=2)
    )
    planned(jobs)
    counter = signed_in(Role.COUNTER)
    with django_assert_max_num_queries(MOST_QUERIES):
        page = shown(counter)
    assert page.index("2031-0043") < page.index("2031-0042")
    assert "cut on 2031-05-26" in page
    assert "no day in the calendar" in page
    with django_assert_max_num_queries(MOST_QUERIES):
        shown(counter, "/stock/week/1/")
    for number in range(44, 50):
        a_job(f"2031-00{number}")
        a_roll(lot=f"L-{number}")
    with django_assert_max_num_queries(MOST_QUERIES):
        shown(counter)


def test_a_plan_is_json_and_its_parts_are_layouts(jobs: list[Job], rolls: list[Roll]) -> None:
    plan = planned(jobs)
    assert json.loads(json.dumps(plan.found)) == plan.found
    assert plan.found is not None
    for use in plan.found["uses"]:
        for part in use["parts"]:
            assert part["layout"]["sections"][0][0] == 0
            (member,) = part["members"]
            assert {one["piece"] for one in part["layout"]["placements"]} == set(member["pieces"])
            assert part["layout"]["bound_mm"] <= part["layout"]["length_mm"] + 1e-6
