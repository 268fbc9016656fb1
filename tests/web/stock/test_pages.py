"""The stock's pages: what they show, to whom, and what is done there by whoever."""

import datetime
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role, Shop
from layflat.web.stock.booking import cut_offcut, reserve, take
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.rolls import locked_roll
from layflat.web.stock.setting_right import discard
from web.covered import a_body, a_job
from web.stock.test_booking import a_new_roll

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
FORM = {
    "film": "Clear 150",
    "lot": "LW-8840",
    "width": "1524",
    "length": "15.2",
    "place": "rack 2",
    "day": "2026-04-02",
}


def sent(roll: Roll | None = None, **values: str) -> dict[str, str]:
    version = {"version": str(Roll.objects.get(pk=roll.pk).version)} if roll else {}
    return {"once": uuid.uuid4().hex, **version, **values}


def text_of(answer: Any) -> str:
    found: str = answer.content.decode()
    return found


@pytest.fixture
def job(shop: Shop) -> Job:
    return a_job("2031-0007", body=a_body())


def test_a_roll_is_received_once(signed_in: Browser, people: dict[Role, Person]) -> None:
    counter, form = signed_in(Role.COUNTER), sent(**FORM)
    answers = [counter.post("/stock/receive/", form) for _ in range(2)]
    roll = Roll.objects.get()
    assert [answer.headers["Location"] for answer in answers] == [f"/stock/{roll.pk}/"] * 2
    assert (roll.number, roll.lot, roll.width_mm, roll.left_mm) == (1, "LW-8840", 1_524, 15_200)
    assert roll.movements.get().who == people[Role.COUNTER]
    page = text_of(counter.get(f"/stock/{roll.pk}/"))
    assert "R1 is in stock: 15.200 m of Clear 150, 1524 mm wide. Write R1 on it." in page


def test_only_the_owner_writes_and_reads_what_a_roll_cost(signed_in: Browser) -> None:
    for role in (Role.COUNTER, Role.OWNER):
        signed_in(role).post("/stock/receive/", sent(**FORM, cost="987.65"))
    counters, owners = Roll.objects.order_by("number")
    assert (counters.cost, owners.cost) == (None, Decimal("987.65"))
    for role in Role:
        browser = signed_in(role)
        pages = [browser.get(f"/stock/{owners.pk}/"), browser.get("/stock/?which=all")]
        pages.append(browser.get(f"/lots/{owners.lot}/"))
        assert any("987.65" in text_of(page) for page in pages) == (role is Role.OWNER)
        assert any("Cost" in text_of(page) for page in pages) == (role is Role.OWNER)
    form = sent(counters, cost="1000")
    assert signed_in(Role.COUNTER).post(f"/stock/{counters.pk}/cost/", form).status_code == 403
    signed_in(Role.OWNER).post(f"/stock/{counters.pk}/cost/", form)
    assert Roll.objects.get(pk=counters.pk).cost == 1000


@pytest.mark.parametrize("cost", ["much", "-1", "NaN", "1e99", "Infinity"])
def test_what_is_no_cost_is_refused(signed_in: Browser, cost: str) -> None:
    page = text_of(signed_in(Role.OWNER).post("/stock/receive/", sent(**FORM, cost=cost)))
    assert "is no cost" in page
    assert not Roll.objects.exists()


def test_installers_receive_nothing(signed_in: Browser) -> None:
    installer = signed_in(Role.INSTALLER)
    assert installer.post("/stock/receive/", sent(**FORM)).status_code == 403
    assert "the counter writes down the first one" in text_of(installer.get("/stock/"))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"film": ""}, "which film"),
        ({"lot": "--"}, "lot number"),
        ({"width": "-5"}, "is no width"),
        ({"width": "1.5"}, "wide"),
        ({"length": "0"}, "lies between 1 mm"),
        ({"length": "600 m"}, "lies between"),
        ({"day": "2999-01-01"}, "future"),
        ({"day": "soon"}, "on which day"),
        ({"day": "2026-02-31"}, "on which day"),
        ({"place": "x" * 81}, "at most 80"),
    ],
)
def test_a_form_with_a_mistake_loses_nothing(
    signed_in: Browser, values: dict[str, str], words: str
) -> None:
    counter, form = signed_in(Role.COUNTER), sent(**{**FORM, **values})
    page = text_of(counter.post("/stock/receive/", form))
    assert words in page
    assert 'value="rack 2"' in page or "place" in values
    assert not Roll.objects.exists()
    # The same form goes through once it is mended: nothing was claimed by the refusal.
    assert counter.post("/stock/receive/", {**form, **FORM}).status_code == 302


def test_a_nul_is_not_understood(signed_in: Browser) -> None:
    answer = signed_in(Role.COUNTER).post("/stock/receive/", sent(**{**FORM, "lot": "a\x00b"}))
    assert answer.status_code == 400
    assert not Roll.objects.exists()


ACTS: list[tuple[str, dict[str, str], int]] = [
    ("correct", {"length": "14", "reason": "measured"}, 14_000),
    ("discard", {"what": "some", "length": "1.5", "reason": "a crease"}, 13_500),
    ("discard", {"what": "all", "reason": "used up"}, 0),
    ("offcut", {"length": "2", "width": "700", "place": "box"}, 13_000),
    ("place", {"place": "by the plotter"}, 15_000),
]


@pytest.mark.parametrize(("name", "values", "left"), ACTS)
def test_what_is_done_to_a_roll_is_done_once_and_seen_by_the_second_editor(
    signed_in: Browser,
    people: dict[Role, Person],
    roll: Roll,
    name: str,
    values: dict[str, str],
    left: int,
) -> None:
    installer, counter = signed_in(Role.INSTALLER), signed_in(Role.COUNTER)
    address, late = f"/stock/{roll.pk}/{name}/", sent(roll, **values)
    form = sent(roll, **values)
    for _ in range(2):
        answer = installer.post(address, form)
        assert answer.headers["Location"] == f"/stock/{roll.pk}/"
    found = Roll.objects.get(pk=roll.pk)
    assert found.left_mm == left
    newest = found.movements.last()
    assert newest is not None
    assert newest.who == people[Role.INSTALLER]
    page = text_of(installer.get(f"/stock/{roll.pk}/"))
    assert newest.get_kind_display().capitalize() in page
    count = Movement.objects.count()
    told = text_of(counter.post(address, late))
    assert f"installer (last: {newest.get_kind_display()}) changed R1 since you opened" in told
    assert Movement.objects.count() == count
    for value in values.values():
        assert left == 0 or value in told


@pytest.mark.parametrize(
    ("name", "values", "words"),
    [
        (
            "discard",
            {"what": "some", "length": "15.001", "reason": "torn"},
            "R1 has 15.000 m left, less",
        ),
        ("offcut", {"length": "99", "width": "700"}, "less than 99.000 m"),
        ("offcut", {"length": "1", "width": "2000"}, "wider than R1"),
        (
            "offcut",
            {"length": "1", "width": "90", "was_taken": "yes"},
            "so no rest of 1.000 m lies",
        ),
        ("not-kept", {}, "R1 is no rest of cut film"),
        ("correct", {"length": "-1", "reason": "x"}, "is no length"),
        ("correct", {"length": "10", "reason": " "}, "Say why"),
        ("discard", {"what": "some", "length": "", "reason": "torn"}, "is missing"),
        ("discard", {"what": "all", "reason": ""}, "Say why"),
        ("place", {"place": "y" * 81}, "at most 80"),
        ("release", {"job": "2031-0007"}, "No film of R1 is reserved"),
        ("release", {"job": ""}, "No film of R1 is reserved"),
    ],
)
def test_what_cannot_be_is_said_beside_what_was_typed(
    signed_in: Browser, roll: Roll, name: str, values: dict[str, str], words: str
) -> None:
    page = text_of(
        signed_in(Role.INSTALLER).post(f"/stock/{roll.pk}/{name}/", sent(roll, **values))
    )
    assert words in page
    assert locked_roll(roll.pk).left_mm == 15_000
    assert Movement.objects.count() == 1


def test_a_rest_that_was_kept_by_mistake_is_taken_back_on_its_page(
    signed_in: Browser, people: dict[Role, Person], roll: Roll
) -> None:
    take(roll, 2_000, kind=Movement.Kind.CUT, job=None, who=None, source="section 1")
    installer = signed_in(Role.INSTALLER)
    form = {"length": "2", "width": "700", "was_taken": "yes"}
    installer.post(f"/stock/{roll.pk}/offcut/", sent(roll, **form))
    offcut = Roll.objects.get(cut_from=roll)
    assert (offcut.left_mm, offcut.kept, locked_roll(roll.pk).left_mm) == (2_000, "beside", 13_000)
    assert "It was not kept" in text_of(installer.get(f"/stock/{offcut.pk}/"))
    assert "It was not kept" not in text_of(installer.get(f"/stock/{roll.pk}/"))
    page = text_of(installer.post(f"/stock/{offcut.pk}/not-kept/", sent(offcut), follow=True))
    assert f"{offcut} was not kept; its number is not used again." in page
    offcut.refresh_from_db()
    assert (offcut.left_mm, offcut.is_finished, locked_roll(roll.pk).left_mm) == (0, True, 13_000)
    newest = roll.movements.last()
    assert newest is not None
    assert newest.who == people[Role.INSTALLER]


def test_a_reservation_is_given_back_and_the_job_says_so(
    signed_in: Browser, people: dict[Role, Person], roll: Roll, job: Job
) -> None:
    reserve(roll, job, 5_000, who=None)
    installer = signed_in(Role.INSTALLER)
    page = text_of(installer.get(f"/stock/{roll.pk}/"))
    assert "15.000 m left, 10.000 m of it free" in page
    assert "5.000 m for" in page
    installer.post(f"/stock/{roll.pk}/release/", sent(roll, job=job.number))
    event = job.events.get()
    assert (event.who, event.sentence) == (
        people[Role.INSTALLER],
        "5.000 m of R1 are no longer reserved.",
    )
    assert "given back on" in text_of(installer.get(f"/stock/{roll.pk}/"))


def test_each_movement_stands_with_what_was_left_after_it(
    signed_in: Browser, roll: Roll, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("layflat.web.stock.views._MOVES_PER_PAGE", 3)
    for number in range(1, 6):
        kind = Movement.Kind.CUT
        take(roll, 1_000, kind=kind, job=job, who=None, source=f"section {number}")
    browser = signed_in(Role.INSTALLER)
    first, second = (browser.get(f"/stock/{roll.pk}/?page={n}") for n in (1, 2))
    lines = [*first.context["lines"], *second.context["lines"]]
    assert [left for _, left in lines] == [10_000, 11_000, 12_000, 13_000, 14_000, 15_000]
    assert "− 1.000 m" in text_of(first)
    assert "+ 15.000 m" in text_of(second)


def test_rolls_are_listed_found_and_chosen(signed_in: Browser, roll: Roll, job: Job) -> None:
    a_new_roll(film="Matt ÜV", lot="MQ 12.3", width_mm=610, place="Schrank Süd")
    cut_offcut(roll, width_mm=700, length_mm=1_000, place="box", who=None)
    discard(a_new_roll(lot="OLD-1"), reason="torn", who=None)
    browser = signed_in(Role.INSTALLER)

    def shown(asked: str) -> list[str]:
        return [str(found.roll) for found in browser.get(f"/stock/?{asked}").context["rolls"]]

    assert shown("") == ["R3", "R2", "R1"]
    assert shown("which=offcuts") == ["R3"]
    assert shown("which=rolls") == ["R2", "R1"]
    assert shown("which=finished") == ["R4"]
    assert shown("which=all&q=old") == ["R4"]
    assert shown("q=mq123") == shown("q=sud+uv") == shown("q=r2") == ["R2"]
    assert shown("q=R99999999999") == []
    assert "Show every roll" in text_of(browser.get("/stock/?q=nothing"))


def test_strips_are_to_scale(signed_in: Browser, roll: Roll, job: Job) -> None:
    reserve(roll, job, 3_000, who=None)
    take(roll, 5_000, kind=Movement.Kind.CUT, job=None, who=None, source="")
    offcut = cut_offcut(roll, width_mm=762, length_mm=2_000, place="", who=None)
    found = {s.roll: s for s in signed_in(Role.OWNER).get("/stock/").context["rolls"]}
    whole, small = found[roll].strip, found[offcut].strip
    assert whole.left / whole.came == pytest.approx(8 / 15, rel=1e-3)
    assert whole.parts[0].width / whole.left == pytest.approx(3 / 8, rel=1e-3)
    assert small.left / whole.left == pytest.approx(2 / 8, rel=1e-3)
    assert small.height_px == whole.height_px / 2


def test_an_inch_shop_sees_feet_and_inches(signed_in: Browser, shop: Shop) -> None:
    Shop.objects.update(inches=True)
    counter = signed_in(Role.COUNTER)
    counter.post("/stock/receive/", sent(**{**FORM, "width": "60", "length": "50 ft"}))
    roll = Roll.objects.get()
    assert (roll.width_mm, roll.left_mm) == (1_524, 15_240)
    page = text_of(counter.get("/stock/"))
    assert "60.0 in wide" in page
    assert "<b>50 ft</b> left" in page


def test_pages_ask_the_same_of_the_database_however_much_there_is(
    signed_in: Browser, roll: Roll, job: Job
) -> None:
    browser, asked = signed_in(Role.OWNER), []
    for _ in range(2):
        counts = []
        for address in ("/stock/", f"/stock/{roll.pk}/"):
            with CaptureQueriesContext(connection) as queries:
                assert browser.get(address).status_code == 200
            counts.append(len(queries))
        asked.append(counts)
        for number in range(5):
            other = a_new_roll()
            reserve(other, job, 1_000, who=None)
            take(roll, 100, kind=Movement.Kind.CUT, job=job, who=None, source=f"section {number}")
        reserve(roll, job, 1_000, who=None)
    assert asked[0] == asked[1]
    assert max(asked[1]) <= 15


def test_there_is_no_such_roll(signed_in: Browser) -> None:
    browser = signed_in(Role.OWNER)
    assert browser.get("/stock/99/").status_code == 404
    assert browser.post("/stock/99/place/", sent(version="1", place="x")).status_code == 404


def test_the_day_that_is_offered_is_today(signed_in: Browser) -> None:
    page = signed_in(Role.COUNTER).get("/stock/receive/")
    offered = datetime.date.fromisoformat(page.context["values"]["day"])
    assert abs((timezone.now().date() - offered).days) <= 1


def test_a_mistyped_lot_is_set_right_with_its_offcuts(
    signed_in: Browser, people: dict[Role, Person]
) -> None:
    roll = a_new_roll(lot="K7-2402")
    with transaction.atomic():
        offcut = cut_offcut(roll, width_mm=600, length_mm=900, place="", who=None)
    roll.refresh_from_db()
    counter, to = signed_in(Role.COUNTER), f"/stock/{offcut.pk}/rename/"
    right = {"film": roll.film, "lot": "K7-2204", "reason": "two digits were swapped"}
    assert "Say why" in text_of(counter.post(to, sent(offcut, **{**right, "reason": " "})))
    assert "already" in text_of(counter.post(to, sent(offcut, **{**right, "lot": roll.lot})))
    answer = counter.post(to, sent(offcut, **right), follow=True)
    assert "R1, R2 are" in text_of(answer)
    for one in Roll.objects.all():
        assert one.lot == "K7-2204"
        last = one.movements.last()
        assert (last.kind, last.delta_mm) == (Movement.Kind.RENAMED, 0)
        assert last.reason.endswith("lot K7-2204: two digits were swapped")
    # By the new number it is found, by the old one no more.
    assert ">R1<" in text_of(counter.get("/stock/?q=K7-2204"))
    assert ">R1<" not in text_of(counter.get("/stock/?q=K7-2402"))
    assert signed_in(Role.INSTALLER).post(to, sent(offcut, **right)).status_code == 403
