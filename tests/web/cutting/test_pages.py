"""The pages of film: what they show in each standing, to whom, and in how many queries."""

import html
import json
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from layflat.web.cutting.models import Layout
from layflat.web.files.store import path_of
from layflat.web.jobs.closing import close_job
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.stock.models import Roll
from layflat.web.work.models import Computation, State
from web.bayed import a_roll, an_accepted_job
from web.covered import a_job as an_unaccepted_job
from web.cutting.patterned import a_job, begun, chosen, only_section, searched, to_be_cut
from web.cutting.test_ticks import went_in

pytestmark = pytest.mark.on_sqlite

SignedIn = Callable[[Role], Client]
MOST_QUERIES = 15


def at(job: Job, rest: str = "") -> str:
    return f"/jobs/{job.number}/film/{rest}"


def shown(browser: Client, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def send(browser: Client, job: Job, rest: str, **fields: Any) -> Any:
    return browser.post(at(job, rest), {"once": uuid.uuid4().hex, **fields})


def put(layout: Layout, state: State, **values: Any) -> None:
    ended = {"ended_at": "2031-05-24T10:00Z"} if state in (State.FAILED, State.STOPPED) else {}
    Computation.objects.filter(pk=layout.computation_id).update(state=state, **ended, **values)


def test_from_the_pool_to_a_search(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    assert "No film is free" in shown(ines, at(job))
    roll = a_roll(length_mm=9000)
    page = shown(ines, at(job))
    assert "2 of 2 pieces to be laid out" in page
    assert "lot LW-7731, 1524 mm wide, 9.000 m free" in page
    fields = {"once": uuid.uuid4().hex, "piece": ["1", "2"], "roll": roll.pk, "seconds": 20}
    for _ in range(2):  # a wet glove taps twice
        answer = ines.post(at(job, "begin/"), fields)
        assert answer.status_code == 302
    assert Layout.objects.count() == 1
    first = send(ines, job, "begin/", piece=["1"], roll=roll.pk, seconds=20)
    assert first["Location"] == at(job)
    assert "has film or is being laid out already" in shown(ines, at(job))
    assert "All of it is being laid out" in shown(ines, at(job))


def test_a_first_answer_leads_to_the_layout(signed_in: SignedIn) -> None:
    job, _ = a_job()
    roll = a_roll()
    answer = send(signed_in(Role.INSTALLER), job, "begin/", roll=roll.pk, seconds=20)
    assert answer["Location"] == at(job, "1/")


@pytest.mark.on_sqlite
def test_what_is_cut_first_is_typed(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, outcome = a_job()
    roll = a_roll()
    for place, piece in enumerate(outcome.pieces.order_by("number"), start=4):
        type(piece).objects.filter(pk=piece.pk).update(details={"lay": place})
    assert 'name="first"' in shown(ines, at(job))
    for text, says in {
        "hood": "“hood” is none",
        "9": "Piece 9 is to be cut first, but is not among",
        "2 -1": "“-1” is none",
        "2" * 5000: "is none",
    }.items():
        send(ines, job, "begin/", roll=roll.pk, seconds=20, first=text)
        assert says in html.unescape(shown(ines, at(job)))
    assert not Layout.objects.exists()
    send(ines, job, "begin/", roll=roll.pk, seconds=20, first=" 2, 2 ")
    made = Layout.objects.get().computation
    assert made is not None
    # Piece 2 first, then the others in the order in which they are laid.
    assert made.inputs["lay"] == {"1": 5, "2": 1}
    assert "Cut first: 2." in Event.objects.get(kind="cutting.search").sentence


def test_who_may_lay_out_and_who_looks(signed_in: SignedIn) -> None:
    job, _ = a_job()
    roll = a_roll()
    counter = signed_in(Role.COUNTER)
    assert "The installer lays it out" in shown(counter, at(job))
    for rest in ("begin/", "1/keep/", "1/drop/"):
        assert send(counter, job, rest, roll=roll.pk, seconds=20).status_code == 403
        assert Client().post(at(job, rest)).headers["Location"].startswith("/sign-in/")
    to_be_cut(job, roll)
    page = shown(counter, at(job, "1/"))
    assert "The installer ticks what is cut" in page
    assert "cutting.section-cut" not in page


@pytest.mark.parametrize(
    ("state", "says", "button"),
    [
        (State.OPEN, "Waits for a free worker", "Stop and drop"),
        (State.RUNNING, "Searching", "Stop and keep"),
        (State.DONE, "Found, not kept yet", "Keep this layout"),
        (State.FAILED, "R1 has nothing", "Keep this layout"),
        (State.STOPPED, "Somebody stopped it.", "Keep this layout"),
    ],
)
def test_what_a_search_says(signed_in: SignedIn, state: State, says: str, button: str) -> None:
    job, _ = a_job()
    layout = searched(job)
    put(layout, state, error="R1 has nothing." if state == State.FAILED else "")
    page = shown(signed_in(Role.INSTALLER), at(job, "1/"))
    assert says in page
    assert button in page
    news = signed_in(Role.INSTALLER).get(at(job, "1/so-far/")).json()
    assert news["is_live"] == (state in (State.OPEN, State.RUNNING))
    assert news["length_mm"] == layout.so_far["length_mm"]
    assert sorted(piece for piece, *_ in news["placements"]) == [1, 2]
    assert news["yield"].endswith("%")


def test_a_search_that_has_found_nothing_yet(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    begun(job)
    assert "disabled" in shown(ines, at(job, "1/"))
    news = ines.get(at(job, "1/so-far/")).json()
    assert (news["length_mm"], news["placements"], news["shapes"]) == (None, [], False)
    assert ines.get(at(job, "1/shapes.json")).status_code == 404
    # Kept before anything is found: told, and the search goes on.
    assert send(ines, job, "1/keep/").status_code == 302
    assert "No layout is found yet" in shown(ines, at(job, "1/"))
    send(ines, job, "1/drop/")
    assert "This layout is not used" in shown(ines, at(job, "1/"))


def test_programs_that_could_not_be_made_are_said(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    layout = searched(job)
    send(ines, job, "1/keep/")
    layout.refresh_from_db()
    assert "Programs are being made" in shown(ines, at(job, "1/"))
    put(layout, State.FAILED, error="The cut leaves its line.")
    page = shown(ines, at(job, "1/"))
    assert "The cut leaves its line." in page
    assert "Try again" in page
    send(ines, job, "1/keep/")
    assert "Programs are being made" in shown(ines, at(job, "1/"))


def test_a_kept_layout_its_programs_and_papers(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    layout = to_be_cut(job)
    section = only_section(layout)
    page = shown(ines, at(job, "1/"))
    assert "Section 1" in page
    assert "style=" not in page
    answer = ines.get(at(job, "1/1/program.hpgl"))
    assert answer.content == path_of(section.program.sha256).read_bytes()
    assert answer["Content-Type"] == "text/plain; charset=us-ascii"
    name = f"{job.number}-layout-1-section-1.hpgl"
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert json.loads(ines.get(at(job, "1/1/simulated.json")).content)["lines"]
    for name in ("labels", "weeding-map"):
        paper = ines.get(at(job, f"1/{name}.pdf"))
        assert paper.content.startswith(b"%PDF-")
        assert paper["Content-Type"] == "application/pdf"
    for rest in ("2/", "2/so-far/", "1/2/program.hpgl", "1/2/simulated.json", "2/labels.pdf"):
        assert ines.get(at(job, rest)).status_code == 404
    path_of(section.program.sha256).unlink()
    assert ines.get(at(job, "1/1/program.hpgl")).status_code == 404


def test_papers_of_what_is_not_kept_are_not_there(signed_in: SignedIn) -> None:
    job, _ = a_job()
    searched(job)
    assert signed_in(Role.OWNER).get(at(job, "1/labels.pdf")).status_code == 404


def test_spoiled_pieces_are_laid_out_again_with_one_tap(
    signed_in: SignedIn, people: dict[Role, Any]
) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    section = only_section(to_be_cut(job))
    went_in(
        job, "section-spoiled", people[Role.INSTALLER], section=section.pk, reason="knife",
        lost="all",
    )  # fmt: skip
    page = shown(ines, at(job, "1/"))
    assert "Lost, to be laid out again" in page
    assert ", the rest of this roll" in page
    assert "lost: the knife lifted or tore" in shown(ines, at(job))
    roll = Roll.objects.get()
    answer = send(ines, job, "begin/", piece=["1", "2"], roll=roll.pk, seconds=20)
    assert answer["Location"] == at(job, "2/")
    assert "Lost, to be laid out again" not in shown(ines, at(job, "1/"))


def test_on_the_job_s_page(signed_in: SignedIn, people: dict[Role, Any]) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    assert "2 of 2 pieces to be laid out" in shown(ines, f"/jobs/{job.number}/workshop/")
    section = only_section(to_be_cut(job))
    assert "2 to be cut" in shown(ines, f"/jobs/{job.number}/workshop/")
    went_in(job, "section-cut", people[Role.INSTALLER], section=section.pk)
    assert "2 cut, to be weeded" in shown(ines, f"/jobs/{job.number}/workshop/")
    bare = an_unaccepted_job("2031-0050")
    assert "/film/" not in shown(ines, f"/jobs/{bare.number}/workshop/")
    assert "accepted no offer yet" in shown(ines, at(bare))


def test_film_that_a_closed_job_keeps_is_said(signed_in: SignedIn, people: dict[Role, Any]) -> None:
    ines, counter = signed_in(Role.INSTALLER), people[Role.COUNTER]
    job, _ = a_job()
    layout = to_be_cut(job)
    film = f"{only_section(layout).film_mm / 1000:.3f} m"
    page = f"/jobs/{job.number}/workshop/"
    assert "reserved" not in shown(ines, page)
    close_job(job, seen=job.stage, reason="declined", note="", who=counter)
    said = re.sub(r"<[^>]+>", "", shown(ines, page))
    assert f"The job is closed, and {film} of {layout.roll} stays reserved for it." in said
    send(ines, job, "1/drop/")
    assert "reserved" not in shown(ines, page)


def test_covers_without_patterns_say_what_to_do(signed_in: SignedIn) -> None:
    job, _ = an_accepted_job()
    a_roll()
    assert "compute the cover anew" in shown(signed_in(Role.INSTALLER), at(job))
    Job.objects.filter(pk=job.pk).update(stage=Stage.HANDED)
    assert "no film is cut for it any more" in shown(signed_in(Role.INSTALLER), at(job))


def test_inches(signed_in: SignedIn, shop: Shop) -> None:
    Shop.objects.update(inches=True)
    job, _ = a_job()
    to_be_cut(job)
    page = shown(signed_in(Role.INSTALLER), at(job, "1/"))
    assert "60.0 in wide" in page
    assert 'name="unit" value="in"' in page
    assert signed_in(Role.OWNER).get(at(job, "1/labels.pdf")).content.startswith(b"%PDF-")


def test_few_queries(
    signed_in: SignedIn, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job("2031-0042", "hood", "mirror-left", "door-left")
    roll = a_roll()
    to_be_cut(job, roll, 1)
    chosen(searched(job, roll, 2))
    for address in (at(job), at(job, "1/"), at(job, "2/"), at(job, "1/so-far/")):
        with django_assert_max_num_queries(MOST_QUERIES):
            ines.get(address)
