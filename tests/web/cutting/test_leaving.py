"""A job leaves a layout that it shares: what held its pieces alone is not to be cut any more."""

import contextlib
from collections.abc import Callable, Collection

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.cutting import ticking
from layflat.web.cutting.account import account_of
from layflat.web.cutting.keeping import drop
from layflat.web.cutting.leaving import leave, take_up
from layflat.web.cutting.models import Cut, Layout, Member, Offcut, Section, Share
from layflat.web.cutting.on_roll import read as on_roll
from layflat.web.cutting.pool import to_lay_out
from layflat.web.cutting.reserved import planned_of
from layflat.web.cutting.sent_back import let_go
from layflat.web.cutting.standing import standing_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.sending.prepared import why_not_made_anew
from layflat.web.stock.booking import free_mm
from layflat.web.stock.listing import with_all
from layflat.web.stock.models import Movement, Reservation, Roll
from web.bayed import a_roll
from web.cutting.patterned import a_job, shared, to_be_cut

SignedIn = Callable[[Role], Client]
NUMBERS = ("2031-0042", "2031-0043")
LENGTH_MM = 12_000


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    return [a_job(NUMBERS[0], "hood")[0], a_job(NUMBERS[1], "hood", "mirror-left")[0]]


@pytest.fixture
def layout(jobs: list[Job]) -> Layout:
    """Job A's hood and job B's lie in section 1, B's cap alone in section 2."""
    return shared(jobs, a_roll(length_mm=LENGTH_MM), ends=[2])


def left(layout: Layout, job: Job) -> str:
    with transaction.atomic():
        fresh = Layout.objects.select_related("job").get(pk=layout.pk)
        held = Job.objects.select_for_update().get(pk=job.pk)
        return leave(fresh, held, because="it was sent back")


def tick(
    job: Job,
    layout: Layout,
    number: int,
    what: str,
    film_mm: int | None = None,
    lost: Collection[int] | None = (),
) -> str:
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        found = ticking.section_of(held, layout.sections.get(number=number).pk)
        if what == "begun":
            return ticking.begin_cutting(found, who=None, at=timezone.now())
        if what == "cut":
            return ticking.tick_cut(found, who=None, at=timezone.now())
        if what == "back":
            return ticking.take_back_section(found, who=None, at=timezone.now())
        return ticking.tick_spoiled(
            found, reason="dirt", note="", lost=lost, film_mm=film_mm, who=None, at=timezone.now()
        )


def states(layout: Layout) -> list[str]:
    return list(layout.sections.order_by("number").values_list("state", flat=True))


def reserved(layout: Layout) -> dict[str, int]:
    rows = Reservation.objects.filter(roll=layout.roll, ended_at__isnull=True)
    return {row.job.number: row.length_mm for row in rows.select_related("job")}


def test_a_section_that_held_only_its_pieces_is_not_to_be_cut(
    jobs: list[Job], layout: Layout, signed_in: SignedIn
) -> None:
    first, second = layout.sections.order_by("number")
    Offcut.objects.create(
        section=second, number=9, start_mm=0, low_mm=0, length_mm=400, width_mm=300
    )
    said = left(layout, jobs[1])
    assert said.endswith("Section 2 held nothing else and is not to be cut any more.")
    told = Event.objects.get(kind="cutting.left", job=jobs[0]).sentence
    assert told.endswith("Section 2 held nothing else and is not to be cut any more.")
    assert states(layout) == ["open", "left"]
    # Its film is free, and stands on no list of what is to be cut.
    assert reserved(layout) == {NUMBERS[0]: first.film_mm}
    assert free_mm(layout.roll) == LENGTH_MM - first.film_mm
    shown = on_roll(with_all(Roll.objects.filter(pk=layout.roll_id)).get())
    assert [one.number for one in shown["queue"]] == [1]
    assert shown["account"] is None
    assert not Offcut.objects.filter(section=second).exists()
    assert not Share.objects.filter(section=second).exists()
    layout.refresh_from_db()
    assert standing_of(layout, layout.sections.all()).name == "kept"
    assert why_not_made_anew(layout) == ""
    for what in ("begun", "cut", "spoiled"):
        with pytest.raises(InputError, match="no job needs its pieces"):
            tick(jobs[0], layout, 2, what)
    with pytest.raises(InputError, match="nothing to take back"):
        tick(jobs[0], layout, 2, "back")
    page = signed_in(Role.INSTALLER).get(f"/jobs/{NUMBERS[0]}/film/1/").content.decode()
    assert "Not to be cut any more" in page
    assert "after all" not in page
    assert "Drop this layout" in page
    assert f'id="cut-{second.pk}"' not in page
    assert page.count("counts for all of them") == 1
    assert "of section 1</span>" in page
    assert 'Program (HP-GL)<span class="seen-by-readers"> of section 2' not in page
    assert f"/film/1/{second.number}/machine/" not in page
    assert f"/film/1/{first.number}/machine/" in page
    assert f'id="cut-{first.pk}"' in page
    # Once the other section is cut nothing is left of the layout.
    tick(jobs[0], layout, 1, "cut")
    layout.refresh_from_db()
    assert layout.state == Layout.State.CUT
    assert not reserved(layout)
    account = account_of(Roll.objects.get(pk=layout.roll_id))
    assert account is not None
    whole = account.pieces_mm + account.waste_mm + account.offcuts_mm + account.left_mm
    assert (whole, account.spoiled_mm) == (pytest.approx(LENGTH_MM), 0)


def test_it_ends_the_layout_where_the_others_have_cut_theirs(
    jobs: list[Job], layout: Layout
) -> None:
    tick(jobs[0], layout, 1, "cut")
    left(layout, jobs[1])
    layout.refresh_from_db()
    assert (states(layout), layout.state) == (["cut", "left"], Layout.State.CUT)
    assert not reserved(layout)
    assert free_mm(layout.roll) == Roll.objects.get(pk=layout.roll_id).left_mm
    # The tick of what both had stays, since one of them left.
    with pytest.raises(InputError, match="has left this layout since"):
        tick(jobs[0], layout, 1, "back")


def test_the_others_may_drop_it(jobs: list[Job], layout: Layout, signed_in: SignedIn) -> None:
    left(layout, jobs[1])
    answer = signed_in(Role.INSTALLER).post(f"/jobs/{NUMBERS[0]}/film/1/drop/", {"once": "1" * 32})
    assert answer.status_code == 302
    layout.refresh_from_db()
    assert layout.state == Layout.State.DROPPED
    assert (reserved(layout), free_mm(layout.roll)) == ({}, LENGTH_MM)
    assert len(to_lay_out(jobs[0])) == 1


def test_what_is_cut_is_not_dropped_and_nothing_is_open_again(
    jobs: list[Job], layout: Layout, signed_in: SignedIn
) -> None:
    left(layout, jobs[1])
    tick(jobs[0], layout, 1, "cut")
    signed_in(Role.INSTALLER).post(f"/jobs/{NUMBERS[0]}/film/1/drop/", {"once": "1" * 32})
    assert states(layout) == ["cut", "left"]


def test_the_last_job_drops_it_or_leaves_it_as_it_is(jobs: list[Job], shop: Shop) -> None:
    roll = a_roll(length_mm=LENGTH_MM)
    for cut, ends in ((False, [2]), (True, [1, 2])):
        layout = shared(jobs, roll, ends=ends)
        left(layout, jobs[1])
        if cut:
            Section.objects.filter(layout=layout, number=1).update(state=Section.State.SPOILED)
            with transaction.atomic():
                let_go(Job.objects.select_for_update().get(pk=jobs[0].pk))
            assert states(layout) == ["spoiled", "left", "left"]
        else:
            assert left(layout, jobs[0]).endswith("is dropped.")
            assert free_mm(roll) == LENGTH_MM


def test_a_section_whose_cut_has_begun_is_for_a_person_to_end(
    jobs: list[Job], layout: Layout, signed_in: SignedIn
) -> None:
    first, second = layout.sections.order_by("number")
    tick(jobs[1], layout, 2, "begun")
    left(layout, jobs[1])
    assert states(layout) == ["open", "open"]
    assert reserved(layout) == {NUMBERS[0]: first.film_mm, NUMBERS[1]: second.film_mm}
    said = tick(jobs[0], layout, 2, "spoiled", film_mm=120)
    assert said.endswith("0.120 m of R1 lost.")
    assert states(layout) == ["open", "spoiled"]
    assert reserved(layout) == {NUMBERS[0]: first.film_mm}
    assert Movement.objects.get(kind=Movement.Kind.SPOILED).delta_mm == -120
    page = signed_in(Role.INSTALLER).get(f"/jobs/{NUMBERS[0]}/film/1/").content.decode()
    assert "Dirt under or on the film" in page


def test_a_section_without_pieces_from_before_can_be_ended(
    jobs: list[Job], layout: Layout, signed_in: SignedIn
) -> None:
    first, second = layout.sections.order_by("number")
    # As it was left once: no pieces of film, and its film reserved for a job that is gone.
    Member.objects.filter(job=jobs[1]).update(left_because="it was sent back")
    Cut.objects.filter(section=second).delete()
    page = signed_in(Role.INSTALLER).get(f"/jobs/{NUMBERS[0]}/film/1/").content.decode()
    # Of section 1 alone it is asked which pieces are lost.
    assert page.count("<legend>Which pieces are lost</legend>") == 1
    tick(jobs[0], layout, 2, "spoiled", film_mm=0)
    assert states(layout) == ["open", "spoiled"]
    assert not Movement.objects.filter(kind=Movement.Kind.SPOILED).exists()
    assert sum(reserved(layout).values()) == first.film_mm


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["cut", "cut", "spoiled", "back", "back", "leave", "drop", "again"]),
        st.integers(0, 5),
        st.integers(0, 1),
        st.integers(0, 2_500),
    ),
    min_size=2,
    max_size=12,
)


@pytest.mark.on_sqlite
# Of whole pieces and of lost ones a job's part is rounded, of both together once more.
@example(acts=[("spoiled", 1, 0, 371), ("back", 1, 0, 0)], ends=[2])
# More is lost than was reserved for the section.
@example(acts=[("spoiled", 1, 0, 2_500), ("back", 1, 0, 0)], ends=[2])
@given(acts=ACTS, ends=st.sampled_from([[], [1], [2], [1, 2]]))
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_film_stays_reserved_for_nothing(
    jobs: list[Job], acts: list[tuple[str, int, int, int]], ends: list[int]
) -> None:
    """Whoever ticks, leaves and drops, each job has reserved what it is still to cut, no more."""
    with transaction.atomic():
        roll = a_roll(length_mm=30_000)
        shared(jobs, roll, ends=ends)
        for name, which, whose, mm in acts:
            with contextlib.suppress(InputError), transaction.atomic():
                _does(jobs[whose], roll, name, which, mm)
            for job in jobs:
                standing = Reservation.objects.filter(roll=roll, job=job, ended_at__isnull=True)
                reserved_mm = sum(standing.values_list("length_mm", flat=True))
                assert reserved_mm == planned_of(job)[roll.pk]
            rows = Section.objects.filter(layout__state=Layout.State.KEPT, state="open")
            assert all(section.cuts.exists() for section in rows)
            borne_mm = sum(planned_of(job)[roll.pk] for job in jobs)
            assert borne_mm == sum(rows.values_list("film_mm", flat=True))
            for layout in Layout.objects.filter(state=Layout.State.KEPT):
                assert "open" in states(layout)
        transaction.set_rollback(True)


def _does(job: Job, roll: Roll, name: str, which: int, mm: int) -> None:
    sections = list(Section.objects.filter(layout__roll=roll).order_by("pk"))
    section = sections[which % len(sections)]
    if name in ("cut", "back"):
        tick(job, section.layout, section.number, name)
    elif name == "spoiled":
        lost = None if which % 2 else set(section.cuts.values_list("pk", flat=True)[:1])
        tick(job, section.layout, section.number, name, film_mm=mm, lost=lost)
    elif name == "leave":
        member = Member.objects.filter(job=job, left_because="", layout__state="kept").first()
        if member is not None:
            left(member.layout, job)
    elif name == "drop":
        layout = Layout.objects.select_related("job").get(pk=section.layout_id)
        take_up(layout)
        drop(layout, who=None)
    elif to_lay_out(job):
        to_be_cut(job, roll)
