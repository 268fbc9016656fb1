"""Faults of a roll and layouts on it: left out where they will lie, told where they lie under."""

from collections.abc import Callable

import pytest
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.test import Client
from django.utils import timezone

from layflat.base import FitError
from layflat.pattern import bounds
from layflat.web.cover.order import EDGE_MARGIN_MM, END_MARGIN_MM
from layflat.web.cutting.along import along, gap_mm, queue_of, stretches
from layflat.web.cutting.models import Layout, Section
from layflat.web.cutting.ticking import tick_cut
from layflat.web.people.models import Role, Shop
from layflat.web.stock.booking import free_mm
from layflat.web.stock.faults import note, take_back
from layflat.web.stock.models import Fault, Roll
from web.bayed import a_roll
from web.cutting.patterned import (
    PATTERNS,
    a_job,
    begun,
    chosen,
    done,
    only_section,
    searched,
    to_be_cut,
)

Browser = Callable[[Role], Client]


def crease(roll: Roll, from_mm: int, to_mm: int) -> Fault:
    with transaction.atomic():
        return note(roll, kind="crease", words="", from_mm=from_mm, to_mm=to_mm, who=None)


def again(layout: Layout) -> Layout:
    return Layout.objects.select_related("job", "roll").get(pk=layout.pk)


def test_a_layout_leaves_a_fault_out_and_passes_the_film_by(shop: Shop, signed_in: Browser) -> None:
    roll = a_roll()
    crease(roll, 100, 180)
    layout = to_be_cut(a_job("2031-0042", "door-left")[0], roll)
    section = only_section(layout)
    assert layout.found is not None
    (fault,) = layout.found["stock"]["faults"]
    assert fault == {"start_mm": 100.0, "end_mm": 180.0, "reason": "crease"}
    # What lies before the crease holds no piece; it is booked with the section.
    assert section.start_mm >= 180
    assert section.film_mm == pytest.approx(section.end_mm, abs=1)
    assert gap_mm(section) == pytest.approx(section.start_mm, abs=1)
    assert along(again(layout)).hit == ()
    page = signed_in(Role.INSTALLER).get("/jobs/2031-0042/film/1/").content.decode()
    assert "of film are passed by, since a fault lies there" in page
    assert page.count('class="roll-fault"') == 1
    assert "A fault lies under" not in page


@pytest.mark.on_sqlite
def test_a_fault_that_is_noted_later_is_told_on_layout_and_roll(
    shop: Shop, signed_in: Browser
) -> None:
    roll = a_roll()
    layout = to_be_cut(a_job("2031-0042", "door-left")[0], roll)
    later = to_be_cut(a_job("2031-0043", "hood")[0], roll)
    front = only_section(layout).film_mm
    # Within the margin at the later one's end, where no piece lies; then under its pieces.
    film = only_section(later).film_mm
    crease(roll, front + film - 4, front + film + 50)
    assert along(again(later)).hit == ()
    fault = crease(roll, front + 100, front + 150)
    (lie,) = along(again(later)).hit
    assert (lie.number, lie.start_mm) == (1, pytest.approx(front, abs=1.1))
    assert along(again(layout)).hit == along(again(layout)).hit_next == ()
    browser = signed_in(Role.INSTALLER)
    page = browser.get("/jobs/2031-0043/film/1/").content.decode()
    told = "section 1 (crease, 0.100 m to 0.150 m behind its start)"
    assert f"A fault lies under {told}: lay these pieces out anew." in page
    assert "Drop this layout, then lay out." in page
    assert "A fault lies under this section. Do not cut it." in page
    assert (
        f"A fault lies under {told}: lay out anew"
        in browser.get(f"/stock/{roll.pk}/").content.decode()
    )
    # Once the first is cut it still lies where it did.
    with transaction.atomic():
        tick_cut(only_section(layout), who=None, at=timezone.now())
    assert [lie.number for lie in along(again(later)).hit] == [1]
    with transaction.atomic():
        take_back(fault, who=None)
    assert along(again(later)).hit == ()


@pytest.mark.on_sqlite
def test_cut_in_another_order_a_fault_lies_elsewhere(shop: Shop, signed_in: Browser) -> None:
    roll = a_roll()
    layout = to_be_cut(a_job("2031-0042", "door-left")[0], roll)
    later = to_be_cut(a_job("2031-0043", "hood")[0], roll)
    fault = crease(roll, 100, 150)
    lies = along(again(later))
    assert [lie.number for lie in lies.hit_next] == [1]
    assert (lies.hit, lies.front_mm) == ((), only_section(layout).film_mm)
    page = signed_in(Role.INSTALLER).get("/jobs/2031-0043/film/1/").content.decode()
    assert "are counted as cut first. If this layout is cut before them, a fault lies" in page
    # A new layout is counted behind both: the crease is cut off by then.
    assert stretches(roll, length_mm=5_000) == ()
    with transaction.atomic():
        take_back(fault, who=None)
    films = [only_section(one).film_mm for one in (layout, later)]
    crease(roll, sum(films) - 20, sum(films) + 30)
    (stretch,) = stretches(roll, length_mm=5_000)
    # What is booked of a section is rounded up to whole millimetres; where it ends is not.
    assert (stretch.start_mm, stretch.end_mm) == (0, pytest.approx(30, abs=2))
    # Nor is one told that lies behind what the layout may use.
    assert stretches(roll, length_mm=0) == ()


@pytest.mark.on_sqlite
def test_a_layout_that_meets_a_fault_meanwhile_is_not_kept(shop: Shop) -> None:
    roll = a_roll()
    layout = searched(a_job("2031-0042", "door-left")[0], roll)
    crease(roll, 100, 150)
    with pytest.raises(FitError, match="A fault lies under section 1"):
        chosen(again(layout))
    # Another job's film comes in front of a layout that was searched beside it.
    first = begun(a_job("2031-0043", "hood")[0], other := a_roll())
    second = begun(a_job("2031-0044", "door-left")[0], other)
    crease(other, 5_000, 15_000)
    for one in (first, second):
        done(one.computation)
    chosen(again(first))
    done(again(first).computation)
    crease(other, again(first).sections.get().film_mm + 100, 1_500)
    with pytest.raises(FitError, match="A fault lies under section 1"):
        chosen(again(second))


@pytest.mark.on_sqlite
def test_what_is_rounded_up_of_many_sections_moves_none_onto_a_fault(shop: Shop) -> None:
    roll = a_roll()
    job, outcome = a_job("2031-0042", "door-left")
    layout = Layout.objects.create(
        job=job, number=1, outcome=outcome, roll=roll, pieces=[1], state="kept", queue_place=1
    )
    Section.objects.bulk_create(
        Section(
            layout=layout,
            number=number,
            start_mm=100.1 * (number - 1),
            end_mm=100.1 * number,
            film_mm=101,
        )
        for number in range(1, 13)
    )
    # The last one ends 0.8 mm before it, though 1212 mm are booked of all twelve.
    crease(roll, 1_202, 1_300)
    assert along(again(layout)).hit == ()
    assert [one.before_mm for one in queue_of(roll, ())][-1] == 1_111


@pytest.mark.django_db(transaction=True)
def test_layouts_from_before_keep_the_order_in_which_they_were_counted(shop: Shop) -> None:
    roll, other = a_roll(), a_roll()
    outcomes = [a_job(f"2031-005{number}", "door-left") for number in range(6)]
    states = ("kept", "kept", "searching", "cut", "dropped", "searching")
    layouts = [
        Layout.objects.create(
            job=job,
            number=1,
            outcome=outcome,
            roll=other if state == "cut" else roll,
            pieces=[1],
            state=state,
        )
        for (job, outcome), state in zip(outcomes, states, strict=True)
    ]
    Layout.objects.filter(pk=layouts[2].pk).update(found={"sections": []})
    for layout in (layouts[1], layouts[0], layouts[3]):
        Section.objects.create(layout=layout, number=1, start_mm=0, end_mm=500, film_mm=500)
    executor = MigrationExecutor(connection)
    new = executor.loader.graph.leaf_nodes()
    try:
        executor.migrate([("cutting", "0005_shared_sections")])
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(new)
    # Programs that are being made come behind what is kept; a search has no place, nor what is
    # not used.
    assert [again(one).queue_place for one in layouts] == [2, 1, 3, 1, None, None]


def in_sections(layout: Layout, *, spare_mm: float) -> float:
    """Have each piece lie in a section of its own with so much more film; how far they reach."""
    end_mm, placements, sections = 0.0, [], []
    for number, piece in enumerate(layout.outcome.pieces.all()):
        long_mm = bounds(PATTERNS[piece.panel].outline)[2]
        place = {"turn_deg": 0.0, "x_mm": end_mm + END_MARGIN_MM, "y_mm": EDGE_MARGIN_MM}
        placements.append({"piece": piece.number, "section": number, **place})
        sections.append([end_mm, end_mm + long_mm + 2 * END_MARGIN_MM + spare_mm])
        end_mm = sections[-1][1]
    assert layout.so_far is not None
    found = {"placements": placements, "sections": sections, "length_mm": end_mm}
    Layout.objects.filter(pk=layout.pk).update(so_far={**layout.so_far, **found})
    return end_mm


def test_sections_take_no_more_of_a_roll_than_all_of_them_together(shop: Shop) -> None:
    """Each by itself they would be 711 mm and 911 mm, which is more than there is."""
    roll = a_roll(length_mm=1_621)
    layout = searched(a_job("2031-0042", "hood", "door-left")[0], roll)
    assert in_sections(layout, spare_mm=0.3) == pytest.approx(710.3 + 910.3)
    chosen(layout)
    assert [one.before_mm + one.film_mm for one in queue_of(roll, ())] == [711, 1_621]
    done(again(layout).computation)
    sections = list(layout.sections.select_related("layout__job", "layout__roll"))
    assert [one.film_mm for one in sections] == [711, 910]
    assert [gap_mm(one) for one in sections] == [0, 0]
    assert free_mm(roll) == 0
    for section in sections:
        with transaction.atomic():
            tick_cut(section, who=None, at=timezone.now())
    roll.refresh_from_db()
    assert roll.left_mm == 0
