"""What the board says of each job, and what it costs to ask."""

import datetime
import html
from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from layflat.web.board.cards import COMES_HERE, Due, due_of, due_words
from layflat.web.diary.models import Booking
from layflat.web.gates.models import Kind
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Customer, Job, Stage, Vehicle
from layflat.web.people.models import Person, Role, Shop
from web.bayed import an_accepted_job, in_the_bay, some_cuts, steps_done
from web.covered import a_cover, a_job, an_outcome

DAY = datetime.date(2031, 5, 24)


@pytest.mark.parametrize(
    ("days", "due", "words"),
    [
        (-3, Due.LATE, "late by 3 days"),
        (-1, Due.LATE, "late by 1 day"),
        (0, Due.TODAY, "today"),
        (1, Due.AHEAD, "tomorrow"),
        (2, Due.AHEAD, "in 2 days"),
    ],
)
def test_promises_in_words_and_shapes(days: int, due: Due, words: str) -> None:
    promised = DAY + datetime.timedelta(days=days)
    assert (due_of(promised, DAY), due_words(promised, DAY)) == (due, words)


def test_without_a_promise_nothing_is_late() -> None:
    assert (due_of(None, DAY), due_words(None, DAY)) == (Due.NONE, "no day promised")


def test_every_stage_but_the_last_has_a_next_step() -> None:
    assert list(COMES_HERE) == [stage for stage in Stage if stage is not Stage.CLOSED]


def job(number: str, *, days: int | None = None, **values: object) -> Job:
    """A job of a vehicle of its own, promised so many days from today."""
    customer = Customer.objects.create(name=f"Customer of {number}")
    vehicle = Vehicle.objects.create(customer=customer, plate=f"P {number}", described="Siskwing")
    today = timezone.now().date()
    promised = None if days is None else today + datetime.timedelta(days=days)
    made = Job(number=number, vehicle=vehicle, promised=promised)
    for name, value in values.items():
        setattr(made, name, value)
    made.save()
    return made


def test_a_computed_cover_leads_on_to_the_offer(signed_in: Callable[[Role], Client]) -> None:
    def said(number: str) -> str:
        answer = signed_in(Role.COUNTER).get("/")
        cards = [card for column in answer.context["columns"] for card in column.cards]
        return next(card.next_step for card in cards if card.number == number)

    made = a_job("2031-0001", stage=Stage.COVER)
    cover = a_cover(made)
    assert said("2031-0001") == "Choose the cover"
    an_outcome(cover)
    assert said("2031-0001") == "Make the offer"
    cover.is_dropped = True
    cover.save()
    assert said("2031-0001") == "Choose the cover"


def numbers(browser: Client, address: str = "/") -> list[str]:
    """The numbers of the jobs that a board shows, in order."""
    answer = browser.get(address)
    assert answer.status_code == 200
    return [card.number for column in answer.context["columns"] for card in column.cards]


def test_the_board_shows_open_jobs_the_soonest_promise_first(
    signed_in: Callable[[Role], Client],
) -> None:
    job("none")
    job("soon", days=2)
    job("late", days=-1, blocked_by="film")
    job("offered", days=0, stage=Stage.OFFERED)
    job("closed", days=-9, stage=Stage.CLOSED)
    browser = signed_in(Role.INSTALLER)
    assert numbers(browser) == ["late", "soon", "none", "offered"]
    page = browser.get("/").content.decode()
    assert "4 open jobs, 1 late, 1 blocked" in page
    assert "waits for film" in page
    assert "late by 1 day" in page


def test_the_board_is_filtered_by_person_and_by_late(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    ines = people[Role.INSTALLER]
    job("hers", days=3, assigned=ines)
    job("hers-late", days=-3, assigned=ines)
    job("late", days=-3)
    browser = signed_in(Role.COUNTER)
    assert numbers(browser, f"/?who={ines.pk}") == ["hers-late", "hers"]
    assert numbers(browser, "/?late=yes") == ["hers-late", "late"]
    assert numbers(browser, f"/?who={ines.pk}&late=yes") == ["hers-late"]
    # What makes no sense filters nothing.
    assert len(numbers(browser, "/?who=x&late=maybe")) == 3
    nobody = browser.get(f"/?who={people[Role.OWNER].pk}").content.decode()
    assert "has no open job" in nobody


def test_the_wanted_day_stands_where_none_is_promised(
    signed_in: Callable[[Role], Client], shop: Shop
) -> None:
    job("asked", wanted=DAY)
    promised = job("both", wanted=DAY, days=1)
    Shop.objects.update(date_form="day")
    page = signed_in(Role.COUNTER).get("/").content.decode()
    assert page.count("wanted by 24.05.2031") == 1
    tag = signed_in(Role.COUNTER).get("/board/cards/").headers["ETag"]
    Job.objects.filter(pk=promised.pk).update(promised=None)
    page = signed_in(Role.COUNTER).get("/board/cards/", headers={"if-none-match": tag})
    assert page.content.decode().count("wanted by 24.05.2031") == 2


def test_an_empty_board_says_what_to_do_next(signed_in: Callable[[Role], Client]) -> None:
    assert "A job begins when somebody asks" in signed_in(Role.COUNTER).get("/").content.decode()
    assert "as soon as the counter" in signed_in(Role.INSTALLER).get("/").content.decode()


def test_late_is_judged_by_the_shop_s_own_clock(
    signed_in: Callable[[Role], Client], shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    noon = datetime.datetime(2031, 5, 24, 12, 0, tzinfo=datetime.UTC)
    made = job("edge")
    Job.objects.filter(pk=made.pk).update(promised=DAY)
    monkeypatch.setattr(timezone, "now", lambda: noon)
    browser = signed_in(Role.COUNTER)
    # Fourteen hours ahead of UTC the next day has begun (tz database, Pacific/Kiritimati).
    for zone, words in (("UTC", "today"), ("Pacific/Kiritimati", "late by 1 day")):
        Shop.objects.update(time_zone=zone)
        card = browser.get("/").context["columns"][0].cards[0]
        assert card.due_words == words


def test_the_changing_part_is_cheap_while_nothing_changes(
    signed_in: Callable[[Role], Client],
) -> None:
    made = job("one", days=1)
    browser = signed_in(Role.COUNTER)
    first = browser.get("/board/cards/")
    tag = first.headers["ETag"]
    assert tag in first.content.decode().replace("\\&quot;", '"')
    again = browser.get("/board/cards/", headers={"if-none-match": tag})
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    # Also what an event alone would not tell: another customer's name, another filter.
    Customer.objects.filter(pk=made.vehicle.customer_id).update(name="Somebody else")
    changed = browser.get("/board/cards/", headers={"if-none-match": tag})
    assert changed.status_code == 200
    assert "Somebody else" in changed.content.decode()
    assert changed.headers["ETag"] != tag
    late = browser.get("/board/cards/?late=yes")
    assert late.headers["ETag"] != changed.headers["ETag"]


def test_the_first_answer_s_tag_is_the_page_s(signed_in: Callable[[Role], Client]) -> None:
    job("one", days=1)
    browser = signed_in(Role.COUNTER)
    tag = browser.get("/board/cards/").headers["ETag"]
    assert tag.strip('"') in browser.get("/").content.decode()


def test_a_signed_out_board_goes_to_sign_in_as_a_whole(client: Client, shop: Shop) -> None:
    Person.objects.create_person("odile", password="x", role=Role.OWNER)
    asked = {"HX-Request": "true", "HX-Current-URL": "http://testserver/?late=yes"}
    answer = client.get("/board/cards/?late=yes", headers=asked)
    assert answer.status_code == 204
    assert answer.headers["HX-Redirect"] == "/sign-in/?next=/%3Flate%3Dyes"


@pytest.mark.parametrize("address", ["/", "/board/cards/"])
def test_five_hundred_open_jobs_ask_the_database_no_more_than_one(
    signed_in: Callable[[Role], Client],
    django_assert_max_num_queries: DjangoAssertNumQueries,
    address: str,
) -> None:
    customer = Customer.objects.create(name="Tolliver Glass Works")
    vehicle = Vehicle.objects.create(customer=customer, plate="LY 512 T")
    stages = list(COMES_HERE)
    Job.objects.bulk_create(
        Job(number=str(i), vehicle=vehicle, stage=stages[i % len(stages)]) for i in range(500)
    )
    browser = signed_in(Role.OWNER)
    with django_assert_max_num_queries(15):
        assert browser.get(address).content.count(b'<li class="ticket') == 500


def test_what_is_in_the_bay_says_its_step_and_its_flags(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    found, outcome = an_accepted_job()
    Job.objects.update(promised=timezone.now().date() - datetime.timedelta(days=1))
    in_the_bay(found)
    steps_done(found, Kind.IRON)
    cut = some_cuts(found, outcome)[0]
    for number in (1, 2):
        Flag.objects.create(
            job=found,
            number=number,
            cut=cut,
            kind="finger",
            remedy=Flag.Remedy.PRESS,
            state=Flag.State.ENDED if number == 1 else Flag.State.MENDED,
            found_at=timezone.now(),
        )
    page = signed_in(Role.INSTALLER).get("/")
    assert [column.stage for column in page.context["columns"]][:2] == [Stage.ACCEPTED, Stage.BAY]
    (card,) = page.context["columns"][1].cards
    assert (card.next_step, card.flags, card.due) == ("Cutting and weeding", 1, Due.LATE)
    assert "open flag<" in page.content.decode()


def test_a_car_that_is_handed_back_is_late_no_more(signed_in: Callable[[Role], Client]) -> None:
    job("2031-0007", days=-2, stage=Stage.HANDED)
    browser = signed_in(Role.COUNTER)
    (card,) = browser.get("/").context["columns"][-1].cards
    assert (card.due, card.due_words) == (Due.NONE, "back with its owner")
    assert browser.get("/?late=yes").context["count"] == 0


def test_what_is_wrong_in_the_calendar_stands_on_the_card(
    signed_in: Callable[[Role], Client], people: dict[Role, Person]
) -> None:
    found = job("2031-0009", stage=Stage.BAY, days=0)
    begins = timezone.now() + datetime.timedelta(days=3)
    Booking.objects.create(
        job=found, work="lay", starts_at=begins, ends_at=begins + datetime.timedelta(hours=2)
    )
    page = signed_in(Role.COUNTER).get("/")
    (card,) = page.context["columns"][5].cards
    assert card.concern
    assert card.concern in html.unescape(page.content.decode())
