"""What a section leaves: found, kept or thrown away, taken back; and film always adds up."""

import random
from collections.abc import Callable

import pytest
import shapely
from django.db import transaction
from django.test import Client
from django.utils import timezone

from layflat.base import InputError
from layflat.nest import placed_pattern
from layflat.pattern import to_polygon
from layflat.plan import chance_of_use
from layflat.web.cover.models import Piece
from layflat.web.cutting.account import account_of
from layflat.web.cutting.models import Cut, Layout, Offcut
from layflat.web.cutting.offcuts import keep_offcut, reopen_offcut, throw_offcut
from layflat.web.cutting.patterns import pattern_files, read_patterns
from layflat.web.cutting.stored import layout_of
from layflat.web.cutting.ticking import take_back_section, tick_cut
from layflat.web.cutting.worth import worth_of
from layflat.web.people.models import Person, Role, Shop
from layflat.web.stock.booking import cut_offcut, take
from layflat.web.stock.faults import note
from layflat.web.stock.models import Movement, Roll
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut
from web.cutting.test_ticks import refused, went_in

Browser = Callable[[Role], Client]


@pytest.fixture
def layout(shop: Shop) -> Layout:
    return to_be_cut(a_job("2031-0042", "door-left")[0], a_roll(place="rack 1"))


def ticked(layout: Layout) -> None:
    with transaction.atomic():
        tick_cut(only_section(layout), who=None, at=timezone.now())


def first(layout: Layout) -> Offcut:
    found = Offcut.objects.select_related("section__layout__roll", "roll").filter(
        section__layout=layout
    )
    one = found.order_by("number").first()
    assert one is not None
    return one


def drawn_mm2(layout: Layout) -> tuple[float, float]:
    """The area of the pieces and of the film, by shapes on the plane and not by the app's sums."""
    pieces = layout.outcome.pieces.select_related("pattern")
    laid = layout_of(layout.found or {}, read_patterns(pattern_files(pieces)))
    shapes = [to_polygon(placed_pattern(one), deviation_mm=0.005) for one in laid.placements]
    return shapely.union_all(shapes).area, laid.length_mm * laid.stock.width_mm


@pytest.mark.on_sqlite
def test_rectangles_lie_on_no_piece_and_are_large_enough(layout: Layout) -> None:
    found = list(Offcut.objects.filter(section__layout=layout))
    pieces = layout.outcome.pieces.select_related("pattern")
    laid = layout_of(layout.found or {}, read_patterns(pattern_files(pieces)))
    shapes = [to_polygon(placed_pattern(one), deviation_mm=0.005) for one in laid.placements]
    assert found
    for one in found:
        box = shapely.box(
            one.start_mm, one.low_mm, one.start_mm + one.length_mm, one.low_mm + one.width_mm
        )
        assert not any(box.intersects(shape) for shape in shapes)
        assert min(one.length_mm, one.width_mm) >= 250
        assert max(one.length_mm, one.width_mm) >= 400
    assert layout.boxes
    section = only_section(layout)
    assert section.pieces_mm2 == pytest.approx(drawn_mm2(layout)[0], rel=1e-4)


def test_kept_by_one_tap_labelled_found_and_taken_back(
    layout: Layout, signed_in: Browser, people: dict[Role, Person]
) -> None:
    installer, ines, key = signed_in(Role.INSTALLER), people[Role.INSTALLER], first(layout).pk
    job, to = layout.job, f"/jobs/{layout.job.number}/film/1/"
    said = refused(job, "offcut-kept", ines, offcut=key)
    assert "is not cut, so nothing remains of it yet" in said
    ticked(layout)
    page = installer.get(to).content.decode()
    assert "Worth keeping" in page
    assert "No other job of this film was laid out yet" in page
    assert refused(job, "offcut-kept", people[Role.COUNTER], offcut=key)
    assert "is kept, " in went_in(job, "offcut-kept", ines, offcut=key, place="offcut box")
    one = first(layout)
    kept = one.roll
    assert kept is not None
    assert (kept.left_mm, kept.width_mm) == (one.length_mm, one.width_mm)
    assert (kept.lot, kept.film, kept.place) == (layout.roll.lot, layout.roll.film, "offcut box")
    assert kept.cut_from == layout.roll
    again = refused(job, "offcut-thrown", people[Role.OWNER], offcut=key)
    assert again.startswith(f"This offcut was kept as {kept} by installer at ")
    page = installer.get(to).content.decode()
    assert f"/stock/{kept.pk}/label.pdf" in page
    # The section's tick stays while its offcut lies on the shelf.
    with pytest.raises(InputError, match=f"{kept} is kept as an offcut"), transaction.atomic():
        take_back_section(only_section(layout), who=None, at=timezone.now())
    went_in(job, "offcut-open", ines, offcut=key)
    kept.refresh_from_db()
    assert kept.is_finished
    assert first(layout).state == Offcut.State.OPEN
    assert refused(job, "offcut-open", ines, offcut=key).startswith("This offcut is neither")
    assert refused(job, "offcut-open", ines, offcut=key + 99).startswith("There is no such offcut")
    events = job.events.filter(kind__startswith="cutting.offcut")
    assert [event.who for event in events] == [ines] * 2


@pytest.mark.on_sqlite
def test_an_offcut_that_was_used_is_not_taken_back(layout: Layout) -> None:
    ticked(layout)
    with transaction.atomic():
        keep_offcut(first(layout), place="", who=None, at=timezone.now())
    kept = first(layout).roll
    assert kept is not None
    take(kept, 100, kind=Movement.Kind.CUT, job=None, who=None, source="")
    said = "was used, reserved or set right since"
    with pytest.raises(InputError, match=said), transaction.atomic():
        reopen_offcut(first(layout), who=None)
    assert first(layout).roll == kept


@pytest.mark.on_sqlite
def test_film_adds_up_whatever_is_done(layout: Layout) -> None:
    """Came = pieces + waste + offcuts + left; pieces by shapes, waste as what then remains."""
    draw, roll = random.Random(3), layout.roll
    pieces_mm2, film_mm2 = drawn_mm2(layout)
    now, was_kept = timezone.now(), 0
    for _ in range(60):
        offcuts = list(Offcut.objects.filter(section__layout=layout).order_by("pk"))
        acts: list[Callable[[], object]] = [
            lambda: tick_cut(only_section(layout), who=None, at=now),
            lambda: take_back_section(only_section(layout), who=None, at=now),
            lambda: cut_offcut(roll, width_mm=1524, length_mm=50, place="", who=None),
        ]
        for one in offcuts:
            row = first(layout) if one.number == 1 else Offcut.objects.get(pk=one.pk)
            acts += [
                lambda row=row: keep_offcut(row, place="", who=None, at=now),  # type: ignore[misc]
                lambda row=row: throw_offcut(row, who=None, at=now),  # type: ignore[misc]
                lambda row=row: reopen_offcut(row, who=None),  # type: ignore[misc]
            ]
        try:
            with transaction.atomic():
                draw.choice(acts)()
        except InputError:
            continue
        roll.refresh_from_db()
        account = account_of(roll)
        is_cut = Cut.objects.filter(section__layout=layout, state=Cut.State.CUT).exists()
        if account is None:
            assert not is_cut
            continue
        kept = Roll.objects.filter(cut_from=roll, is_finished=False)
        kept_mm = sum(one.left_mm * one.width_mm for one in kept) / roll.width_mm
        beside_mm = kept_mm - 50 * kept.filter(width_mm=1524).count()
        wasted_mm = (film_mm2 - pieces_mm2) / roll.width_mm - beside_mm
        was_kept += Offcut.objects.filter(state=Offcut.State.KEPT).exists()
        assert account.in_mm == 15_000
        assert account.pieces_mm == pytest.approx(is_cut * pieces_mm2 / roll.width_mm, abs=0.1)
        assert account.offcuts_mm == pytest.approx(kept_mm)
        # A section takes whole millimetres off the roll.
        assert account.waste_mm == pytest.approx(is_cut * wasted_mm, abs=1.1)
        parts = (account.pieces_mm, account.offcuts_mm, account.waste_mm, account.left_mm)
        assert sum(parts) == pytest.approx(15_000)
        assert account.spoiled_mm == account.thrown_mm == 0
    assert was_kept


@pytest.mark.on_sqlite
def test_worth_is_learned_from_other_jobs_of_the_film(layout: Layout, shop: Shop) -> None:
    one = first(layout)
    own, roll = layout.job, layout.roll
    assert worth_of([one], roll, own, shop)[one.pk].chance.jobs == 0
    # Pieces of five other jobs, of which none goes on it, and of one whose piece does.
    for number in range(5):
        job, outcome = a_job(f"2031-005{number}")
        boxes = [[one.length_mm, one.width_mm]] if number else [[300, 200]]
        Layout.objects.create(
            job=job,
            number=1,
            outcome=outcome,
            roll=roll,
            pieces=[1],
            boxes=boxes,
            state=Layout.State.CUT,
        )
    shop.hour_cost, shop.film_cost_per_metre = 60, 0
    judged = worth_of([one], roll, own, shop)[one.pk]
    size = (float(one.length_mm), float(one.width_mm))
    past = [[size]] * 4 + [[(300.0, 200.0)]]
    wanted = chance_of_use(size, past, jobs_ahead=12, margins_mm=(10.0, 40.0), may_turn=True)
    assert (judged.chance, judged.money) == (wanted, None)
    assert "1 of the last 5 jobs" in judged.why(shop)
    assert "What film costs is not written down" in judged.why(shop)
    # Dear film pays for the shelf, cheap film does not.
    for cost, is_worth in ((500, True), (1, False)):
        shop.film_cost_per_metre = cost
        assert worth_of([one], roll, own, shop)[one.pk].is_worth is is_worth


@pytest.mark.on_sqlite
def test_an_offcut_that_takes_the_pieces_is_proposed_first(
    layout: Layout, shop: Shop, signed_in: Browser
) -> None:
    ticked(layout)
    with transaction.atomic():
        keep_offcut(first(layout), place="offcut box", who=None, at=timezone.now())
    kept = first(layout).roll
    assert kept is not None
    # A cap goes on it, a hood of 900 mm does not.
    a_job("2031-0050", "mirror-left")
    a_job("2031-0051", "hood", "mirror-left")
    Piece.objects.update(area_mm2=80_000.0)
    browser = signed_in(Role.INSTALLER)
    page = browser.get("/jobs/2031-0050/film/")
    assert [one.roll for one in page.context["rolls"] if one.is_first_choice] == [kept]
    assert "offcut, takes all of it; offcut box" in page.content.decode()
    page = browser.get("/jobs/2031-0051/film/")
    assert [one.roll for one in page.context["rolls"] if one.is_first_choice] == [layout.roll]
    assert f"Put 2 on {kept}" in page.content.decode()
    # Not with a crease in its middle: what is sound of it is too short.
    with transaction.atomic():
        third = kept.left_mm // 3
        note(kept, kind="crease", words="", from_mm=third, to_mm=2 * third, who=None)
    page = browser.get("/jobs/2031-0050/film/")
    assert [one.roll for one in page.context["rolls"] if one.is_first_choice] == [layout.roll]
    assert "offcut, takes no piece whole" in page.content.decode()
