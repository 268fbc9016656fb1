"""Sections that jobs share: kept as planned, cut as one, borne by area, left, spoiled, refused."""

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from layflat.base import InputError
from layflat.web.cutting import bay_tab, film, keeping, ticking
from layflat.web.cutting.account import account_of
from layflat.web.cutting.film import cuts_of, good_cuts
from layflat.web.cutting.leaving import leave
from layflat.web.cutting.models import Cut, Layout, Member, Section, Share, called, number_in_layout
from layflat.web.cutting.pool import being_laid_out, to_lay_out
from layflat.web.cutting.reserved import available_mm
from layflat.web.cutting.sharing import split
from layflat.web.finding.lots import recall
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.stock.booking import free_mm, reserve
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.week import keeping as week_keeping
from layflat.web.week.models import Plan
from web.bayed import a_roll
from web.cutting.patterned import a_job, done
from web.week.test_week import planned

SignedIn = Callable[[Role], Client]
MOST_QUERIES = 15
NUMBERS = ("2031-0042", "2031-0043")
HOOD_MM2 = 900 * 400 - 100 * 80
"""Of the hood's rectangle less its cut-out, see patterned.py."""


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    return [a_job(NUMBERS[0], "hood")[0], a_job(NUMBERS[1], "mirror-left")[0]]


@pytest.fixture
def roll(shop: Shop) -> Roll:
    return a_roll(cost=Decimal("930.00"))


def kept(jobs: list[Job], *, with_programs: bool = True) -> Layout:
    """The hood of one job and the cap of another in one section, kept by a plan of the week."""
    plan = planned(jobs, shares=True)
    with transaction.atomic():
        week_keeping.keep(Plan.objects.get(pk=plan.pk), who=None)
    layout = Layout.objects.select_related("computation").get()
    if with_programs:
        done(layout.computation)
    return Layout.objects.select_related("job", "roll").get()


def section_of(layout: Layout) -> Section:
    return layout.sections.select_related("layout__job", "layout__roll").get()


def by_job(rows: Any) -> dict[str, int]:
    return {row.job.number: row.film_mm for row in rows.select_related("job")}


def adds_up(roll: Roll) -> None:
    """Film that came is left, in pieces, waste, spoiled; what is reserved is what is planned."""
    roll.refresh_from_db()
    assert roll.left_mm == sum(roll.movements.values_list("delta_mm", flat=True))
    account = account_of(roll)
    if account is not None:
        went = account.pieces_mm + account.waste_mm + account.spoiled_mm + account.offcuts_mm
        assert account.in_mm == pytest.approx(went + account.left_mm)
        assert account.waste_mm >= 0
    open_mm = sum(
        Section.objects.filter(state=Section.State.OPEN, layout__state="kept").values_list(
            "film_mm", flat=True
        )
    )
    standing = Reservation.objects.filter(roll=roll, ended_at__isnull=True)
    assert sum(standing.values_list("length_mm", flat=True)) == open_mm
    assert free_mm(roll) == roll.left_mm - open_mm


def test_a_week_is_kept_as_it_was_planned(jobs: list[Job], roll: Roll) -> None:
    layout = kept(jobs)
    plan = Plan.objects.get()
    assert plan.found is not None
    section = section_of(layout)
    assert (layout.job, layout.state, layout.is_shared) == (jobs[0], Layout.State.KEPT, True)
    assert layout.used_mm == pytest.approx(plan.found["length_mm"])
    # What the plan said the film costs is what the film that is reserved costs, to the millimetre.
    assert section.film_mm * 930 / 15_000 == pytest.approx(plan.found["film"], abs=0.0621)
    assert [(cut.called, cut.number, cut.job) for cut in Cut.objects.order_by("letter")] == [
        ("A1", 1, jobs[0]),
        ("B1", 1, jobs[1]),
    ]
    assert [one["with"] for one in plan.begun] == [[NUMBERS[1]]]
    shares = by_job(Share.objects)
    assert sum(shares.values()) == section.film_mm
    assert section.pieces_mm2 is not None
    part = HOOD_MM2 / section.pieces_mm2
    assert shares[NUMBERS[0]] == pytest.approx(section.film_mm * part, abs=1)
    adds_up(roll)
    for job in jobs:
        assert not to_lay_out(job)
        assert available_mm(roll, job) == free_mm(roll)
        assert Event.objects.filter(job=job, kind="cutting.kept").count() == 1


def test_pieces_are_spoken_for_while_programs_are_made(jobs: list[Job], roll: Roll) -> None:
    layout = kept(jobs, with_programs=False)
    assert [being_laid_out(job) & {1} for job in jobs] == [{1}, {1}]
    done(layout.computation)
    done(layout.computation)  # a worker that was ended is followed by another
    assert [being_laid_out(job) for job in jobs] == [set(), set()]
    assert Cut.objects.count() == Share.objects.count() == 2


@pytest.mark.parametrize("who_ticks", [0, 1])
def test_cut_for_all_and_taken_back_for_all(jobs: list[Job], roll: Roll, who_ticks: int) -> None:
    section = section_of(kept(jobs))
    shares = by_job(Share.objects)
    tick(jobs[who_ticks], section, "cut")
    booked = Movement.objects.filter(kind=Movement.Kind.CUT)
    assert {row.job.number: -row.delta_mm for row in booked if row.job} == shares
    assert {cut.state for cut in Cut.objects.all()} == {Cut.State.CUT}
    adds_up(roll)
    with pytest.raises(InputError, match="was ticked as cut already"):
        tick(jobs[1 - who_ticks], section, "cut")
    assert booked.count() == 2
    with transaction.atomic():
        cut = ticking.cut_of(jobs[0], good_cuts(jobs[1])[0].pk)
        assert ticking.tick_weeded([cut], who=None, at=timezone.now()).startswith("Weeded: B1 ")
    assert [job.number for job in jobs if not good_cuts(job)[0].weeded_at] == [NUMBERS[0]]
    weeded = Event.objects.get(kind="cutting.weeded")
    assert (weeded.job, weeded.sentence) == (jobs[1], "Weeded: 1 Mirror-left.")
    tick(jobs[who_ticks], section, "back")
    assert by_job(Share.objects) == shares
    adds_up(roll)


def tick(job: Job, section: Section, what: str, **more: Any) -> str:
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        found = ticking.section_of(held, section.pk)
        if what == "cut":
            return ticking.tick_cut(found, who=None, at=timezone.now())
        if what == "back":
            return ticking.take_back_section(found, who=None, at=timezone.now())
        return ticking.tick_spoiled(
            found, reason="feed", note="", who=None, at=timezone.now(), **more
        )


@pytest.mark.parametrize("good", [0.0, 0.4])
def test_spoiled_for_all_whose_pieces_are_lost(jobs: list[Job], roll: Roll, good: float) -> None:
    section = section_of(kept(jobs))
    film_mm = section.film_mm - 100
    hood = good_cuts(jobs[0])[0]
    lost = {hood.pk} if good else None
    tick(jobs[1], section, "spoiled", lost=lost, film_mm=film_mm, good=good)
    assert [len(to_lay_out(job)) for job in jobs] == ([1, 0] if good else [1, 1])
    gone = sum(-row.delta_mm for row in Movement.objects.exclude(kind=Movement.Kind.RECEIVED))
    assert gone == film_mm
    adds_up(roll)
    account = account_of(roll)
    assert account is not None
    assert section.pieces_mm2 is not None
    whole = good * film_mm / section.film_mm * section.pieces_mm2 / roll.width_mm
    assert account.pieces_mm == pytest.approx(whole, abs=1)
    tick(jobs[0], section, "back")
    adds_up(roll)
    assert not any(to_lay_out(job) for job in jobs)


def test_a_piece_that_is_lost_on_the_car_is_its_own_job_s(jobs: list[Job], roll: Roll) -> None:
    section = section_of(kept(jobs))
    tick(jobs[0], section, "cut")
    film.lose(good_cuts(jobs[1])[0], because="torn", who=None, at=timezone.now())
    assert [len(to_lay_out(job)) for job in jobs] == [0, 1]
    assert Event.objects.get(kind="cutting.lost").job == jobs[1]


@pytest.mark.parametrize("goes", [0, 1])
def test_a_job_that_is_sent_back_leaves_the_others_their_section(
    signed_in: SignedIn, jobs: list[Job], roll: Roll, goes: int
) -> None:
    layout = kept(jobs)
    section, stays = section_of(layout), 1 - goes
    counter = signed_in(Role.COUNTER)
    job = jobs[goes]
    fields = {"once": uuid.uuid4().hex, "reason": "They want the roof too"}
    job.refresh_from_db()
    counter.post(f"/jobs/{job.number}/back/", {**fields, "version": job.version})
    job.refresh_from_db()
    assert job.stage == "cover"
    assert by_job(Share.objects) == {NUMBERS[stays]: section.film_mm}
    assert [cut.job.number for cut in Cut.objects.all()] == [NUMBERS[stays]]
    told = Event.objects.get(kind="cutting.left", job=jobs[stays]).sentence
    assert f"Job {NUMBERS[goes]} has no use for its pieces {'AB'[goes]}1" in told
    adds_up(roll)
    page = shown(signed_in(Role.INSTALLER), f"/jobs/{NUMBERS[0]}/film/1/")
    assert "are cut for nobody" in page
    if goes:
        with pytest.raises(InputError, match="no such section"):
            tick(job, section, "cut")
    tick(jobs[stays], section, "cut")
    adds_up(roll)


def test_a_tick_stays_once_a_job_that_bears_a_part_of_it_left(jobs: list[Job], roll: Roll) -> None:
    layout = kept(jobs)
    tick(jobs[0], section_of(layout), "cut")
    Member.objects.filter(job=jobs[1]).update(left_because="sent back")
    with pytest.raises(InputError, match="has left this layout since"):
        tick(jobs[0], section_of(layout), "back")


def test_the_last_job_takes_the_layout_with_it(jobs: list[Job], roll: Roll) -> None:
    layout = kept(jobs)
    for job in jobs:
        with transaction.atomic():
            fresh = Layout.objects.select_related("job").get(pk=layout.pk)
            leave(fresh, Job.objects.select_for_update().get(pk=job.pk), because="sent back")
    layout.refresh_from_db()
    assert layout.state == Layout.State.DROPPED
    assert not Cut.objects.exists()
    adds_up(roll)


def test_dropping_gives_all_jobs_their_pieces_back(jobs: list[Job], roll: Roll) -> None:
    layout = kept(jobs)
    with transaction.atomic():
        keeping.drop(layout, who=None)
    assert [len(to_lay_out(job)) for job in jobs] == [1, 1]
    assert {event.job for event in Event.objects.filter(kind="cutting.dropped")} == set(jobs)
    assert free_mm(roll) == roll.left_mm


def test_a_cover_that_changes_while_programs_are_made_is_found_out(
    jobs: list[Job], roll: Roll
) -> None:
    layout = kept(jobs, with_programs=False)
    Member.objects.filter(job=jobs[1]).update(pieces=[7])
    Member.objects.get(job=jobs[1]).outcome.pieces.update(number=7)
    with pytest.raises(InputError, match="Piece B1 needs no film any more"):
        done(layout.computation)
    assert not Section.objects.exists()


@pytest.mark.parametrize("what", ["roll", "cover"])
def test_a_plan_with_shared_sections_is_refused_once_things_changed(
    jobs: list[Job], roll: Roll, what: str
) -> None:
    plan = planned(jobs, shares=True)
    if what == "roll":
        reserve(roll, jobs[0], 100, who=None)
    else:
        plan.asked["jobs"][1]["outcome"] += 1
    with pytest.raises(InputError, match="changed since this plan"), transaction.atomic():
        week_keeping.keep(plan, who=None)
    assert not Member.objects.exists()


def shown(browser: Client, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200, address
    return answer.content.decode()


def test_pages_and_papers_tell_whose_each_piece_is(
    signed_in: SignedIn,
    jobs: list[Job],
    roll: Roll,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    section = section_of(kept(jobs))
    ines = signed_in(Role.INSTALLER)
    pages = {}
    for address in (
        f"/jobs/{NUMBERS[0]}/film/1/",
        f"/jobs/{NUMBERS[0]}/film/",
        f"/jobs/{NUMBERS[1]}/film/",
        f"/stock/{roll.pk}/",
        "/stock/week/1/",
    ):
        with django_assert_max_num_queries(MOST_QUERIES):
            pages[address] = shown(ines, address)
    layout = pages[f"/jobs/{NUMBERS[0]}/film/1/"]
    assert "Shared by jobs" in layout
    assert "Arrange by hand" in layout
    assert ">A1</text>" in layout
    assert "what is ticked here counts for all of them" in layout
    assert f"Layout 1 of {NUMBERS[0]}" in pages[f"/jobs/{NUMBERS[1]}/film/"]
    assert f"shared with {NUMBERS[1]}" in pages["/stock/week/1/"]
    assert "EUR" not in "".join(pages.values())
    for paper in ("weeding-map.pdf", "labels.pdf"):
        answer = ines.get(f"/jobs/{NUMBERS[0]}/film/1/{paper}")
        assert answer.content.startswith(b"%PDF-")
    # Cut by a tap on the other job's page, twice by a wet glove.
    fields = {
        "tap": uuid.uuid4().hex,
        "act": "cutting.section-cut",
        "job": NUMBERS[1],
        "section": section.pk,
    }
    for _ in range(2):
        ines.post("/taps/", fields)
    assert Movement.objects.filter(kind=Movement.Kind.CUT).count() == 2


def test_the_bay_and_the_lot_know_whose_each_piece_is(jobs: list[Job], roll: Roll) -> None:
    section = section_of(kept(jobs))
    for job in jobs:
        ((_, (row,)),) = bay_tab.read(job, None)["cutting_layouts"]
        assert (row.section, row.whose) == (section, dict(zip("AB", NUMBERS, strict=True)))
        # A section is spoiled for all its jobs, so that all pieces can be ticked as lost.
        assert [cut.called for cut in row.cuts] == ["A1", "B1"]
        assert [cut.job for cut in cuts_of(job)] == [job]
    tick(jobs[0], section, "cut")
    found = recall(roll.lot)
    assert found is not None
    assert [(one.job, one.cut.letter) for one in found.at_hand] == [(jobs[0], "A"), (jobs[1], "B")]


@pytest.mark.parametrize(
    ("total", "by"), [(0, {1: 2.0, 2: 1.0}), (7, {1: 0.0, 2: 0.0}), (100, {1: 1.0, 2: 1.0, 3: 1.0})]
)
def test_shares_are_whole_and_add_up(total: int, by: dict[int, float]) -> None:
    found = split(total, by)
    assert sum(found.values()) == total
    assert max(found.values()) - min(found.values()) <= 1


def test_numbers_within_a_layout_are_read_back() -> None:
    assert [called(number_in_layout(letter, 37)) for letter in ("", "A", "L")] == [
        "37",
        "A37",
        "L37",
    ]
