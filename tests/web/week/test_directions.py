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
from layflat.web.cutting import film, search
from layflat.web.cutting.choosing import free_rolls, offcuts_first, with_first_choice
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
from web.cutting.patterned import a_job, begun, chosen, done, only_section, searched
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
    found = {one.roll.pk: one.takes for one in offcuts_first(rolls, pieces, job=jobs[0])}
    assert found[offcut.pk] == takes
