"""The car is seen again, with what was left to clear, and goes into the bay again if need be."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from layflat.web.handback.models import FollowUp, HandBack, Passport
from layflat.web.handback.passports import is_whole
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.handback.rows import give, noted

Browser = Callable[[Role], Client]


@pytest.fixture
def handed(job: Job, people: dict[Role, Person], signed_in: Browser) -> Job:
    """Handed back with a water pocket that was left to clear."""
    noted(job, people[Role.OWNER])
    give(signed_in(Role.COUNTER), job)
    job.refresh_from_db()
    return job


def visit(browser: Client, job: Job, **values: Any) -> Any:
    sent = {"once": uuid.uuid4().hex, **values}
    return browser.post(f"/jobs/{job.number}/follow-up/write/", sent, follow=True)


def test_a_day_is_proposed_within_one_or_two_weeks(job: Job, signed_in: Browser) -> None:
    """One or two weeks: common practice, no source."""
    page = signed_in(Role.COUNTER).get(f"/jobs/{job.number}/hand-back/").content.decode()
    (due,) = [line for line in page.splitlines() if 'name="due"' in line]
    day = datetime.date.fromisoformat(due.split('value="')[-1][:10])
    assert 10 <= (day - timezone.now().date()).days <= 14


def test_a_visit_is_written_down_and_the_passport_gains_a_version(
    handed: Job, signed_in: Browser
) -> None:
    browser = signed_in(Role.COUNTER)
    assert "Left to clear" in browser.get(f"/jobs/{handed.number}/follow-up/").content.decode()
    page = visit(browser, handed, **{"flag-1": "clear", "found": "All edges lie."})
    assert "nothing is open on this job" in page.content.decode()
    found = FollowUp.objects.get()
    assert found.found == "Flag 1, water pocket: clear now. All edges lie."
    assert found.came_at is not None
    first, second = Passport.objects.order_by("version")
    assert is_whole(first)
    assert first.content["visits"] == []
    assert second.content["visits"][0]["found"] == found.found
    handed.refresh_from_db()
    assert handed.stage == Stage.HANDED
    # A second time, perhaps by somebody else: nothing is left to write down.
    again = visit(signed_in(Role.OWNER), handed, found="x").content.decode()
    assert "somebody was quicker" in again
    assert Passport.objects.count() == 2


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"found": "All well."}, "Say how flag 1, water pocket, looks now"),
        ({"flag-1": "other", "found": "x"}, "Say how flag 1"),
        ({"flag-1": "clear", "found": "x" * 3000}, "in 2000 letters or fewer"),
    ],
)
def test_what_is_not_said_yet_is_asked_for(
    handed: Job, signed_in: Browser, values: dict[str, str], says: str
) -> None:
    page = visit(signed_in(Role.COUNTER), handed, **values).content.decode()
    assert says in page
    assert values["found"][:1500] in page
    assert FollowUp.objects.get().came_at is None


def test_what_must_be_mended_goes_to_the_bay_and_out_again(handed: Job, signed_in: Browser) -> None:
    browser = signed_in(Role.COUNTER)
    page = visit(browser, handed, **{"flag-1": "mend", "found": "It grew."}).content.decode()
    assert "in the bay again" in page
    handed.refresh_from_db()
    assert handed.stage == Stage.BAY
    again = f"/jobs/{handed.number}/hand-back/again/"
    # Not before the inspection is ended.
    assert (
        "The inspection is not ended"
        in browser.post(again, {"once": uuid.uuid4().hex}, follow=True).content.decode()
    )
    Job.objects.filter(pk=handed.pk).update(stage=Stage.CHECKED)
    sent = {"once": uuid.uuid4().hex}
    for _ in range(2):
        browser.post(again, sent)
    handed.refresh_from_db()
    assert handed.stage == Stage.HANDED
    assert HandBack.objects.count() == 1
    assert [row.version for row in Passport.objects.order_by("version")] == [1, 2, 3]
    assert Event.objects.filter(kind="handback.given-again").count() == 1


def test_a_day_is_moved_and_called_off_with_a_reason(handed: Job, signed_in: Browser) -> None:
    browser, page = signed_in(Role.COUNTER), f"/jobs/{handed.number}/follow-up/"
    day = (timezone.now().date() + datetime.timedelta(days=20)).isoformat()
    browser.post(f"{page}day/", {"once": uuid.uuid4().hex, "due": day})
    assert FollowUp.objects.get().due_on.isoformat() == day
    assert Event.objects.filter(kind="handback.visit-moved").count() == 1
    browser.post(f"{page}call-off/", {"once": uuid.uuid4().hex, "because": " "})
    assert FollowUp.objects.get().cancelled_because == ""
    browser.post(f"{page}call-off/", {"once": uuid.uuid4().hex, "because": "moved away"})
    assert FollowUp.objects.get().cancelled_because == "moved away"
    assert "Called off" in browser.get(page).content.decode()


def test_only_the_counter_writes(handed: Job, signed_in: Browser) -> None:
    browser, page = signed_in(Role.INSTALLER), f"/jobs/{handed.number}/follow-up/"
    assert browser.get(page).status_code == 200
    for address in (f"{page}write/", f"{page}day/", f"{page}call-off/"):
        assert browser.post(address, {"once": uuid.uuid4().hex}).status_code == 403
