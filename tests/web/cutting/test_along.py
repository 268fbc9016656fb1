"""Faults of a roll and layouts on it: left out where they will lie, told where they lie under."""

from collections.abc import Callable

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from layflat.base import FitError
from layflat.web.cutting.along import along, gap_mm, stretches
from layflat.web.cutting.models import Layout
from layflat.web.cutting.ticking import tick_cut
from layflat.web.people.models import Role, Shop
from layflat.web.stock.faults import note, take_back
from layflat.web.stock.models import Fault, Roll
from web.bayed import a_roll
from web.cutting.patterned import a_job, begun, chosen, done, only_section, searched, to_be_cut

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
    assert (stretch.start_mm, stretch.end_mm) == (0, 30)
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
