"""Two people at once, wet gloves that tap twice, and wrong roles."""

import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.web.jobs.merging import merged
from layflat.web.jobs.models import AnsweredForm, Customer, Fault, Job, Stage, YearCount
from layflat.web.jobs.numbers import next_number
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from web.jobs.conftest import jpeg

Browser = Callable[[Role], Client]
Sent = Callable[..., dict[str, Any]]
TOKEN = uuid.UUID(int=7).hex


def edit_of(client: Client, job: Job, part: str) -> dict[str, str]:
    """The edit form as the page fills it."""
    context = client.get(f"/jobs/{job.number}/edit/{part}/").context
    assert context is not None
    seen = {f"seen-{name}": value for name, value in context["seen"].items()}
    return {
        **seen,
        **context["seen"],
        "version": str(context["version"]),
        "once": uuid.uuid4().hex,
    }


def told(answer: Any) -> list[str]:
    return [str(message) for message in get_messages(answer.wsgi_request)]


def test_the_second_editor_is_told_and_sees_both_texts(signed_in: Browser, job: Job) -> None:
    counter, owner = signed_in(Role.COUNTER), signed_in(Role.OWNER)
    first, second = edit_of(counter, job, "wishes"), edit_of(owner, job, "wishes")
    counter.post(f"/jobs/{job.number}/edit/wishes/", {**first, "wishes": "Nose and doors."})
    late = {**second, "wishes": "Nose and mirrors."}
    page = owner.post(f"/jobs/{job.number}/edit/wishes/", late)
    shown = page.content.decode()
    assert "Somebody was quicker" in shown
    assert "counter wrote on" in shown
    assert shown.count("Nose and doors.") >= 1
    assert "Nose and mirrors.</textarea>" in shown
    job.refresh_from_db()
    assert job.wishes == "Nose and doors."

    # Having seen both, the second one's word holds; the record keeps the first one's.
    again = edit_of(owner, job, "wishes")
    owner.post(f"/jobs/{job.number}/edit/wishes/", {**again, "wishes": "Nose, doors, mirrors."})
    job.refresh_from_db()
    assert job.wishes == "Nose, doors, mirrors."
    event = job.events.last()
    assert event is not None
    assert event.before["values"] == {"wishes": "Nose and doors."}


def test_the_form_after_a_clash_can_be_sent_as_it_is(signed_in: Browser, job: Job) -> None:
    counter, owner = signed_in(Role.COUNTER), signed_in(Role.OWNER)
    first, second = edit_of(counter, job, "hold"), edit_of(owner, job, "hold")
    counter.post(f"/jobs/{job.number}/edit/hold/", {**first, "blocked_by": "the painter"})
    page = owner.post(f"/jobs/{job.number}/edit/hold/", {**second, "blocked_by": "parts"})
    context = page.context
    assert context is not None
    seen = {f"seen-{name}": value for name, value in context["seen"].items()}
    answer = owner.post(
        f"/jobs/{job.number}/edit/hold/",
        {
            **seen,
            "version": context["version"],
            "once": uuid.uuid4().hex,
            "assigned": context["seen"]["assigned"],
            "blocked_by": "parts",
        },
    )
    assert answer.status_code == 302
    job.refresh_from_db()
    assert job.blocked_by == "parts"


def test_changes_that_do_not_touch_each_other_are_both_kept(
    signed_in: Browser, job: Job, people: dict[Role, Person]
) -> None:
    counter, owner = signed_in(Role.COUNTER), signed_in(Role.OWNER)
    first, second = edit_of(counter, job, "wishes"), edit_of(owner, job, "wishes")
    counter.post(f"/jobs/{job.number}/edit/wishes/", {**first, "wishes": "Doors."})
    answer = owner.post(f"/jobs/{job.number}/edit/wishes/", {**second, "promised": "2031-05-24"})
    job.refresh_from_db()
    assert (job.wishes, str(job.promised)) == ("Doors.", "2031-05-24")
    assert any("both changes are kept" in sentence for sentence in told(answer))


def test_an_edit_can_be_put_back_unless_it_was_edited_again(signed_in: Browser, job: Job) -> None:
    counter = signed_in(Role.COUNTER)
    address = f"/jobs/{job.number}/edit/customer/"
    counter.post(address, {**edit_of(counter, job, "customer"), "name": "Perrin Ash"})
    event = Event.objects.get(kind="job.changed")
    back = f"/jobs/{job.number}/history/{event.pk}/back/"
    counter.post(back, {"once": uuid.uuid4().hex})
    assert Customer.objects.get().name == "Perrin Oake"
    refused = counter.post(back, {"once": uuid.uuid4().hex})
    assert "It has been changed again since; edit it instead." in told(refused)
    assert Customer.objects.get().name == "Perrin Oake"


def test_an_impossible_edit_keeps_what_was_typed(signed_in: Browser, job: Job) -> None:
    counter = signed_in(Role.COUNTER)
    form = {**edit_of(counter, job, "vehicle"), "vin": "123", "paint": "pearl"}
    page = counter.post(f"/jobs/{job.number}/edit/vehicle/", form).content.decode()
    assert "this one has 3" in page
    assert 'value="pearl"' in page
    job.vehicle.refresh_from_db()
    assert (job.vehicle.paint, job.vehicle.version) == ("", 1)


words = st.dictionaries(st.sampled_from("abc"), st.sampled_from(["", "x", "y"]), min_size=3)


@settings(derandomize=True, max_examples=200)
@given(words, words, words)
def test_a_merge_loses_nobodys_change(
    seen: dict[str, str], current: dict[str, str], mine: dict[str, str]
) -> None:
    merge = merged(seen=seen, current=current, mine=mine)
    for name in seen:
        if current[name] == seen[name]:
            assert merge.values[name] == mine[name]
        elif mine[name] in (seen[name], current[name]):
            assert merge.values[name] == current[name]
        else:
            assert name in merge.clashes
            assert merge.values[name] == mine[name]
    groups = [*merge.clashes, *merge.theirs, *merge.mine]
    assert len(groups) == len(set(groups))


@pytest.mark.parametrize(
    ("path", "fields", "count"),
    [
        ("/jobs/enquiry/", {"name": "P", "plate": "X 1"}, lambda: Job.objects.count() - 1),
        ("faults/", {"kind": "chip", "panel": "Hood"}, Fault.objects.count),
        ("walk-round/close/", {"nothing": "yes"}, lambda: _events("job.walked-round")),
        ("back/", {"reason": "too early"}, lambda: _events("job.sent-back")),
    ],
)
def test_a_double_tap_does_it_once_and_leads_to_the_same_page(
    signed_in: Browser, on_walk: Job, path: str, fields: dict[str, str], count: Callable[[], int]
) -> None:
    counter = signed_in(Role.COUNTER)
    address = path if path.startswith("/") else f"/jobs/{on_walk.number}/{path}"
    answers = [counter.post(address, {**fields, "once": TOKEN}) for _ in range(3)]
    assert count() == 1
    assert len({answer.headers["Location"] for answer in answers}) == 1
    assert AnsweredForm.objects.count() == 1


def _events(kind: str) -> int:
    return Event.objects.filter(kind=kind).count()


def test_a_form_without_its_token_changes_nothing(signed_in: Browser, on_walk: Job) -> None:
    counter = signed_in(Role.COUNTER)
    for token in ("", "x" * 32 + "y", "../" * 10 + "ab"):
        fields = {"kind": "chip", "panel": "Hood", "once": token}
        page = counter.post(f"/jobs/{on_walk.number}/faults/", fields).content.decode()
        assert "This page is out of date" in page
    assert not Fault.objects.exists()


def test_a_refused_change_frees_its_token(signed_in: Browser, on_walk: Job) -> None:
    counter = signed_in(Role.COUNTER)
    address = f"/jobs/{on_walk.number}/walk-round/close/"
    refused = counter.post(address, {"once": TOKEN})
    assert any("tick that there was none" in sentence for sentence in told(refused))
    counter.post(address, {"once": TOKEN, "nothing": "yes"})
    on_walk.refresh_from_db()
    assert on_walk.stage == Stage.COVER


def test_numbers_start_anew_each_year_of_the_shops_clock(shop: Shop) -> None:
    shop.time_zone = "Pacific/Auckland"
    last_day = datetime(2030, 12, 31, 10, 59, tzinfo=UTC)
    new_year = datetime(2030, 12, 31, 11, 0, tzinfo=UTC)
    numbers = [next_number(shop, moment) for moment in (last_day, last_day, new_year)]
    assert numbers == ["2030-0001", "2030-0002", "2031-0001"]
    assert YearCount.objects.get(year=2030).last == 2


def test_numbers_go_on_after_jobs_that_came_from_elsewhere(shop: Shop, job: Job) -> None:
    for number in ("2031-0041", "2031-x", "2031-0007"):
        Job.objects.create(number=number, vehicle=job.vehicle)
    assert next_number(shop, datetime(2031, 5, 1, tzinfo=UTC)) == "2031-0042"


CLOSED_TO_INSTALLERS = (
    "enquiry/",
    "find/customers/",
    "find/bodies/",
    "vin/",
    "{}/edit/wishes/",
    "{}/edit/vehicle/",
    "{}/edit/customer/",
    "{}/back/",
)
OPEN_TO_ALL = (
    "{}/",
    "{}/edit/hold/",
    "{}/history/",
    "{}/walk-round/",
    "{}/warnings/",
)
POSTS = (
    "{}/begin/",
    "{}/walk-round/close/",
    "{}/faults/",
    "{}/faults/1/withdraw/",
    "{}/faults/1/restore/",
    "{}/history/1/back/",
)


def paths(job: Job, patterns: tuple[str, ...]) -> Iterator[str]:
    return (f"/jobs/{pattern.format(job.number)}" for pattern in patterns)


def test_who_may_open_what(signed_in: Browser, client: Client, on_walk: Job) -> None:
    installer, counter = signed_in(Role.INSTALLER), signed_in(Role.COUNTER)
    for path in paths(on_walk, CLOSED_TO_INSTALLERS):
        assert {installer.get(path).status_code, installer.post(path).status_code} == {403}, path
        assert counter.get(path).status_code in (200, 405), path
    for path in paths(on_walk, OPEN_TO_ALL):
        assert installer.get(path).status_code == 200, path
        assert counter.get(path).status_code == 200, path
    for path in paths(on_walk, POSTS):
        assert installer.get(path).status_code == 405, path
    for path in paths(on_walk, CLOSED_TO_INSTALLERS + OPEN_TO_ALL + POSTS):
        for answer in (client.get(path), client.post(path)):
            assert answer.headers["Location"].startswith("/sign-in/"), path


def test_installers_take_back_only_what_they_may_edit(
    signed_in: Browser, job: Job, people: dict[Role, Person]
) -> None:
    counter, installer = signed_in(Role.COUNTER), signed_in(Role.INSTALLER)
    for part, change in (("customer", {"name": "Q"}), ("hold", {"blocked_by": "rain"})):
        form = {**edit_of(counter, job, part), **change}
        counter.post(f"/jobs/{job.number}/edit/{part}/", form)
    customer, hold = Event.objects.filter(kind="job.changed")
    for event, status in ((customer, 403), (hold, 302)):
        address = f"/jobs/{job.number}/history/{event.pk}/back/"
        assert installer.post(address, {"once": uuid.uuid4().hex}).status_code == status
    job.refresh_from_db()
    assert (job.blocked_by, Customer.objects.get().name) == ("", "Q")


def test_unknown_jobs_parts_faults_and_pictures(signed_in: Browser, on_walk: Job) -> None:
    counter = signed_in(Role.COUNTER)
    for path in ("9999-1/", "9999-1/walk-round/", f"{on_walk.number}/edit/prices/"):
        assert counter.get(f"/jobs/{path}").status_code == 404
    assert counter.get(f"/jobs/{on_walk.number}/pictures/{'0' * 64}/").status_code == 404
    answer = counter.post(
        f"/jobs/{on_walk.number}/faults/5/withdraw/", {"reason": "x", "once": TOKEN}
    )
    assert f"Job {on_walk.number} has no fault 5." in told(answer)


def test_a_picture_is_shown_only_with_its_own_job(
    signed_in: Browser, on_walk: Job, sent: Sent
) -> None:
    counter = signed_in(Role.COUNTER)
    photo = SimpleUploadedFile("a.jpg", jpeg())
    counter.post(f"/jobs/{on_walk.number}/faults/", sent(kind="chip", panel="Hood", photo=photo))
    sha = Fault.objects.get().photo
    other = Job.objects.create(number="2031-7", vehicle=on_walk.vehicle)
    assert sha is not None
    assert counter.get(f"/jobs/{on_walk.number}/pictures/{sha.sha256}/").status_code == 200
    assert counter.get(f"/jobs/{other.number}/pictures/{sha.sha256}/").status_code == 404
