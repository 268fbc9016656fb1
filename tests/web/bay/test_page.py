"""The page of a job in the bay, and what opens it again without the network."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from layflat.web.bay.page import PARTS
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role, Shop
from layflat.web.taps.doing import do

Browser = Callable[[Role], Client]
BAY = "/jobs/2031-0042/bay/"


def text_of(answer: Any) -> str:
    assert answer.status_code == 200
    text: str = answer.content.decode()
    return text


@pytest.mark.parametrize("role", Role)
def test_it_carries_every_part_for_everybody(signed_in: Browser, job: Job, role: Role) -> None:
    text = text_of(signed_in(role).get(BAY))
    for part in PARTS:
        assert f'href="#{part.name}"' in text
        assert f'id="part-{part.name}" data-taps-part' in text
    assert 'data-whose="' + role.value in text
    assert "EUR" not in text


def test_the_shop_is_asked_for_anew_on_the_next_page(signed_in: Browser, job: Job) -> None:
    installer = signed_in(Role.INSTALLER)
    text_of(installer.get(BAY))
    Shop.objects.update(name="Lampwick Yard and Sons")
    assert "Lampwick Yard and Sons" in text_of(installer.get(BAY))


@pytest.mark.parametrize("stage", [Stage.COVER, Stage.ACCEPTED, Stage.HANDED, Stage.CLOSED])
def test_a_job_that_is_elsewhere_says_so(signed_in: Browser, job: Job, stage: Stage) -> None:
    Job.objects.update(stage=stage)
    text = text_of(signed_in(Role.INSTALLER).get(BAY))
    assert "Not in the bay" in text
    assert f"The job stands at “{stage.label}”." in text
    assert "data-taps-part" in text
    for part in PARTS:
        assert f'id="part-{part.name}"' not in text


def test_what_did_not_go_in_is_said_until_it_is_settled(
    signed_in: Browser, job: Job, people: dict[Role, Person]
) -> None:
    installer = signed_in(Role.INSTALLER)
    assert "did not go in" not in text_of(installer.get(BAY))
    row = do("no.such", key="a" * 32, who=people[Role.INSTALLER], job=job.number)
    assert "1 tap of this job did not go in" in text_of(installer.get(BAY))
    form = {"once": "1" * 32, "how": "done anew"}
    installer.post(f"/taps/{row.pk}/settled/", form)
    assert "of this job did not go in" not in text_of(installer.get(BAY))


def test_there_is_no_page_for_a_job_that_is_none(signed_in: Browser, job: Job) -> None:
    assert signed_in(Role.OWNER).get("/jobs/2031-9999/bay/").status_code == 404


def test_browsers_ask_for_the_page_anew(signed_in: Browser, job: Job) -> None:
    answer = signed_in(Role.OWNER).get(BAY)
    assert answer.headers["Cache-Control"] == "private, no-cache"


def test_the_worker_reaches_the_jobs_and_nothing_above(signed_in: Browser, shop: object) -> None:
    """A worker's reach is the folder of its own address (W3C, Service Workers, “scope”)."""
    answer = signed_in(Role.INSTALLER).get("/jobs/bay-worker.js")
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert "Service-Worker-Allowed" not in answer.headers
    assert b"addEventListener" in answer.content
    assert Client().get("/jobs/bay-worker.js").status_code == 302
