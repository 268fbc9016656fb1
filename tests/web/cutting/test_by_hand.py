"""Arranged by hand: judged, kept as a layout, searched around; by whom, and not after another."""

import html
import json
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from layflat.base import InputError
from layflat.web.cutting.by_hand import read_lies
from layflat.web.cutting.models import Layout, Section
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from layflat.web.stock.booking import free_mm
from layflat.web.stock.faults import note, take_back
from layflat.web.stock.models import Fault, Movement
from web.bayed import a_roll
from web.cutting.patterned import a_job, begun, done, only_section, searched, shared, to_be_cut

SignedIn = Callable[[Role], Client]
MOST_QUERIES = 15


def at(job: Job, rest: str = "", *, number: int = 1) -> str:
    return f"/jobs/{job.number}/film/{number}/by-hand/{rest}"


def lies(layout: Layout, *pinned: int, **moved: tuple[float, float, float]) -> list[list[Any]]:
    """The arrangement as the page would send it, some pieces moved to (turn, x, y)."""
    data = layout.found or layout.so_far
    rows = []
    for item in data["placements"]:
        number = item["piece"]
        lie = moved.get(f"p{number}", (item["turn_deg"], item["x_mm"], item["y_mm"]))
        rows.append([number, *lie, number in pinned])
    return rows


def send(browser: Client, job: Job, rest: str, rows: Any, *, number: int = 1, **fields: Any) -> Any:
    version = Layout.objects.get(job=job, number=number).version
    given = {"once": uuid.uuid4().hex, "version": version, "arrangement": json.dumps(rows)}
    return browser.post(at(job, rest, number=number), given | fields)


def shown(browser: Client, address: str) -> str:
    return browser.get(address).content.decode()


def told(browser: Client, answer: Any) -> str:
    """What the page says to which an answer leads."""
    return html.unescape(shown(browser, answer["Location"]))


def aside(layout: Layout) -> tuple[float, float, float]:
    """Where the second piece lies by itself, a lane behind the first."""
    first = next(item for item in layout.found["placements"] if item["piece"] == 1)
    reach = {0.0: 900.0, 90.0: 0.0, 180.0: 0.0, 270.0: 400.0}[first["turn_deg"]]
    return 0.0, first["x_mm"] + reach + 40.0, 25.0


def test_what_is_kept_is_a_layout_like_any_other(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    old = to_be_cut(job, roll)
    assert 'href="/jobs/2031-0042/film/1/by-hand/"' in shown(ines, f"/jobs/{job.number}/film/1/")
    rows = lies(old, p2=aside(old))
    token = uuid.uuid4().hex
    answers = [send(ines, job, "keep/", rows, once=token) for _ in range(2)]  # a wet glove
    assert {one["Location"] for one in answers} == {f"/jobs/{job.number}/film/2/"}
    new = Layout.objects.get(job=job, number=2)
    done(new.computation)
    new.refresh_from_db()
    old.refresh_from_db()
    assert (old.state, new.state) == (Layout.State.DROPPED, Layout.State.KEPT)
    assert sorted(lies(new)) == sorted(rows)
    assert new.used_mm == new.found["length_mm"] > old.used_mm
    sections = list(new.sections.all())
    assert sum(one.cuts.count() for one in sections) == 2
    assert roll.left_mm - free_mm(roll) == sum(one.film_mm for one in sections)
    event = Event.objects.get(kind="cutting.by-hand")
    assert "1 piece moved or turned" in event.sentence
    assert new.notes[0] == "Arranged by hand from layout 1."


@pytest.mark.on_sqlite
def test_what_cannot_be_cut_is_refused_and_changes_nothing(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    old = to_be_cut(job, roll)
    before = free_mm(roll)
    as_it_is = lies(old)
    wrong = {
        "overlap": lies(old, p2=tuple(as_it_is[0][1:4]), p1=tuple(as_it_is[0][1:4])),
        "1.00 mm into an edge margin": lies(old, p2=(0.0, 3000.0, 19.0)),
        "turned by 45°, which it may not": lies(old, p2=(45.0, 3000.0, 300.0)),
        "more than there is": lies(old, p2=(0.0, 9000.0, 100.0)),
        "not of this layout's pieces": as_it_is[:1],
        "Nothing was moved: layout 1 stays as it is.": as_it_is,
        "could not be read": "x" * 300_000,
    }
    for says, rows in wrong.items():
        answer = send(ines, job, "keep/", rows)
        assert answer["Location"] == at(job)
        assert says in told(ines, answer)
    assert Layout.objects.get(job=job).state == Layout.State.KEPT
    assert free_mm(roll) == before
    assert not Event.objects.filter(kind__in=("cutting.by-hand", "cutting.dropped")).exists()


@pytest.mark.on_sqlite
def test_pieces_keep_clear_of_a_fault_that_was_found_since(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    old = to_be_cut(job, roll)
    turn, x_mm, y_mm = aside(old)
    start_mm = round(x_mm) + 100
    Fault.objects.create(
        roll=roll,
        kind=Fault.Kind.CREASE,
        near_mm=9000 - start_mm - 50,
        far_mm=9000 - start_mm,
        noted=Movement.objects.get(roll=roll),
    )
    film = json.loads(html.unescape(re.search(r'data-film="([^"]*)"', shown(ines, at(job)))[1]))
    assert film["faults"] == [[start_mm, start_mm + 50, "crease"]]
    answer = send(ines, job, "keep/", lies(old, p2=(turn, x_mm, y_mm)))
    assert "lies on the fault “crease”" in told(ines, answer)
    beyond = (turn, start_mm + 60.0, y_mm)
    assert send(ines, job, "keep/", lies(old, p2=beyond))["Location"].endswith("/film/2/")


@pytest.mark.on_sqlite
def test_the_bound_follows_faults_that_came_and_went(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    with transaction.atomic():
        fault = note(roll, kind="crease", words="", from_mm=10, to_mm=2_000, who=None)
    old = to_be_cut(job, roll)
    assert old.found["bound_mm"] > 2_000
    with transaction.atomic():
        take_back(fault, who=None)
    nearer = [[one, turn, x_mm - 2_000.0, *rest] for one, turn, x_mm, *rest in lies(old)]
    assert send(ines, job, "keep/", nearer)["Location"].endswith("/film/2/")
    new = Layout.objects.get(job=job, number=2)
    assert new.found["length_mm"] == pytest.approx(old.found["length_mm"] - 2_000)
    assert new.found["area_mm2"] / 1524 < new.found["bound_mm"] <= new.found["length_mm"]
    done(new.computation)
    # One that came makes it longer: the search around what is arranged has the same bound.
    with transaction.atomic():
        note(roll, kind="dirt", words="", from_mm=10, to_mm=1_000, who=None)
    farther = [[one, turn, x_mm + 1_500.0, *rest] for one, turn, x_mm, *rest in nearer]
    send(ines, job, "search/", [[*row[:4], row[0] == 1] for row in farther], number=2, seconds=20)
    around = Layout.objects.get(job=job, number=3)
    hand = around.so_far
    assert 1_000 < hand["bound_mm"] <= hand["length_mm"]
    done(around.computation)
    around.refresh_from_db()
    assert around.so_far["bound_mm"] == pytest.approx(hand["bound_mm"])


@pytest.mark.on_sqlite
def test_film_that_shows_its_direction_is_not_turned(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    old = to_be_cut(job, a_roll(length_mm=9000))
    _, x_mm, y_mm = aside(old)
    first = next(item for item in old.found["placements"] if item["piece"] == 1)
    only = first["turn_deg"]
    # The mirror cap moved so that it lies on the roll at every turn.
    lies_at = {0.0: (0, 0), 90.0: (240, 0), 180.0: (360, 240), 270.0: (0, 360)}
    kept = {turn: lies(old, p2=(turn, x_mm + dx, y_mm + dy)) for turn, (dx, dy) in lies_at.items()}
    Layout.objects.filter(pk=old.pk).update(found={**old.found, "turns_deg": [only]})
    assert "This film shows its direction" in shown(ines, at(job))
    other = (only + 90.0) % 360.0
    answer = send(ines, job, "keep/", kept[other])
    assert f"is turned by {other:g}°, which it may not" in told(ines, answer)
    assert send(ines, job, "keep/", kept[only])["Location"].endswith("/film/2/")
    assert Layout.objects.get(job=job, number=2).found["turns_deg"] == {"1": [only], "2": [only]}


@pytest.mark.on_sqlite
def test_a_search_goes_on_around_what_is_pinned(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    old = to_be_cut(job, a_roll(length_mm=9000))
    spread = {"p1": (0.0, 100.0, 900.0), "p2": (0.0, 1500.0, 25.0)}
    answer = send(ines, job, "search/", lies(old, 1, **spread), seconds=20)
    assert answer["Location"] == f"/jobs/{job.number}/film/2/"
    new = Layout.objects.get(job=job, number=2)
    # The arrangement is there at once, and the search's result is no longer.
    hand_mm = new.so_far["length_mm"]
    done(new.computation)
    new.refresh_from_db()
    placed = {item["piece"]: item for item in new.so_far["placements"]}
    assert (placed[1]["turn_deg"], placed[1]["x_mm"], placed[1]["y_mm"]) == spread["p1"]
    assert new.so_far["length_mm"] < hand_mm
    assert "around 1 pinned piece." in Event.objects.get(kind="cutting.around").sentence
    # What was pinned is so still, when it is arranged once more.
    page = shown(ines, f"/jobs/{job.number}/film/2/by-hand/")
    kept = json.loads(html.unescape(re.search(r'data-lies="([^"]*)"', page)[1]))
    assert {row[0] for row in kept if row[4]} == {1}


def test_what_jobs_share_is_arranged_for_all_of_them(signed_in: SignedIn) -> None:
    """Two hoods of one name, of two jobs: A1 and B1."""
    ines = signed_in(Role.INSTALLER)
    jobs = [a_job(number, "hood")[0] for number in ("2031-0042", "2031-0043")]
    roll = a_roll(length_mm=9000)
    old = shared(jobs, roll)
    page = shown(ines, at(jobs[0]))
    assert "A1 Hood" in page
    assert "B1 Hood" in page
    outlines = ines.get(at(jobs[0], "outlines.json")).json()["pieces"]
    assert sorted(outlines) == ["1001", "2001"]
    first, second = (item for item in old.found["placements"])
    on_it = (0.0, first["x_mm"], first["y_mm"])
    answer = send(ines, jobs[0], "keep/", lies(old, p2001=on_it))
    assert "piece A1 “Hood” and piece B1 “Hood” overlap" in told(ines, answer)
    # One job's lies higher on the roll: as long as before, and another arrangement.
    rows = lies(old, p2001=(0.0, second["x_mm"], second["y_mm"] + 300.0))
    answer = send(ines, jobs[0], "keep/", rows)
    assert answer["Location"] == "/jobs/2031-0042/film/2/"
    new = Layout.objects.get(job=jobs[0], number=2)
    done(new.computation)
    new.refresh_from_db()
    old.refresh_from_db()
    assert (old.state, new.state) == (Layout.State.DROPPED, Layout.State.KEPT)
    assert sorted(lies(new)) == sorted(rows)
    section = only_section(new)
    assert {(one.letter, one.job.number) for one in section.cuts.all()} == {
        ("A", "2031-0042"),
        ("B", "2031-0043"),
    }
    shares = list(section.shares.values_list("film_mm", flat=True))
    assert sum(shares) == section.film_mm == roll.left_mm - free_mm(roll)
    assert max(shares) - min(shares) <= 1
    # The other job is told, and sees it on its page.
    told_to = Event.objects.filter(kind="cutting.by-hand").values_list("job__number", flat=True)
    assert sorted(told_to) == ["2031-0042", "2031-0043"]
    assert "/jobs/2031-0042/film/2/" in shown(ines, "/jobs/2031-0043/film/")


@pytest.mark.on_sqlite
def test_what_is_wanted_first_stays_so_by_hand(signed_in: SignedIn) -> None:
    """Piece 2 was to be cut first; a search that goes on, from what is kept by hand too, knows."""
    ines = signed_in(Role.INSTALLER)
    job, outcome = a_job()
    outcome.pieces.filter(number=2).update(details={"lay": 2})
    layout = to_be_cut(job, a_roll(length_mm=9000), first=[2])
    send(ines, job, "keep/", lies(layout, p2=aside(layout)))
    kept = Layout.objects.get(job=job, number=2)
    done(kept.computation)
    send(ines, job, "search/", lies(kept, 1), number=2, seconds=20)
    asked = Layout.objects.get(job=job, number=3).computation.inputs
    assert asked["lay"] == {"1": 2, "2": 1}


@pytest.mark.on_sqlite
def test_without_a_wish_what_is_laid_first_is_cut_first(signed_in: SignedIn) -> None:
    """Of jobs that share film the one with the first letter comes first."""
    ines = signed_in(Role.INSTALLER)
    jobs = []
    for number, turn in (("2031-0042", 7), ("2031-0043", 3)):
        job, outcome = a_job(number, "hood")
        outcome.pieces.update(details={"lay": turn})
        jobs.append(job)
    old = shared(jobs, a_roll(length_mm=9000))
    send(ines, jobs[0], "search/", lies(old, 1001), seconds=20)
    asked = Layout.objects.get(job=jobs[0], number=2).computation.inputs
    assert asked["lay"] == {"1001": 1007, "2001": 2003}


@pytest.mark.on_sqlite
def test_a_search_goes_on_around_another_jobs_piece(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    jobs = [a_job(number, "hood")[0] for number in ("2031-0042", "2031-0043")]
    old = shared(jobs, a_roll(length_mm=9000))
    answer = send(ines, jobs[0], "search/", lies(old, 1001), seconds=20)
    assert answer["Location"] == "/jobs/2031-0042/film/2/"
    new = Layout.objects.get(job=jobs[0], number=2)
    done(new.computation)
    new.refresh_from_db()
    placed = {item["piece"]: item for item in new.so_far["placements"]}
    pinned = next(item for item in old.found["placements"] if item["piece"] == 1001)
    assert (placed[1001]["x_mm"], placed[1001]["y_mm"]) == (pinned["x_mm"], pinned["y_mm"])
    # Two hoods of 400 mm lie beside each other on 1524 mm.
    assert new.so_far["length_mm"] < old.used_mm
    assert [one.job.number for one in new.members.all()] == ["2031-0042", "2031-0043"]


@pytest.mark.on_sqlite
def test_what_a_job_has_left_is_not_arranged(signed_in: SignedIn) -> None:
    jobs = [a_job(number, "hood")[0] for number in ("2031-0042", "2031-0043")]
    layout = shared(jobs, a_roll(length_mm=9000))
    layout.members.filter(letter="B").update(left_because="the customer wants less")
    page = signed_in(Role.INSTALLER).get(at(jobs[0])).content.decode()
    assert "Job 2031-0043 has no use for its pieces any more: the customer wants less." in page
    Job.objects.filter(pk=jobs[1].pk).update(stage=Stage.HANDED)
    layout.members.update(left_because="")
    page = signed_in(Role.INSTALLER).get(at(jobs[0])).content.decode()
    assert "Job 2031-0043 shares this layout, and the job stands at" in page


@pytest.mark.on_sqlite
def test_a_search_needs_something_to_move_and_a_time(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    old = searched(job, a_roll(length_mm=9000))
    answer = send(ines, job, "search/", lies(old, 1, 2), seconds=20)
    assert "Every piece is pinned" in told(ines, answer)
    answer = send(ines, job, "search/", lies(old, 1), seconds=7)
    assert "Choose how long to search" in told(ines, answer)
    assert Layout.objects.count() == 1


@pytest.mark.on_sqlite
def test_the_second_of_two_editors_is_told(signed_in: SignedIn) -> None:
    ines, odile = signed_in(Role.INSTALLER), signed_in(Role.OWNER)
    job, _ = a_job()
    old = to_be_cut(job, a_roll(length_mm=9000))
    rows, version = lies(old, p2=aside(old)), old.version
    assert send(odile, job, "keep/", rows)["Location"].endswith("/film/2/")
    answer = send(ines, job, "keep/", rows, version=version)
    assert "Somebody changed layout 1 meanwhile" in told(ines, answer)
    assert Layout.objects.filter(job=job).count() == 2
    assert "Layout 1 is not used any more" in told(ines, answer)


@pytest.mark.on_sqlite
def test_film_that_is_cut_stays_where_it_is(signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    layout = to_be_cut(job, a_roll(length_mm=9000))
    Section.objects.filter(pk=only_section(layout).pk).update(state=Section.State.CUT)
    page = shown(ines, at(job))
    assert "A section of layout 1 was cut" in page
    assert "by-hand/keep" not in page
    answer = send(ines, job, "keep/", lies(layout, p2=aside(layout)))
    assert "A section of layout 1 was cut" in told(ines, answer)
    Job.objects.filter(pk=job.pk).update(stage=Stage.HANDED)
    assert "no film is cut for it any more" in shown(ines, at(job))


@pytest.mark.on_sqlite
def test_what_is_not_found_yet_is_not_arranged(signed_in: SignedIn) -> None:
    job, _ = a_job()
    begun(job, a_roll(length_mm=9000))
    page = signed_in(Role.INSTALLER).get(at(job)).content.decode()
    assert "No layout is found yet; wait a moment." in page


@pytest.mark.on_sqlite
def test_the_counter_arranges_nothing(signed_in: SignedIn) -> None:
    corin = signed_in(Role.COUNTER)
    job, _ = a_job()
    layout = searched(job, a_roll(length_mm=9000))
    assert corin.get(at(job)).status_code == 403
    assert corin.get(at(job, "outlines.json")).status_code == 403
    assert send(corin, job, "keep/", lies(layout)).status_code == 403
    assert "by-hand" not in corin.get(f"/jobs/{job.number}/film/1/").content.decode()


@pytest.mark.on_sqlite
def test_the_page_asks_little(
    signed_in: SignedIn, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    ines = signed_in(Role.INSTALLER)
    job, _ = a_job()
    to_be_cut(job, a_roll(length_mm=9000))
    with django_assert_max_num_queries(MOST_QUERIES):
        page = ines.get(at(job))
    assert page.status_code == 200
    with django_assert_max_num_queries(MOST_QUERIES):
        found = ines.get(at(job, "outlines.json")).json()["pieces"]
    # The hood's outline and the hole in it, corner by corner.
    assert [len(ring) for ring in found["1"]] == [8, 8]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[",
        "{}",
        "7",
        "[[1, 0, 0, 0]]",
        "[[1, 0, 0, 0, 1], [2, 0, 0, 0, true]]",
        "[[true, 0, 0, 0, false], [2, 0, 0, 0, true]]",
        "[[1, 0, NaN, 0, false], [2, 0, 0, 0, true]]",
        "[[1, 0, 1e9, 0, false], [2, 0, 0, 0, true]]",
        "[[1, 0, -1e999, 0, false], [2, 0, 0, 0, true]]",
        f"[[1, 0, 0, {'9' * 400}, false], [2, 0, 0, 0, true]]",
        f"[[1, -{'9' * 400}, 0, 0, false], [2, 0, 0, 0, true]]",
        f"[[1, 0, 0, {'9' * 5_000}, false], [2, 0, 0, 0, true]]",
        f"[[{'9' * 400}, 0, 0, 0, false], [2, 0, 0, 0, true]]",
        '[[1, "0", 0, 0, false], [2, 0, 0, 0, true]]',
        "[[1, 0, 0, 0, false], [1, 0, 0, 0, true]]",
        "[" * 60_000,
    ],
)
def test_an_arrangement_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="open the page anew"):
        read_lies(text, [1, 2])
