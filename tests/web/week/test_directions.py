"""Film that shows its direction: each job's pieces lie in one, however they are laid out again."""

import html
import json
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from layflat.nest import Layout as Laid
from layflat.web.cover.models import Piece
from layflat.web.cutting import by_hand, film, search
from layflat.web.cutting import keeping as cutting_keeping
from layflat.web.cutting.choosing import free_rolls, suited_first, with_first_choice
from layflat.web.cutting.film import good_cuts
from layflat.web.cutting.models import Layout
from layflat.web.cutting.ticking import tick_cut
from layflat.web.cutting.turns import direction_of, turns_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.stock.models import Roll
from layflat.web.week import keeping
from layflat.web.week.models import Plan
from web.bayed import a_roll
from web.cutting.patterned import (
    a_job,
    begun,
    chosen,
    done,
    only_section,
    searched,
    to_be_cut,
)
from web.week.test_week import planned

SignedIn = Callable[[Role], Client]
ALL = (0.0, 90.0, 180.0, 270.0)
BY_HAND = "/jobs/2031-0042/film/1/by-hand/"


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    """The hood of one lies as it is drawn, the roof of the other only turned by 90°."""
    return [a_job("2031-0042", "hood")[0], a_job("2031-0043", "roof")[0]]


@pytest.fixture
def roll(shop: Shop) -> Roll:
    return a_roll(length_mm=9_000)


def kept(jobs: list[Job], *, kind: str = "matt", shares: bool = True) -> list[Layout]:
    plan = planned(jobs, shares=shares, kind=kind)
    with transaction.atomic():
        keeping.keep(Plan.objects.get(pk=plan.pk), who=None)
    for layout in Layout.objects.select_related("computation").filter(state="searching"):
        done(layout.computation)
    return list(Layout.objects.select_related("job", "roll").order_by("pk"))


def lost(job: Job) -> None:
    """Everything of a job is cut, and its first piece lost on the car."""
    for layout in Layout.objects.filter(state="kept"):
        with transaction.atomic():
            tick_cut(only_section(layout), who=None, at=timezone.now())
    film.lose(good_cuts(job)[0], because="torn", who=None, at=timezone.now())


def rows_of(layout: Layout, **moved: tuple[float, float, float]) -> list[Any]:
    assert layout.found is not None
    return [
        [
            item["piece"],
            *moved.get(f"p{item['piece']}", (item["turn_deg"], item["x_mm"], item["y_mm"])),
            False,
        ]
        for item in layout.found["placements"]
    ]


def send(browser: Client, rest: str, layout: Layout, rows: Any, **fields: Any) -> str:
    """What the page says to which sending an arrangement leads."""
    given = {"once": uuid.uuid4().hex, "version": layout.version, "arrangement": json.dumps(rows)}
    answer = browser.post(f"{BY_HAND}{rest}", given | fields)
    return html.unescape(browser.get(answer["Location"]).content.decode())


def asked_of_search(
    layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> dict[str, tuple[float, ...] | None]:
    """How a search is asked to turn each piece, by its pattern's name; it is run."""
    asked = {}
    really = search.place

    def told(requests: Any, *given: Any, **more: Any) -> Laid:
        asked.update({one.pattern.name: one.turns_deg for one in requests})
        return really(requests, *given, **more)

    with monkeypatch.context() as patched:
        patched.setattr(search, "place", told)
        done(layout.computation)
    return asked


def test_jobs_that_share_film_have_each_a_direction(
    signed_in: SignedIn, jobs: list[Job], roll: Roll, monkeypatch: pytest.MonkeyPatch
) -> None:
    (layout,) = kept(jobs)
    assert layout.found is not None
    assert turns_of(layout.found) == {1001: (0.0,), 2001: (90.0,)}
    ines = signed_in(Role.INSTALLER)
    page = ines.get(BY_HAND).content.decode()
    assert "This film shows its direction: the pieces of each job lie the same way" in page
    given = re.search(r'data-film="([^"]*)"', page)
    assert given is not None
    assert json.loads(html.unescape(given[1]))["turns"] == {"1001": [0.0], "2001": [90.0]}
    # The hood turned as the other job's roof lies, on film that is free.
    turned = rows_of(layout, p1001=(90.0, 3_000.0, 100.0))
    for rest, more in (("keep/", {}), ("search/", {"seconds": 20})):
        said = send(ines, rest, layout, turned, **more)
        assert "is turned by 90°, which it may not" in said
    assert Layout.objects.count() == 1
    # A search around what is moved turns nothing either, nor what is arranged from that.
    send(ines, "search/", layout, rows_of(layout, p1001=(0.0, 2_500.0, 100.0)), seconds=20)
    around = Layout.objects.select_related("computation").get(number=2)
    asked = asked_of_search(around, monkeypatch)
    assert asked == {"A1 hood": (0.0,), "B1 roof": (90.0,)}
    around.refresh_from_db()
    assert around.so_far is not None
    assert turns_of(around.so_far) == {1001: (0.0,), 2001: (90.0,)}
    chosen(around)
    done(Layout.objects.get(pk=around.pk).computation)
    assert Layout.objects.get(pk=around.pk).state == "kept"


def test_a_layout_of_before_has_one_list_for_all_its_jobs(
    signed_in: SignedIn, jobs: list[Job], roll: Roll
) -> None:
    (layout,) = kept(jobs)
    assert layout.found is not None
    Layout.objects.update(found={**layout.found, "turns_deg": [0.0, 90.0]})
    layout.refresh_from_db()
    turned = rows_of(layout, p1001=(90.0, 3_000.0, 100.0))
    ines = signed_in(Role.INSTALLER)
    assert "is turned by 90°, which it may not" in send(ines, "keep/", layout, turned)
    assert [direction_of(job, roll.film) for job in jobs] == [0.0, 90.0]
    send(ines, "keep/", layout, rows_of(layout, p1001=(0.0, 3_000.0, 100.0)))
    new = Layout.objects.get(number=2)
    assert new.found is not None
    assert new.found["turns_deg"] == {"1001": [0.0], "2001": [90.0]}


@pytest.mark.parametrize(
    ("given", "turns"),
    [
        (None, {1: ALL, 2: ALL}),
        ([0, 90, 180, 270], {1: ALL, 2: ALL}),
        ([90.0], {1: (90.0,), 2: (90.0,)}),
        ({"1": [0.0], "2": [90.0]}, {1: (0.0,), 2: (90.0,)}),
    ],
)
def test_every_form_of_turns_is_read(given: Any, turns: Any) -> None:
    data: dict[str, Any] = {"placements": [{"piece": one, "turn_deg": 90.0} for one in (1, 2)]}
    assert turns_of(data if given is None else {**data, "turns_deg": given}) == turns


@pytest.mark.parametrize("index", [0, 1])
def test_a_lost_piece_is_laid_out_again_in_its_job_s_direction(
    jobs: list[Job], roll: Roll, index: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept(jobs)
    job, turn = jobs[index], (0.0, 90.0)[index]
    lost(job)
    layout = begun(job, roll)
    assert asked_of_search(layout, monkeypatch) == {("hood", "roof")[index]: (turn,)}
    told = Event.objects.filter(kind="cutting.search", job=job).latest("pk").sentence
    assert f"Turned by {turn:g}°" in told
    layout.refresh_from_db()
    assert layout.so_far is not None
    assert layout.so_far["turns_deg"] == {"1": [turn]}
    # It goes on like this: what is arranged from it by hand, or is lost once more.
    chosen(layout)
    done(Layout.objects.get(pk=layout.pk).computation)
    Layout.objects.exclude(pk=layout.pk).update(found=None)
    assert direction_of(job, roll.film) == turn


@pytest.mark.on_sqlite
def test_another_film_or_a_clear_one_is_turned_as_it_saves_film(
    jobs: list[Job], roll: Roll, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept(jobs)
    lost(jobs[0])
    other = a_roll()
    Roll.objects.filter(pk=other.pk).update(film="Other")
    other.refresh_from_db()
    layout = begun(jobs[0], other)
    assert asked_of_search(layout, monkeypatch) == {"hood": ALL}
    layout.refresh_from_db()
    assert layout.so_far is not None
    assert "turns_deg" not in layout.so_far


@pytest.mark.on_sqlite
def test_clear_film_shows_no_direction(jobs: list[Job], roll: Roll) -> None:
    (layout,) = kept(jobs, kind="clear")
    assert layout.found is not None
    assert set(turns_of(layout.found).values()) == {ALL}
    assert [direction_of(job, roll.film) for job in jobs] == [None, None]
    lost(jobs[0])
    again = searched(jobs[0], roll)
    assert again.so_far is not None
    assert "turns_deg" not in again.so_far


@pytest.mark.on_sqlite
def test_the_next_week_s_plan_goes_on_in_each_job_s_direction(jobs: list[Job], roll: Roll) -> None:
    kept(jobs)
    lost(jobs[1])
    late = a_job("2031-0044", "hood")[0]
    asked = {
        one["number"]: one["turns_deg"]
        for one in planned([jobs[1], late], kind="matt").asked["jobs"]
    }
    assert asked == {"2031-0043": [90.0], "2031-0044": list(ALL)}
    # Whoever says that it is clear has it turned freely.
    asked = {
        one["number"]: one["turns_deg"] for one in planned([jobs[1]], runs=False).asked["jobs"]
    }
    assert asked == {"2031-0043": list(ALL)}


@pytest.mark.on_sqlite
@pytest.mark.parametrize(("size", "takes"), [((1_000, 500), (1,)), ((500, 1_000), ())])
def test_only_an_offcut_that_takes_it_in_its_direction_is_proposed(
    jobs: list[Job], roll: Roll, size: tuple[int, int], takes: tuple[int, ...]
) -> None:
    """A hood of 900 by 400 mm that lies along the roll."""
    kept(jobs)
    lost(jobs[0])
    Piece.objects.update(area_mm2=900.0 * 400.0)
    offcut = a_roll(length_mm=size[0], cut_from=roll)
    Roll.objects.filter(pk=offcut.pk).update(width_mm=size[1])
    rolls = with_first_choice(free_rolls(jobs[0]), width_mm=1524.0, roll=roll)
    pieces = [one.piece for one in jobs[0].layouts.get().sections.get().cuts.filter(state="lost")]
    found = {one.roll.pk: one.takes for one in suited_first(rolls, pieces, job=jobs[0])}
    assert found[offcut.pk] == takes


def in_two_layouts() -> tuple[Job, list[Layout]]:
    """A job whose roof and hood lie turned by 90°, each on a roll that takes nothing else."""
    job = a_job("2031-0042", "roof", "hood")[0]
    narrow = a_roll(length_mm=1_520)
    Roll.objects.filter(pk=narrow.pk).update(width_mm=500)
    a_roll(length_mm=420)
    layouts = kept([job])
    assert [turns_of(one.found or {}) for one in layouts] == [{2: (90.0,)}, {1: (90.0,)}]
    return job, layouts


def dropped(layout: Layout) -> None:
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=layout.job_id)
        cutting_keeping.drop(Layout.objects.get(pk=layout.pk), who=None)


def test_a_piece_follows_one_that_is_searched_around_at_the_moment(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, (roofs, hoods) = in_two_layouts()
    with transaction.atomic():
        roofs.job = Job.objects.select_for_update().get(pk=job.pk)
        arranged = json.dumps(rows_of(roofs))
        by_hand.search_around(roofs, arranged, version=roofs.version, seconds=20, who=None)
    dropped(hoods)
    assert direction_of(job, "Clear 150") == 90.0
    assert asked_of_search(begun(job, a_roll()), monkeypatch) == {"hood": (90.0,)}


def test_a_piece_follows_a_search_that_has_found_nothing_yet(shop: Shop) -> None:
    job, (roofs, hoods) = in_two_layouts()
    dropped(hoods)
    begun(job, a_roll())
    dropped(roofs)
    assert direction_of(job, "Clear 150") == 90.0


def test_what_is_dropped_and_laid_out_anew_keeps_its_direction(
    jobs: list[Job], roll: Roll, monkeypatch: pytest.MonkeyPatch
) -> None:
    (layout,) = kept(jobs)
    dropped(layout)
    for job, name, turn in zip(jobs, ("hood", "roof"), (0.0, 90.0), strict=True):
        assert asked_of_search(begun(job, roll), monkeypatch) == {name: (turn,)}
        dropped(Layout.objects.latest("pk"))
    # A plan knows what kind of film it is, and nothing of it is left that it would have to follow.
    (asked,) = planned(jobs[:1], kind="matt", runs=False).asked["jobs"]
    assert asked["turns_deg"] == list(ALL)


@pytest.mark.on_sqlite
def test_what_is_dropped_of_clear_film_is_free_again(jobs: list[Job], roll: Roll) -> None:
    for kind in ("matt", "clear"):
        plan = planned(jobs[:1], kind=kind)
        with transaction.atomic():
            keeping.keep(Plan.objects.get(pk=plan.pk), who=None)
        dropped(Layout.objects.latest("pk"))
    layout = begun(jobs[0], roll)
    assert layout.computation is not None
    assert layout.computation.inputs["turns_deg"] == list(ALL)


@pytest.fixture
def torn(shop: Shop) -> Job:
    """A job whose roof is on hand, and whose hood was lost, of one lot; of another is a scrap."""
    job = a_job("2031-0042", "roof", "hood")[0]
    roll = a_roll(lot="LW-1")
    kept([job])
    for layout in Layout.objects.filter(state="kept"):
        with transaction.atomic():
            tick_cut(only_section(layout), who=None, at=timezone.now())
    (hood,) = [one for one in good_cuts(job) if one.piece.panel == "hood"]
    film.lose(hood, because="torn", who=None, at=timezone.now())
    a_roll(lot="LW-2", length_mm=1_000, cut_from=roll)
    return job


@pytest.mark.parametrize("shares", [True, False])
def test_the_next_plan_keeps_to_the_lot_that_a_job_has(
    signed_in: SignedIn, torn: Job, shares: bool
) -> None:
    plan = planned([torn], kind="matt", shares=shares)
    assert plan.found is not None
    assert [use["lot"] for use in plan.found["uses"]] == ["LW-1"]
    page = signed_in(Role.OWNER).get(f"/stock/week/{plan.number}/").content.decode()
    assert "Job 2031-0042 has pieces of lot LW-1; the others are of it too" in page
    # Lots of clear film may be mixed.
    found = planned([torn], kind="clear", shares=shares).found
    assert found is not None
    assert [use["lot"] for use in found["uses"]] == ["LW-2"]


@pytest.mark.on_sqlite
@pytest.mark.parametrize("left_mm", [0, 150])
def test_where_too_little_of_its_lot_is_left_a_job_gets_another(torn: Job, left_mm: int) -> None:
    Roll.objects.filter(lot="LW-1").update(left_mm=left_mm, is_finished=not left_mm)
    found = planned([torn], kind="matt").found
    assert found is not None
    assert [use["lot"] for use in found["uses"]] == ["LW-2"]
    (said,) = (one for one in found["notes"] if "lot" in one)
    assert said.startswith(
        "2031-0042 gets film of lot LW-2, while its other pieces are of lot LW-1"
    )


@pytest.mark.on_sqlite
def test_film_of_the_lot_that_a_job_has_is_chosen_for_it(signed_in: SignedIn, torn: Job) -> None:
    """Also where there is more of another, and an offcut that takes all that is wanted."""
    other = a_roll(lot="LW-2", length_mm=30_000)
    Roll.objects.filter(lot="LW-1").update(place="behind")
    rolls = with_first_choice(free_rolls(torn), width_mm=1524.0, film_mm=20_000.0)
    assert [one.roll for one in rolls if one.is_first_choice] == [other]
    pieces = list(Piece.objects.filter(panel="hood"))
    chosen_now = suited_first(rolls, pieces, job=torn)
    assert [one.roll.lot for one in chosen_now if one.is_first_choice] == ["LW-1"]
    page = signed_in(Role.INSTALLER).get("/jobs/2031-0042/film/").content.decode()
    assert re.search(r'value="1"[^>]* (selected|checked)', page)
    begun(torn, other)
    told = Event.objects.filter(kind="cutting.search", job=torn).latest("pk").sentence
    assert told.endswith("The job's other pieces are of lot LW-1.")


def test_a_plan_goes_on_as_what_was_laid_out_before_anybody_said_how_the_film_is(
    shop: Shop,
) -> None:
    roll = a_roll()
    job = a_job("2031-0042", "roof", "hood")[0]
    numbers = dict(Piece.objects.values_list("panel", "number"))
    roof = to_be_cut(job, roll, numbers["roof"])
    assert roof.found is not None
    (item,) = roof.found["placements"]
    assert item["turn_deg"] % 180.0 == 90.0
    assert direction_of(job, roll.film) is None
    (asked,) = planned([job], kind="tinted", runs=False).asked["jobs"]
    assert asked["turns_deg"] == [item["turn_deg"] % 360.0]
    # What is lost binds nothing any more.
    with transaction.atomic():
        tick_cut(only_section(roof), who=None, at=timezone.now())
    film.lose(good_cuts(job)[0], because="torn", who=None, at=timezone.now())
    (asked,) = planned([job], kind="tinted", runs=False).asked["jobs"]
    assert asked["turns_deg"] == list(ALL)
