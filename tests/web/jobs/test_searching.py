"""Jobs are found by number, plate, VIN and customer, also closed ones, whatever the letters."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from layflat.web.jobs.finding import find_customers
from layflat.web.jobs.models import Customer, Job, Stage, Vehicle
from layflat.web.jobs.searching import find_jobs
from layflat.web.people.models import Role, Shop

Browser = Callable[[Role], Client]


def a_job(number: str, name: str, plate: str = "", vin: str = "", **values: str) -> Job:
    customer = Customer.objects.create(name=name)
    vehicle = Vehicle.objects.create(customer=customer, plate=plate, vin=vin, described="van")
    return Job.objects.create(number=number, vehicle=vehicle, **values)


@pytest.fixture
def three(shop: Shop) -> None:
    a_job("2031-0007", "Zoë Müßig", "LY-204 W", "1M8GDM9AXKP042788")
    a_job("2031-0008", "Šárka Ørsted-Łow", "ÄÖ 31 PH", stage=Stage.CLOSED)
    a_job("2030-0207", "Underloaf Bakery", "LY 880 B")


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("0007", ["2031-0007"]),
        ("2031", ["2031-0008", "2031-0007"]),
        ("2031-0008", ["2031-0008"]),
        ("ly204w", ["2031-0007"]),
        ("LY 204-w", ["2031-0007"]),
        ("ly", ["2030-0207", "2031-0007"]),
        ("äö31", ["2031-0008"]),
        ("ÄÖ 31", ["2031-0008"]),
        ("gdm9axkp", ["2031-0007"]),
        ("müssig", ["2031-0007"]),
        ("MÜSSIG zoë", ["2031-0007"]),
        ("ZOE", ["2031-0007"]),
        ("šÁRKA", ["2031-0008"]),
        ("ørsted", ["2031-0008"]),
        ("ØRSTED-ŁOW", ["2031-0008"]),
        ("bakery ly", ["2030-0207"]),
        ("bakery zoe", []),
        ("%", []),
        ("_", []),
        ("\x00bakery\x00", ["2030-0207"]),
        ("", ["2030-0207", "2031-0008", "2031-0007"]),
    ],
)
def test_every_word_is_found_in_either_case(three: None, typed: str, found: list[str]) -> None:
    text = typed.replace("\x00", " ")
    assert [job.number for job in find_jobs(text)] == found


def test_what_is_typed_at_the_enquiry_finds_customers_alike(three: None) -> None:
    for typed in ("zOË MÜ", "zoe mus", "ly 204", "LY204W", "gdm9a", "\x00Zoë"):
        assert [known.customer.name for known in find_customers(typed)] == ["Zoë Müßig"], typed
    assert [known.customer.name for known in find_customers("šÁR")] == ["Šárka Ørsted-Łow"]


def test_what_is_renamed_is_found_by_its_new_name_only(three: None) -> None:
    customer = Customer.objects.get(name="Zoë Müßig")
    customer.name = "Ülkü Çağ"
    customer.save()
    assert [job.number for job in find_jobs("ÜLKÜ ÇAĞ")] == ["2031-0007"]
    assert not find_jobs("müßig")
    Customer.objects.bulk_create([Customer(name="Ÿves")])
    assert Customer.objects.get(name_folded="yves")


@pytest.mark.parametrize("role", Role)
def test_the_page_lists_open_and_closed_jobs(signed_in: Browser, three: None, role: Role) -> None:
    browser = signed_in(role)
    page = browser.get("/jobs/").content.decode()
    assert "3 jobs" in page
    assert page.count('<span class="state done">Closed</span>') == 1
    closed = browser.get("/jobs/?which=closed").content.decode()
    assert "1 job. " in closed
    assert "2031-0008" in closed
    assert "2031-0008" not in browser.get("/jobs/?which=open").content.decode()
    # What makes no sense is every job, the first page.
    assert "3 jobs" in browser.get("/jobs/?which=all&page=x").content.decode()
    assert "&lt;b&gt;" in browser.get("/jobs/?q=<b>").content.decode()


def test_a_whole_number_leads_to_its_job(signed_in: Browser, three: None) -> None:
    answer = signed_in(Role.COUNTER).get("/jobs/?q=+2031-0008 ")
    assert answer.headers["Location"] == "/jobs/2031-0008/"
    assert signed_in(Role.COUNTER).get("/jobs/?q=%00").status_code == 400


def test_what_is_not_there_is_said_with_what_to_do(signed_in: Browser, shop: Shop) -> None:
    assert "Write down an enquiry" in signed_in(Role.COUNTER).get("/jobs/").content.decode()
    assert "as soon as the counter" in signed_in(Role.INSTALLER).get("/jobs/").content.decode()
    page = signed_in(Role.COUNTER).get("/jobs/?q=siskin&which=closed").content.decode()
    assert "No closed job has “siskin” in its number" in page
    assert "Show every job" in page


def test_strangers_find_nothing(three: None) -> None:
    assert Client().get("/jobs/?q=zoe").headers["Location"].startswith(("/sign-in/", "/start/"))


def test_ten_thousand_jobs_come_in_pages_with_few_queries(
    signed_in: Browser, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    customers = Customer.objects.bulk_create(
        Customer(name=f"Müller {a}{b}") for a in "abcdefghij" for b in "abcdefghij"
    )
    vehicles = Vehicle.objects.bulk_create(
        Vehicle(customer=customer, plate=f"LY {i:03d}") for i, customer in enumerate(customers)
    )
    Job.objects.bulk_create(
        Job(number=f"2031-{i:05d}", vehicle=vehicles[i % 100], stage=list(Stage)[i % 6])
        for i in range(10_000)
    )
    browser = signed_in(Role.OWNER)
    for asked, count in (("", 10_000), ("q=MÜLLER+BJ", 100), ("q=müller&page=7", 10_000)):
        with django_assert_max_num_queries(8):
            page = browser.get(f"/jobs/?{asked}").content.decode()
        assert page.count("<li>\n    <h2>") == 50
        assert f"{count} jobs" in page
    assert "page 7 of 200" in page
    assert "?q=m%C3%BCller&amp;page=8" in page


@pytest.mark.on_sqlite
@pytest.mark.django_db(transaction=True)
def test_names_from_before_are_folded_by_the_migration() -> None:
    old, new = [("jobs", "0002_faults_on_drawings_and_answered_forms")], None
    executor = MigrationExecutor(connection)
    new = executor.loader.graph.leaf_nodes()
    try:
        executor.migrate(old)
        apps = executor.loader.project_state(old).apps
        owner = apps.get_model("jobs", "Customer").objects.create(name="Zoë Müßig")
        apps.get_model("jobs", "Vehicle").objects.create(customer=owner, plate="ÄÖ-31 PH", vin="1M")
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(new)
    assert Customer.objects.get().name_folded == "zoe mussig"
    assert Vehicle.objects.get().marks_folded == "ao31ph 1m"
