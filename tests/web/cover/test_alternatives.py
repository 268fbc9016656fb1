"""Alternatives: begun, named, copied, dropped, compared; saved covers; who may do what."""

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.test import Client

from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.choices import Choices, PanelChoice, from_json, to_json
from layflat.web.cover.models import Cover, SavedCover
from layflat.web.jobs.models import Job, Stage, Vehicle
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from web.cover.domes import BOTH, KEEP, LINE, Domes
from web.covered import a_job

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]


@pytest.fixture
def job(domes: Domes) -> Job:
    return a_job(body=domes.revision)


@pytest.fixture
def counter(signed_in: Browser) -> Client:
    return signed_in(Role.COUNTER)


def form(**fields: Any) -> dict[str, Any]:
    return {"once": uuid.uuid4().hex, **fields}


def told(answer: Any) -> str:
    return " ".join(str(message) for message in get_messages(answer.wsgi_request))


def text(answer: Any) -> str:
    page = re.sub(r"<(script|style).*?</\1>", " ", answer.content.decode(), flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


def add(job: Job, title: str, choices: Choices = BOTH, **more: Any) -> Cover:
    number = job.covers.count() + 1
    body = job.vehicle.body
    assert body is not None
    return Cover.objects.create(
        job=job,
        **{"number": number, "title": title, "body": body, "choices": to_json(choices), **more},
    )


def test_an_alternative_begins_where_it_is_told(counter: Client, job: Job) -> None:
    page = counter.get(f"/jobs/{job.number}/cover/")
    assert "Begin the cover" in text(page)
    assert "Whole vehicle Left · right" in text(page)
    begun = counter.post(f"/jobs/{job.number}/cover/begin/", form(start="whole"))
    assert begun.headers["Location"] == f"/jobs/{job.number}/cover/1/"
    cover = job.covers.get()
    assert (cover.title, [c.panel for c in from_json(cover.choices).panels]) == (
        "Whole vehicle",
        ["left", "right"],
    )
    counter.post(f"/jobs/{job.number}/cover/begin/", form(start="whole"))
    counter.post(f"/jobs/{job.number}/cover/begin/", form(start="blank", title=" Doors  only "))
    titles = list(job.covers.values_list("title", flat=True))
    assert titles == ["Whole vehicle", "Whole vehicle 2", "Doors only"]
    assert Event.objects.filter(job=job, kind="cover.begun").count() == 3


def test_a_double_tap_begins_one(counter: Client, job: Job) -> None:
    once = form(start="whole")
    answers = [counter.post(f"/jobs/{job.number}/cover/begin/", once) for _ in range(2)]
    assert {answer.headers["Location"] for answer in answers} == {f"/jobs/{job.number}/cover/1/"}
    assert job.covers.count() == 1
    copied = form()
    for _ in range(2):
        counter.post(f"/jobs/{job.number}/cover/1/copy/", copied)
    assert list(job.covers.values_list("title", flat=True)) == ["Whole vehicle", "Whole vehicle 2"]


def test_a_taken_title_a_long_one_and_too_many_are_refused(counter: Client, job: Job) -> None:
    at = f"/jobs/{job.number}/cover/begin/"
    add(job, "Nose")
    assert "“nose” already" in told(counter.post(at, form(start="blank", title="nose")))
    assert "81 letters" in told(counter.post(at, form(start="blank", title="x" * 81)))
    for i in range(11):
        add(job, f"Number {i}")
    assert "12 alternatives already" in told(counter.post(at, form(start="blank", title="More")))
    assert "12 alternatives already" in told(
        counter.post(f"/jobs/{job.number}/cover/1/copy/", form())
    )
    assert job.covers.count() == 12


@pytest.mark.parametrize(("body", "words"), [(False, "which body it is"), (True, "not ready yet")])
def test_a_vehicle_without_a_prepared_body_says_what_to_do(
    counter: Client, job: Job, domes: Domes, body: bool, words: str
) -> None:
    unready = Revision.objects.create(body=domes.revision.body, number=2, scan=domes.revision.scan)
    Vehicle.objects.update(body=unready if body else None, described="Tarnholm Dome")
    page = counter.get(f"/jobs/{job.number}/cover/")
    assert words in text(page)
    assert "Begin the cover" not in text(page)
    refused = counter.post(f"/jobs/{job.number}/cover/begin/", form(start="blank"))
    assert "body" in told(refused)
    assert not job.covers.exists()


def test_a_cover_is_renamed_and_the_second_is_told(counter: Client, job: Job) -> None:
    add(job, "Nose")
    at = f"/jobs/{job.number}/cover/1/rename/"
    counter.post(at, form(title="Nose only", was="Nose"))
    late = counter.post(at, form(title="The nose", was="Nose"))
    assert "called it “Nose only”" in told(late)
    assert "title" in told(counter.post(at, form(title="  ", was="Nose only")))
    cover = job.covers.get()
    assert (cover.title, cover.version) == ("Nose only", 2)
    add(job, "Doors")
    taken = counter.post(at, form(title="doors", was="Nose only"))
    assert "“doors” already" in told(taken)
    assert Event.objects.filter(kind="cover.renamed").count() == 1


def test_a_dropped_alternative_keeps_its_number_and_comes_back(counter: Client, job: Job) -> None:
    add(job, "Nose")
    at = f"/jobs/{job.number}/cover/1/drop/"
    for _ in range(2):
        counter.post(at, form(dropped="yes"))
    page = text(counter.get(f"/jobs/{job.number}/covers/"))
    assert "Nothing to compare yet" in page
    assert "Restore “Nose”" in page
    add(job, "Nose")
    assert "“Nose” already" in told(counter.post(at, form(dropped="no")))
    job.covers.filter(number=2).update(title="Doors")
    counter.post(at, form(dropped="no"))
    assert not job.covers.get(number=1).is_dropped
    kinds = Event.objects.filter(job=job).values_list("kind", flat=True)
    assert list(kinds) == ["cover.dropped", "cover.restored"]


def test_alternatives_stand_side_by_side_with_their_differences(counter: Client, job: Job) -> None:
    add(job, "Left side", Choices((PanelChoice(panel="left"),)))
    add(job, "Both sides", Choices((PanelChoice(panel="left"), PanelChoice(panel="right"))))
    page = text(counter.get(f"/jobs/{job.number}/covers/"))
    assert "More than “Left side” Right" in page
    assert page.count("quick estimate") == 2
    assert page.index("Left side") < page.index("Both sides")


def test_a_saved_cover_is_a_start_for_other_jobs(
    counter: Client, job: Job, domes: Domes, signed_in: Browser
) -> None:
    add(job, "Nose")
    at = f"/jobs/{job.number}/cover/1/save/"
    for _ in range(2):
        counter.post(at, form(title="Small nose"))
    saved = SavedCover.objects.get()
    assert (saved.title, from_json(saved.choices)) == ("Small nose", BOTH)
    Cover.objects.update(choices=to_json(Choices((PanelChoice(panel="left"),))))
    assert "“small nose” already" in told(counter.post(at, form(title="small nose")))

    other = a_job("2031-0043", body=domes.revision, plate="LW 9")
    assert "Small nose Saved cover: Left · right up to a line" in text(
        counter.get(f"/jobs/{other.number}/cover/")
    )
    start = form(start=f"saved-{saved.pk}")
    begun = counter.post(f"/jobs/{other.number}/cover/begin/", start)
    assert begun.headers["Location"] == f"/jobs/{other.number}/cover/1/"
    assert from_json(other.covers.get().choices) == BOTH
    assert told(begun) == ""

    counter.post(f"/jobs/{job.number}/cover/saved/{saved.pk}/retire/", form(retired="yes"))
    refused = counter.post(
        f"/jobs/{other.number}/cover/begin/", form(start=f"saved-{saved.pk}", title="Again")
    )
    assert "no longer there" in told(refused)
    assert "which is retired" in told(counter.post(at, form(title="Small nose")))
    counter.post(f"/jobs/{job.number}/cover/saved/{saved.pk}/retire/", form(retired="no"))
    saved.refresh_from_db()
    assert not saved.is_retired


def test_nothing_is_saved_of_a_bare_cover(counter: Client, job: Job) -> None:
    add(job, "Nose", Choices())
    answer = counter.post(f"/jobs/{job.number}/cover/1/save/", form(title="Nose"))
    assert "Nothing is covered yet" in told(answer)
    assert not SavedCover.objects.exists()


def another_revision(domes: Domes) -> Revision:
    """A second revision of the dome, with the same files."""
    same = {
        name: getattr(domes.revision, name)
        for name in (
            "scan",
            "panels",
            "light",
            "lines",
            "picture",
            "unit",
            "mending",
            "preparation",
        )
    }
    return Revision.objects.create(body=domes.revision.body, number=2, **same)


def test_lines_of_another_revision_are_traced_anew_and_said(
    counter: Client, job: Job, domes: Domes
) -> None:
    add(job, "Nose")
    Vehicle.objects.update(body=another_revision(domes))
    page = text(counter.get(f"/jobs/{job.number}/cover/1/"))
    assert "chosen on revision 1" in page
    answer = counter.post(f"/jobs/{job.number}/cover/1/copy/", form())
    assert "drawn on another revision and traced anew" in told(answer)
    copy = job.covers.get(number=2)
    assert copy.body.number == 2
    assert from_json(copy.choices) == BOTH


def test_saved_covers_of_another_body_are_no_start(counter: Client, job: Job, domes: Domes) -> None:
    strange = SavedCover.objects.create(
        body=Body.objects.create(maker="Tarnholm", name="Other"),
        title="Other nose",
        choices=to_json(BOTH),
        revision=domes.revision,
    )
    assert "Other nose" not in text(counter.get(f"/jobs/{job.number}/cover/"))
    at = f"/jobs/{job.number}/cover/"
    begun = counter.post(f"{at}begin/", form(start=f"saved-{strange.pk}"))
    assert "no longer there" in told(begun)
    retired = counter.post(f"{at}saved/{strange.pk}/retire/", form(retired="yes"))
    assert retired.status_code == 404
    strange.refresh_from_db()
    assert not strange.is_retired


@pytest.mark.parametrize(
    "what", ["cover/begin/", "cover/1/copy/", "cover/1/save/", "cover/saved/1/retire/"]
)
def test_installers_and_strangers_begin_nothing(job: Job, signed_in: Browser, what: str) -> None:
    add(job, "Nose")
    answer = signed_in(Role.INSTALLER).post(f"/jobs/{job.number}/{what}", form(start="blank"))
    assert answer.status_code == 403
    asked = Client().post(f"/jobs/{job.number}/{what}", form(start="blank"))
    assert asked.headers["Location"].startswith("/sign-in/")
    assert job.covers.count() == 1
    assert not SavedCover.objects.exists()


@pytest.mark.parametrize("what", ["cover/", "covers/"])
def test_installers_look_without_prices(job: Job, signed_in: Browser, what: str) -> None:
    add(job, "Nose")
    seen = {role: text(signed_in(role).get(f"/jobs/{job.number}/{what}")) for role in Role}
    assert "EUR" in seen[Role.COUNTER]
    assert "EUR" not in seen[Role.INSTALLER]
    assert "Price" not in seen[Role.INSTALLER]
    assert "Begin another" not in seen[Role.INSTALLER]
    asked = Client().get(f"/jobs/{job.number}/{what}")
    assert asked.headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("stage", [Stage.INTAKE, Stage.ACCEPTED])
def test_alternatives_change_at_their_stages_only(counter: Client, job: Job, stage: Stage) -> None:
    add(job, "Nose")
    Job.objects.update(stage=stage)
    at = f"/jobs/{job.number}/cover/"
    for what in ("begin/", "1/copy/", "1/rename/", "1/drop/", "1/save/"):
        answer = counter.post(at + what, form(title="More", was="Nose", dropped="yes"))
        assert "first" in told(answer) or "before anything is changed" in told(answer)
    cover = job.covers.get()
    assert (cover.title, cover.is_dropped) == ("Nose", False)
    assert not SavedCover.objects.exists()


def test_a_form_without_its_token_does_nothing(counter: Client, job: Job) -> None:
    answer = counter.post(f"/jobs/{job.number}/cover/begin/", {"start": "blank"})
    assert "out of date" in told(answer)
    assert not job.covers.exists()


def test_a_line_that_parts_nothing_any_more_is_said(counter: Client, job: Job) -> None:
    off = tuple((x, y, z + 500.0) for x, y, z in LINE)
    broken = PanelChoice(panel="right", line_mm=off, keep_mm=KEEP)
    add(job, "Nose", Choices((broken,)))
    page = text(counter.get(f"/jobs/{job.number}/cover/1/?panel=right"))
    assert "does not part the panel any more" in page
    assert counter.get(f"/jobs/{job.number}/cover/1/vehicle.png").status_code == 200
    assert "fault" in counter.get(f"/jobs/{job.number}/cover/1/part/?panel=right").json()
