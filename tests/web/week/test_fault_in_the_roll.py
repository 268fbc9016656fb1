"""A week's plan on a roll with a fault: kept in any order of finishing, and no piece lies on it."""

import json
from collections.abc import Callable, Sequence
from itertools import pairwise, permutations

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from layflat.base import FitError
from layflat.pattern import bounds, transform
from layflat.web.cutting import by_hand
from layflat.web.cutting import keeping as cutting_keeping
from layflat.web.cutting.along import along, queue_of, stretches
from layflat.web.cutting.models import Layout, Section
from layflat.web.cutting.ticking import tick_cut
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role, Shop
from layflat.web.stock.faults import note, places_of, take_back
from layflat.web.stock.models import Fault, Roll
from layflat.web.week import keeping
from layflat.web.week.models import Plan
from web.bayed import a_roll
from web.cutting.patterned import PATTERNS, a_job, begun, chosen, done, searched, to_be_cut
from web.week.test_week import planned

SignedIn = Callable[[Role], Client]
NUMBERS = ("2031-0042", "2031-0043", "2031-0044")
NEAR, MIDDLE = (300, 400), (1100, 1200)
"""A door takes 510 mm along the roll, or 710: none goes before the one, two before the other."""


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    return [a_job(number, "door-left")[0] for number in NUMBERS]


def crease(roll: Roll, from_mm: int, to_mm: int) -> Fault:
    with transaction.atomic():
        return note(roll, kind="crease", words="", from_mm=from_mm, to_mm=to_mm, who=None)


def in_parts(jobs: list[Job], roll: Roll) -> list[Layout]:
    """The plan's parts along the roll, chosen; their programs are asked for."""
    plan = planned(jobs)
    with transaction.atomic():
        keeping.keep(Plan.objects.select_for_update().get(pk=plan.pk), who=None)
    rows = Layout.objects.filter(roll=roll, job__in=jobs).select_related("job", "roll")
    found = list(rows.order_by("pk"))
    assert len(found) == len(jobs)
    return found


def again(layout: Layout) -> Layout:
    return Layout.objects.select_related("job", "roll", "computation").get(pk=layout.pk)


def finished(layouts: Sequence[Layout]) -> None:
    for layout in layouts:
        done(again(layout).computation)


def length_mm(layout: Layout) -> float:
    found = again(layout).found
    assert found is not None
    return float(found["length_mm"])


def lies(layout: Layout) -> list[tuple[float, float]]:
    """Where each piece begins and ends along the roll, from the cut end as it stands now."""
    found = layout.found
    assert found is not None
    sections = {one.number: one for one in along(layout).lies}
    reach = []
    for item in found["placements"]:
        turned = transform(PATTERNS["door-left"].outline, turn_deg=item["turn_deg"])
        left, _, right, _ = bounds(turned)
        number = item["section"] + 1
        to_roll = sections[number].start_mm - found["sections"][number - 1][0]
        reach.append((left + item["x_mm"] + to_roll, right + item["x_mm"] + to_roll))
    return reach


def keep_clear(layouts: Sequence[Layout], roll: Roll) -> None:
    """No piece of kept layouts lies on a fault, nor on what another takes."""
    (fault,) = places_of(roll)
    reach = sorted(
        one for layout in layouts if again(layout).state == "kept" for one in lies(again(layout))
    )
    for start_mm, end_mm in reach:
        assert end_mm <= fault.start_mm + 0.01 or start_mm >= fault.end_mm - 0.01
    for (_, end_mm), (start_mm, _) in pairwise(reach):
        assert start_mm > end_mm


@pytest.mark.on_sqlite
@pytest.mark.parametrize("fault", [NEAR, MIDDLE])
@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_a_plan_is_kept_in_whatever_order_its_programs_are_made(
    jobs: list[Job], fault: tuple[int, int], order: tuple[int, ...]
) -> None:
    roll = a_roll()
    crease(roll, *fault)
    parts = in_parts(jobs, roll)
    for index in order:
        # What is made already and what is still being made are counted alike, as they lie.
        assert [one.layout for one in queue_of(roll, ())] == parts
        finished([parts[index]])
        assert again(parts[index]).state == Layout.State.KEPT
        assert not any(along(again(one)).hit for one in parts)
    assert [one.layout for one in queue_of(roll, ())] == parts
    keep_clear(parts, roll)
    # So it stays while it is cut in that order: the fault comes nearer with every section.
    for part in parts:
        for section in Section.objects.filter(layout=part).select_related("layout__job"):
            with transaction.atomic():
                tick_cut(section, who=None, at=timezone.now())
        roll.refresh_from_db()
        assert not any(along(again(one)).hit for one in parts if again(one).state == "kept")


@pytest.mark.on_sqlite
def test_the_roll_lists_a_plan_as_it_lies(signed_in: SignedIn, jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    parts = in_parts(jobs, roll)
    finished([parts[2]])
    page = signed_in(Role.INSTALLER).get(f"/stock/{roll.pk}/").content.decode()
    places = [page.index(f"{one.job.number}, layout 1, section 1") for one in parts]
    assert places == sorted(places)
    assert page.count("no program yet") == 2
    # A new layout begins behind all of it, though two thirds are not made yet.
    crease(roll, 5_000, 5_100)
    (stretch,) = stretches(roll, length_mm=9_000)
    assert stretch.start_mm == pytest.approx(5_000 - sum(length_mm(one) for one in parts))


@pytest.mark.on_sqlite
def test_a_fault_that_is_noted_while_programs_are_made_is_met(jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    parts = in_parts(jobs, roll)
    finished(parts[:2])
    fault = crease(roll, 1_300, 1_350)
    with pytest.raises(FitError, match="A fault lies under section 1"):
        finished(parts[2:])
    assert again(parts[2]).state == Layout.State.SEARCHING
    assert not Section.objects.filter(layout=parts[2]).exists()
    with transaction.atomic():
        take_back(fault, who=None)
    finished(parts[2:])
    keep_clear(parts, roll)


@pytest.mark.on_sqlite
def test_what_lay_behind_a_part_that_is_dropped_comes_nearer_and_is_judged_anew(
    jobs: list[Job],
) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    parts = in_parts(jobs, roll)
    finished([parts[0]])
    with transaction.atomic():
        cutting_keeping.drop(again(parts[1]), who=None)
    # The third passed by what was left before the fault; that lies elsewhere now.
    front_mm = along(again(parts[2])).front_mm
    assert front_mm == pytest.approx(length_mm(parts[0]), abs=1)
    with pytest.raises(FitError, match="A fault lies under section 1"):
        finished([parts[2]])
    # Its job lays the piece out anew, behind what is left of the plan.
    with transaction.atomic():
        cutting_keeping.drop(again(parts[2]), who=None)
    new = to_be_cut(jobs[2], roll)
    keep_clear([parts[0], new], roll)


@pytest.mark.on_sqlite
@pytest.mark.parametrize("is_searched", [False, True])
def test_arranged_by_hand_a_part_keeps_its_place(jobs: list[Job], is_searched: bool) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    parts = in_parts(jobs, roll)
    finished(parts)
    old = again(parts[1])
    assert old.found is not None
    (item,) = old.found["placements"]
    # Across the roll by a hand's breadth: as long as before.
    lie = [item["piece"], item["turn_deg"], item["x_mm"], item["y_mm"] + 100.0, False]
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=old.job_id)
        old.job = held
        if is_searched:
            new = by_hand.search_around(
                old, json.dumps([lie]), version=old.version, seconds=20, who=None
            )
        else:
            new = by_hand.keep_by_hand(old, json.dumps([lie]), version=old.version, who=None)
    assert [one.layout for one in queue_of(roll, ())] == [parts[0], new, parts[2]]
    assert not any(along(again(one)).hit for one in (parts[0], new, parts[2]))
    done(new.computation)
    if is_searched:
        chosen(again(new))
        finished([new])
    keep_clear([parts[0], new, parts[2]], roll)
    assert [one.layout for one in queue_of(roll, ())] == [parts[0], new, parts[2]]


@pytest.mark.on_sqlite
def test_what_is_chosen_since_lies_behind_the_plan(jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    before = begun(a_job("2031-0050", "door-left")[0], roll)
    parts = in_parts(jobs, roll)
    # Searched as if it began at the cut end; it comes to lie behind the plan, where no fault is.
    done(before.computation)
    chosen(again(before))
    since = searched(a_job("2031-0051", "door-left")[0], roll)
    chosen(again(since))
    finished([since, before, *reversed(parts)])
    assert [one.layout for one in queue_of(roll, ())] == [*parts, before, since]
    keep_clear([*parts, before, since], roll)


@pytest.mark.on_sqlite
def test_parts_of_two_plans_follow_each_other(jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    first = in_parts(jobs[:2], roll)
    plan = planned(jobs[2:])
    with transaction.atomic():
        keeping.keep(Plan.objects.get(pk=plan.pk), who=None)
    (second,) = Layout.objects.filter(job=jobs[2])
    finished([second, *reversed(first)])
    assert [one.layout for one in queue_of(roll, ())] == [*first, second]
    keep_clear([*first, second], roll)


@pytest.mark.on_sqlite
def test_cut_out_of_turn_a_part_says_what_it_meets(jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *NEAR)
    parts = in_parts(jobs, roll)
    finished([parts[1]])
    lie = along(again(parts[1]))
    assert lie.hit == ()
    # The first passes the fault by; cut before it the second would lie on it.
    assert [one.number for one in lie.hit_next] == [1]
    section = Section.objects.select_related("layout__job").get(layout=parts[1])
    with transaction.atomic():
        tick_cut(section, who=None, at=timezone.now())
    roll.refresh_from_db()
    assert places_of(roll) == []
    finished([parts[2], parts[0]])
    assert {again(one).state for one in (parts[0], parts[2])} == {"kept"}


@pytest.mark.on_sqlite
def test_a_plan_is_refused_whole_once_other_film_came_in_front(jobs: list[Job]) -> None:
    roll = a_roll()
    crease(roll, *MIDDLE)
    plan = planned(jobs)
    other = searched(a_job("2031-0050", "door-left")[0], roll)
    chosen(again(other))
    with pytest.raises(FitError, match="A fault lies under"), transaction.atomic():
        keeping.keep(Plan.objects.get(pk=plan.pk), who=None)
    assert Layout.objects.get().pk == other.pk
