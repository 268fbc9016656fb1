"""The tab "Check" and pictures of flags, as people of each role see them."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut
from layflat.web.gates.bay_tab import read as steps
from layflat.web.gates.models import Kind
from layflat.web.inspection.bay_tab import read
from layflat.web.inspection.flat_map import FlatMap, flat_map_of
from layflat.web.inspection.kinds import KINDS, kind_named
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role
from web.bayed import laid, steps_done
from web.covered import kept, picture
from web.laying.shop import ready_to_lay, tap

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
ON_MAP = {"width_mm": 1200.0, "height_mm": 600.0, "to_map": [1, 0, 0, -1, 100, 500]}


def all_laid(*people: Person, number: str = "2031-0042", **more: Any) -> tuple[Job, list[Cut]]:
    job, cuts = ready_to_lay(number, **more)
    flat = kept(json.dumps({"map": ON_MAP}).encode(), "flat.json")
    for cut in cuts:
        laid(cut, *people)
        Piece.objects.filter(pk=cut.piece_id).update(flat=flat)
    steps_done(job, Kind.LAY)
    return job, cuts


def page(browser: Client) -> str:
    answer = browser.get("/jobs/2031-0042/bay/")
    assert answer.status_code == 200
    text: str = answer.content.decode()
    return text


def test_who_laid_some_is_led_to_whoever_may(people: dict[Role, Person]) -> None:
    ines, corin, odile = (people[role] for role in (Role.INSTALLER, Role.COUNTER, Role.OWNER))
    job, _ = all_laid(ines)

    def step(who: Person) -> tuple[str, str]:
        (shown,) = (
            one
            for one in steps(Job.objects.get(pk=job.pk), who)["gates_open"]
            if one.step.kind == Kind.INSPECT
        )
        return shown.elsewhere.says, shown.elsewhere.address

    assert step(corin)[1] == "#check"
    says, address = step(ines)
    assert says.endswith(f"It is for whoever had none of it in hand: {corin} and {odile}.")
    assert address == ""


def test_no_done_stands_where_it_would_be_refused(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    all_laid(people[Role.INSTALLER])
    text = page(signed_in(Role.INSTALLER))
    assert 'id="done-inspect"' not in text
    assert 'id="done-hand-back"' not in text


def test_what_is_made_anew_says_what_happens_next(people: dict[Role, Person]) -> None:
    job, (hood, _) = all_laid(people[Role.INSTALLER])
    corin = people[Role.COUNTER]
    tap("inspection.begun", corin, job)
    fields = {"kind": "dirt under film", "remedy": "remake"}
    assert tap("inspection.flagged", corin, job, cut=hood.pk, **fields).state == "done"
    found = read(Job.objects.get(pk=job.pk), corin)
    words = {row.film.piece.pk: row.next_words for row in found["check_rows"]}
    assert words[hood.piece_id].startswith("it is laid out and cut anew on the tab “Film”, then")
    assert found["check_not_now"].endswith("; 1 of 2 pieces is not laid yet.")
    again = some_cuts_of(hood)
    for state, start in ((Cut.State.PLACED, "its film is to be cut"), (Cut.State.CUT, "its film")):
        Cut.objects.filter(pk=again.pk).update(state=state)
        found = read(Job.objects.get(pk=job.pk), corin)
        words = {row.film.piece.pk: row.next_words for row in found["check_rows"]}
        assert words[hood.piece_id].startswith(start)


def some_cuts_of(lost: Cut) -> Cut:
    """New film for a piece whose film came off."""
    return Cut.objects.create(
        section=lost.section, piece=lost.piece, number=lost.number, attempt=2, state=Cut.State.CUT
    )


def test_the_tab_follows_an_inspection(people: dict[Role, Person], signed_in: Browser) -> None:
    job, (hood, roof) = all_laid(people[Role.INSTALLER])
    corin = people[Role.COUNTER]
    text = page(signed_in(Role.COUNTER))
    assert "nobody inspects now" in text
    assert "Begin the inspection" in text
    tap("inspection.begun", corin, job)
    text = page(signed_in(Role.COUNTER))
    assert "counter inspects since" in text
    assert "2 pieces are to be looked at" in text
    tap("inspection.checked", corin, job, cut=roof.pk)
    fields = {"cut": hood.pk, "kind": "lifted edge", "remedy": "press", "size_mm": "12"}
    tap("inspection.flagged", corin, job, x_mm="200", y_mm="100", note="<b>here</b>", **fields)
    text = page(signed_in(Role.COUNTER))
    assert "checked by counter" in text
    assert "to be looked at, 1 flag" in text
    # X = 200 + 100, Y = 500 - 100.
    assert 'transform="translate(300 400) scale(' in text
    assert "12 mm: &lt;b&gt;here" in text
    assert "1 piece is to be looked at; 1 flag is not ended" in text
    assert "Whoever mends inspects this job no more" in text
    assert "style=" not in text
    tap("inspection.mended", people[Role.INSTALLER], job, flag=1)
    assert "1 is gone" in page(signed_in(Role.COUNTER))
    assert "Waits for the inspector" in page(signed_in(Role.INSTALLER))
    tap("inspection.ended-flag", corin, job, flag=1, how="gone")
    tap("inspection.checked", corin, job, cut=hood.pk)
    assert "Every piece is looked at and no flag is open." in page(signed_in(Role.COUNTER))
    tap("inspection.finished", corin, job)
    text = page(signed_in(Role.COUNTER))
    assert "Every piece is checked and no flag is open." in text
    assert "Ended flags" in text


def test_whoever_laid_it_is_told_so(people: dict[Role, Person], signed_in: Browser) -> None:
    job, _ = all_laid(people[Role.INSTALLER])
    text = page(signed_in(Role.INSTALLER))
    assert "installer had 1 hood and 2 roof in hand" in text
    assert "There is nobody else" in text
    assert "own_work_because" in text
    assert "own_work_because" not in page(signed_in(Role.COUNTER))
    tap("inspection.begun", people[Role.INSTALLER], job, own_work_because="alone here")
    assert "Own work.</strong> installer laid some of it" in page(signed_in(Role.COUNTER))
    assert "Take over from installer" in page(signed_in(Role.COUNTER))


def test_inspection_waits_for_film_in_words(people: dict[Role, Person], signed_in: Browser) -> None:
    _, (hood, _) = all_laid(people[Role.INSTALLER])
    Cut.objects.filter(pk=hood.pk).update(state=Cut.State.WEEDED)
    assert "Inspection begins when all film is laid; 1 of 2" in page(signed_in(Role.COUNTER))


def test_more_pieces_and_flags_ask_no_more_of_the_database(people: dict[Role, Person]) -> None:
    asked = []
    for number, panels in (("2031-0042", ("a", "b")), ("2031-0043", tuple("abcdefgh"))):
        job, cuts = all_laid(people[Role.INSTALLER], number=number, panels=panels)
        for place, cut in enumerate(cuts, start=1):
            Flag.objects.create(
                job=job,
                number=place,
                cut=cut,
                kind="finger",
                remedy=Flag.Remedy.RELAY,
                found_at=cut.section.cut_at,
                found_by=people[Role.COUNTER],
            )
        with CaptureQueriesContext(connection) as queries:
            assert len(read(job, people[Role.OWNER])["check_rows"]) == len(panels)
        asked.append(len(queries))
    assert asked[0] == asked[1]
    assert asked[0] <= 14


def test_pictures_of_flags_are_of_their_job_only(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    job, (hood, _) = all_laid(people[Role.INSTALLER])
    ready_to_lay("2031-0043")
    photo = kept(picture("#123456"), "photo.jpg", "image/jpeg")
    fields = {"cut": hood.pk, "kind": "finger", "remedy": "relay"}
    tap("inspection.flagged", people[Role.COUNTER], job, **fields)
    Flag.objects.update(photo=photo, thumb=photo)
    browser = signed_in(Role.INSTALLER)
    assert browser.get(f"/jobs/2031-0042/flags/{photo.sha256}/").status_code == 200
    assert browser.get(f"/jobs/2031-0043/flags/{photo.sha256}/").status_code == 404
    assert Client().get(f"/jobs/2031-0042/flags/{photo.sha256}/").status_code == 302
    assert "Picture of flag 1" in page(browser)


@given(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_a_pennant_stands_on_its_map(x: float, y: float) -> None:
    found = FlatMap(width=1200.0, height=600.0, to_map=(0.0, 1.0, -1.0, 0.0, 900.0, 20.0))
    across, down = found.at(x, y)
    assert 0 <= across <= 1200
    assert 0 <= down <= 600


@pytest.mark.parametrize(
    "flat",
    [
        {"points": [0.0] * 2000, "map": ON_MAP},
        {"map": ON_MAP, "points": [0.0] * 2000},
        {"free": [{"name": '"map": 1'}], "map": ON_MAP},
        {"map": ON_MAP, "free": [{"name": '"map":{}'}]},
    ],
)
def test_a_map_is_found_wherever_it_stands(db: None, flat: dict[str, Any]) -> None:
    piece = Piece(flat=kept(json.dumps(flat, separators=(",", ":")).encode(), "flat.json"))
    found = flat_map_of(piece)
    assert found is not None
    assert (found.width, found.to_map) == (1200.0, (1.0, 0.0, 0.0, -1.0, 100.0, 500.0))


def test_the_kinds_are_those_of_the_trade() -> None:
    """Common practice, no source: what inspection looks for; air and dirt never clear."""
    assert [kind.name for kind in KINDS] == [
        "lifted edge",
        "finger",
        "air bubble",
        "water pocket",
        "dirt under film",
        "stretch haze",
        "glue line",
        "knife mark in paint",
        "scratch in film",
        "edge out of true",
        "short",
        "silvering",
        "keep-out touched",
    ]
    assert {kind.name for kind in KINDS if kind.may_wait} == {"water pocket", "stretch haze"}
    assert all(kind.may_wait for kind in KINDS if kind.remedy == Flag.Remedy.WAIT)
    assert "sensors can blind" in kind_named("keep-out touched").caution


@pytest.mark.parametrize(
    "flat", [b"{}", b"[]", b"nothing", b'{"map": {"to_map": [1], "width_mm": 1, "height_mm": 1}}']
)
def test_a_flat_that_cannot_be_read_leaves_the_picture_out(
    people: dict[Role, Person], signed_in: Browser, flat: bytes
) -> None:
    _, (hood, _) = all_laid(people[Role.INSTALLER])
    Piece.objects.filter(pk=hood.piece_id).update(flat=kept(flat, "flat.json"))
    assert "There is no flat picture of this piece" in page(signed_in(Role.COUNTER))


def test_a_jobs_page_says_how_far_it_is_and_how_flags_ended(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    job, (hood, _) = all_laid(people[Role.INSTALLER])
    corin = people[Role.COUNTER]
    tap("inspection.begun", corin, job)
    fields = {"cut": hood.pk, "kind": "water pocket", "remedy": "wait"}
    tap("inspection.flagged", corin, job, **fields)
    tap("inspection.ended-flag", corin, job, flag=1, how="noted")
    text = signed_in(Role.INSTALLER).get("/jobs/2031-0042/?work=yes").content.decode()
    for words in ("2 pieces laid", "Inspection 1: counter", "noted, seen at the follow-up"):
        assert words in text
    Job.objects.update(stage=Stage.ACCEPTED)
    text = signed_in(Role.INSTALLER).get("/jobs/2031-0042/workshop/").content.decode()
    assert "Laid and checked" not in text
