"""Jobs are closed from any stage for a reason, and opened again where they stood."""

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.test import Client

from layflat.web.board.cards import COMES_HERE
from layflat.web.jobs.closing import REASONS, reasons_at
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event

Browser = Callable[[Role], Client]
Sent = Callable[..., dict[str, Any]]
OPEN = [stage for stage in Stage if stage is not Stage.CLOSED]


def stand(job: Job, stage: Stage) -> str:
    """Put the job at a stage; its address."""
    Job.objects.filter(pk=job.pk).update(stage=stage)
    return f"/jobs/{job.number}/"


def told(answer: Any) -> list[str]:
    return [str(message) for message in get_messages(answer.wsgi_request)]


@pytest.mark.parametrize("stage", OPEN)
@pytest.mark.parametrize("role", [Role.COUNTER, Role.OWNER])
def test_a_job_is_closed_from_any_stage_and_opened_again_there(
    signed_in: Browser,
    sent: Sent,
    job: Job,
    people: dict[Role, Person],
    stage: Stage,
    role: Role,
) -> None:
    at, browser = stand(job, stage), signed_in(role)
    asked = sent(seen=stage.value, reason="declined", note=" too  dear ")
    assert browser.post(at + "close/", asked).headers["Location"] == at
    job.refresh_from_db()
    assert (job.stage, job.closed_from) == (Stage.CLOSED, stage)
    assert job.closed_because == "the customer declined; too dear"
    page = browser.get(at).content.decode()
    assert "The customer declined; too dear." in page
    assert f"Open it again at “{stage.label}”" in page
    assert browser.get("/").context["count"] == 0

    assert browser.post(at + "reopen/", sent()).headers["Location"] == at
    job.refresh_from_db()
    assert (job.stage, job.closed_from, job.closed_because) == (stage, "", "")
    assert browser.get("/").context["count"] == 1
    closed, opened = Event.objects.filter(kind__in=("job.closed", "job.reopened"))
    assert closed.sentence == f"Closed at “{stage.label}”: the customer declined; too dear."
    assert (closed.who, closed.before["stage"], closed.after["stage"]) == (
        people[role],
        stage,
        "closed",
    )
    assert opened.sentence == f"Opened again at “{stage.label}”."
    assert opened.after["version"] == closed.after["version"] + 1 == job.version


def test_every_stage_has_its_reasons() -> None:
    assert list(COMES_HERE) == OPEN
    handed_back = {stage for stage in OPEN if REASONS[0] in reasons_at(stage)}
    # Only what was in the bay can be handed back with its film.
    assert handed_back == {Stage.HANDED}
    assert all(len(reasons_at(stage)) >= len(REASONS) - 1 for stage in OPEN)


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        ({}, "Choose why the job is closed."),
        ({"reason": "no such"}, "Choose why the job is closed."),
        ({"reason": "handed-back"}, "Choose why the job is closed."),
        ({"reason": "other", "note": "  "}, "Say for which other reason"),
        ({"reason": "declined", "note": "x" * 201}, "in 200 letters or fewer"),
        ({"reason": "declined", "seen": "cover"}, "Somebody moved the job to “Enquiry” meanwhile"),
        ({"reason": "declined", "seen": ""}, "Somebody moved the job to “Enquiry” meanwhile"),
    ],
)
def test_what_is_no_reason_or_was_seen_elsewhere_closes_nothing(
    signed_in: Browser, sent: Sent, job: Job, fields: dict[str, str], complaint: str
) -> None:
    answer = signed_in(Role.COUNTER).post(
        f"/jobs/{job.number}/close/", sent(**{"seen": "enquiry", **fields})
    )
    assert answer.headers["Location"].endswith("#close-job")
    assert any(complaint in line for line in told(answer))
    job.refresh_from_db()
    assert (job.stage, job.version, job.closed_because) == (Stage.ENQUIRY, 1, "")
    assert not Event.objects.filter(kind="job.closed").exists()


def test_other_reasons_stand_in_the_person_s_own_words(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    asked = sent(seen="enquiry", reason="other", note="the van was sold")
    signed_in(Role.COUNTER).post(f"/jobs/{job.number}/close/", asked)
    job.refresh_from_db()
    assert job.closed_because == "the van was sold"


def test_a_double_tap_closes_and_opens_once_and_a_second_person_is_told(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    at, counter = f"/jobs/{job.number}/", signed_in(Role.COUNTER)
    asked, again = sent(seen="enquiry", reason="silent"), sent()
    for _ in range(2):
        assert counter.post(at + "close/", asked).headers["Location"] == at
    late = signed_in(Role.OWNER).post(at + "close/", sent(seen="enquiry", reason="elsewhere"))
    assert told(late) == ["The job is closed already: the customer does not answer."]
    for _ in range(2):
        assert counter.post(at + "reopen/", again).headers["Location"] == at
    assert told(signed_in(Role.OWNER).post(at + "reopen/", sent())) == [
        "The job is open already, at “Enquiry”."
    ]
    kinds = Event.objects.filter(job=job).values_list("kind", flat=True)
    assert list(kinds) == ["job.enquired", "job.closed", "job.reopened"]


def test_installers_and_strangers_close_and_open_nothing(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    at, installer = f"/jobs/{job.number}/", signed_in(Role.INSTALLER)
    assert "Close the job" not in installer.get(at).content.decode()
    asked = sent(seen="enquiry", reason="declined")
    assert installer.post(at + "close/", asked).status_code == 403
    assert Client().post(at + "close/", asked).headers["Location"].startswith("/sign-in/")
    signed_in(Role.COUNTER).post(at + "close/", asked)
    page = installer.get(at).content.decode()
    assert "The customer declined." in page
    assert "/reopen/" not in page
    assert installer.post(at + "reopen/", sent()).status_code == 403
    assert Client().post(at + "reopen/", sent()).headers["Location"].startswith("/sign-in/")
    job.refresh_from_db()
    assert job.stage == Stage.CLOSED


def test_the_history_takes_back_both(signed_in: Browser, sent: Sent, job: Job) -> None:
    at, counter = f"/jobs/{job.number}/", signed_in(Role.COUNTER)
    counter.post(at + "close/", sent(seen="enquiry", reason="declined"))
    undo = [line.undo for line in counter.get(at + "history/").context["lines"]]
    assert [(one.word, one.address) for one in undo if one] == [("Open again", at + "reopen/")]
    counter.post(at + "reopen/", sent())
    undo = [line.undo for line in counter.get(at + "history/").context["lines"]]
    assert [(one.word, one.address) for one in undo if one] == [("Close again", at + "#close-job")]
    # Of several times only the last is undone.
    counter.post(at + "close/", sent(seen="enquiry", reason="silent"))
    lines = counter.get(at + "history/").context["lines"]
    assert [bool(line.undo) for line in lines] == [False, False, False, True]


def test_the_strip_tells_what_was_left_out(signed_in: Browser, sent: Sent, job: Job) -> None:
    at, counter = stand(job, Stage.COVER), signed_in(Role.COUNTER)
    words = [mark.word for mark in counter.get(at).context["marks"]]
    assert words == ["done", "done", "here", *["to come"] * 6]
    counter.post(at + "close/", sent(seen="cover", reason="declined"))
    words = [mark.word for mark in counter.get(at).context["marks"]]
    assert words == ["done", "done", "up to here", *["left out"] * 5, "here"]


def test_a_job_that_came_in_closed_is_an_enquiry_again(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    at, counter = stand(job, Stage.CLOSED), signed_in(Role.COUNTER)
    assert "Open it again<" in counter.get(at).content.decode()
    counter.post(at + "reopen/", sent())
    job.refresh_from_db()
    assert job.stage == Stage.ENQUIRY


def test_an_edit_is_put_back_only_by_who_may_edit(signed_in: Browser, sent: Sent, job: Job) -> None:
    at, counter = f"/jobs/{job.number}/", signed_in(Role.COUNTER)
    context = counter.get(at + "edit/wishes/").context
    assert context is not None
    asked = {**context["seen"], "version": str(context["version"]), "wishes": "The doors."}
    counter.post(at + "edit/wishes/", sent(**asked))
    assert "Put back" in counter.get(at).content.decode()
    assert "Put back" not in signed_in(Role.INSTALLER).get(at).content.decode()
