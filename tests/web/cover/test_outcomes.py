"""Taking over what was computed: once, whoever asks and however often; nothing good is lost."""

import math
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import OperationalError, connection, connections
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from layflat.base import InputError
from layflat.web.cover import outcomes
from layflat.web.cover.choices import Choices, to_json
from layflat.web.cover.figures import stand_of
from layflat.web.cover.models import Cover, Outcome, Piece
from layflat.web.cover.price import film_words
from layflat.web.people.models import Shop
from layflat.web.people.shop import the_shop
from layflat.web.record.models import Event
from layflat.web.work import rows
from layflat.web.work.models import Computation, State
from web.cover.domes import LEFT, RIGHT_PART, Domes
from web.covered import a_job, an_outcome

LEFT_ONLY, RIGHT_ONLY = Choices((LEFT,)), Choices((RIGHT_PART,))


@pytest.fixture
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """A short search: the layouts of these tests have one piece."""
    monkeypatch.setattr(outcomes, "LAYOUT_S", 1.0)


def a_cover(domes: Domes, choices: Choices = LEFT_ONLY, *, job: str = "2031-0001") -> Cover:
    return Cover.objects.create(
        job=a_job(job, body=domes.revision, plate=job),
        number=1,
        title="Left only",
        body=domes.revision,
        choices=to_json(choices),
    )


def computed(domes: Domes, cover: Cover) -> Outcome:
    domes.finish(outcomes.ask_for(cover, who=None))
    cover.refresh_from_db()
    found = outcomes.fill(cover)
    assert found is not None
    return found


@pytest.mark.usefixtures("quickly")
def test_what_was_found_is_taken_over_once(domes: Domes) -> None:
    cover = a_cover(domes)
    assert outcomes.newest(cover) is None
    computation = outcomes.ask_for(cover, who=None)
    assert outcomes.fill(cover) is None
    domes.finish(computation)
    cover.refresh_from_db()
    found = outcomes.fill(cover)
    assert found is not None
    assert (found.number, found.choices) == (1, cover.choices)
    result = computation.result or Computation.objects.get(pk=computation.pk).result
    assert result is not None
    assert found.film_mm == result["film_mm"]
    (piece,) = found.pieces.all()
    assert (piece.panel, piece.title, piece.number) == ("left", "Left", 1)
    assert piece.flat.sha256 == result["pieces"][0]["flat"]
    (event,) = Event.objects.filter(kind="cover.computed")
    assert event.job == cover.job
    # As an offer charges it: up to the next cm.
    metres = f"{math.ceil(found.film_mm / 10) / 100:.2f} m"
    assert event.sentence == f"“Left only” computed: {metres} of film in 1 piece."
    figures = stand_of(cover, LEFT_ONLY, the_shop()).figures
    assert figures is not None
    assert f"{figures.film_mm / 1000:.2f} m" == metres
    assert film_words(found.film_mm, Shop(inches=True)) == f"{figures.film_mm / 304.8:.1f} ft"
    assert event.after["film_mm"] == found.film_mm
    again = outcomes.fill(cover)
    assert again == found == outcomes.newest(cover)
    assert Outcome.objects.count() == Piece.objects.count() == 1
    assert Event.objects.filter(kind="cover.computed").count() == 1


def test_what_was_computed_before_patterns_were_kept_is_not_current(domes: Domes) -> None:
    outcome = an_outcome(a_cover(domes))
    wide = Shop(roll_width_mm=1524.0)
    assert outcomes.is_current(outcome.cover, outcome, shop=wide)
    del outcome.computation.inputs["keeps"]
    assert not outcomes.is_current(outcome.cover, outcome, shop=wide)


@pytest.mark.usefixtures("quickly")
def test_what_was_computed_while_nobody_looked_is_taken_over_for_the_whole_job(
    domes: Domes,
) -> None:
    cover = a_cover(domes)
    outcomes.take_over(cover.job)
    assert not Outcome.objects.exists()
    domes.finish(outcomes.ask_for(cover, who=None))
    outcomes.take_over(cover.job)
    first = Outcome.objects.get()
    with CaptureQueriesContext(connection) as asked:
        outcomes.take_over(cover.job)
    assert len(asked) == 1
    # Other choices and back again: the earlier computation counts once more, as a new outcome.
    for choices in (RIGHT_ONLY, LEFT_ONLY):
        cover.choices = to_json(choices)
        cover.save()
        domes.finish(outcomes.ask_for(cover, who=None))
        outcomes.take_over(cover.job)
    found = list(Outcome.objects.all())
    assert [outcome.number for outcome in found] == [1, 2, 3]
    assert found[2].computation == first.computation != found[1].computation


@pytest.mark.usefixtures("quickly")
def test_covers_that_want_the_same_share_a_computation_and_have_their_own_rows(
    domes: Domes,
) -> None:
    one, other = a_cover(domes), a_cover(domes, job="2031-0002")
    first, second = computed(domes, one), computed(domes, other)
    assert first.computation == second.computation
    assert first != second
    assert (first.cover, second.cover) == (one, other)
    assert Computation.objects.filter(task="cover.compute").count() == 1


@pytest.mark.usefixtures("quickly")
def test_choices_that_come_back_are_the_newest_again(domes: Domes) -> None:
    cover = a_cover(domes)
    first = computed(domes, cover)
    cover.choices = to_json(RIGHT_ONLY)
    cover.save()
    assert not outcomes.is_current(cover, first)
    second = computed(domes, cover)
    assert outcomes.is_current(cover, second)
    cover.choices = to_json(LEFT_ONLY)
    cover.save()
    third = computed(domes, cover)
    assert [first.number, second.number, third.number] == [1, 2, 3]
    assert third.computation == first.computation
    assert outcomes.newest(cover) == third


@pytest.mark.usefixtures("quickly")
@pytest.mark.parametrize("state", [State.FAILED, State.STOPPED, State.OPEN, State.RUNNING])
def test_a_computation_without_an_end_leaves_the_earlier_outcome(
    domes: Domes, state: State
) -> None:
    cover = a_cover(domes)
    first = computed(domes, cover)
    cover.choices = to_json(RIGHT_ONLY)
    cover.save()
    computation = outcomes.ask_for(cover, who=None)
    Computation.objects.filter(pk=computation.pk).update(
        state=state, error="The roll is narrow.", ended_at=timezone.now()
    )
    cover.refresh_from_db()
    assert outcomes.fill(cover) is None
    assert outcomes.newest(cover) == first
    assert Outcome.objects.count() == 1


@pytest.mark.usefixtures("quickly")
def test_a_stopped_computation_begins_again_when_asked_for(domes: Domes) -> None:
    cover = a_cover(domes)
    computation = outcomes.ask_for(cover, who=None)
    assert rows.ask_stop(computation.pk)
    again = outcomes.ask_for(cover, who=None)
    assert again.pk == computation.pk
    assert again.state == State.OPEN


@pytest.mark.usefixtures("quickly")
def test_what_is_stale_is_told(domes: Domes, shop: Shop) -> None:
    cover = a_cover(domes)
    found = computed(domes, cover)
    assert outcomes.is_current(cover, found)
    shop.roll_width_mm = 1524.0
    shop.save()
    assert not outcomes.is_current(cover, found)
    assert outcomes.is_current(cover, found, shop=Shop(roll_width_mm=610.0))
    shop.roll_width_mm = 610.0
    shop.save()
    cover.body.light = cover.body.picture
    assert not outcomes.is_current(cover, found)


def test_nothing_covered_is_not_computed(domes: Domes) -> None:
    cover = a_cover(domes, Choices())
    with pytest.raises(InputError, match="Nothing is covered yet"):
        outcomes.ask_for(cover, who=None)
    assert not Computation.objects.filter(task="cover.compute").exists()
    cover.refresh_from_db()
    assert cover.computation is None


@pytest.mark.usefixtures("quickly")
def test_asking_changes_nothing_that_people_see(domes: Domes) -> None:
    cover = a_cover(domes)
    version, changed_at = cover.version, Cover.objects.get(pk=cover.pk).changed_at
    outcomes.ask_for(cover, who=None)
    cover.refresh_from_db()
    assert (cover.version, cover.changed_at) == (version, changed_at)


@pytest.mark.usefixtures("quickly")
def test_queries_are_few(domes: Domes) -> None:
    cover = a_cover(domes)
    domes.finish(outcomes.ask_for(cover, who=None))
    cover = Cover.objects.select_related("computation", "body__light", "body__panels").get()
    with CaptureQueriesContext(connection) as asked:
        outcomes.fill(cover)
    assert len(asked) <= 12, [query["sql"][:90] for query in asked]
    with CaptureQueriesContext(connection) as asked:
        found = outcomes.fill(cover)
    assert len(asked) == 1
    assert found is not None
    with CaptureQueriesContext(connection) as asked:
        outcomes.is_current(cover, found, shop=Shop(roll_width_mm=610.0))
    assert len(asked) <= 2


@pytest.mark.usefixtures("quickly")
@pytest.mark.parametrize("looks", [1, 2])
def test_another_who_takes_over_at_the_same_moment_writes_nothing_twice(
    domes: Domes, monkeypatch: pytest.MonkeyPatch, looks: int
) -> None:
    """The other writes just after we looked; a database without locks on rows looks amiss twice."""
    cover = a_cover(domes)
    domes.finish(outcomes.ask_for(cover, who=None))
    cover.refresh_from_db()
    newest, asked = outcomes.newest, []

    def late(of: Cover) -> Outcome | None:
        asked.append(of)
        if len(asked) > looks:
            return newest(of)
        if len(asked) == 1:
            monkeypatch.setattr(outcomes, "newest", newest)
            assert outcomes.fill(Cover.objects.select_related("computation").get()) is not None
            monkeypatch.setattr(outcomes, "newest", late)
        return None

    monkeypatch.setattr(outcomes, "newest", late)
    found = outcomes.fill(cover)
    assert found is not None
    assert found == newest(cover)
    assert Outcome.objects.count() == Piece.objects.count() == 1
    assert Event.objects.filter(kind="cover.computed").count() == 1


def together(doing: Callable[[], Any], times: int) -> list[Any]:
    """The same thing in threads at once, each with its own connection."""
    gate, found, faults = threading.Barrier(times), [], []

    def run() -> None:
        gate.wait()
        try:
            while True:
                try:
                    found.append(doing())
                    break
                except OperationalError as error:
                    # In memory, as tests have it, SQLite refuses at once where a file would wait.
                    if "locked" not in str(error):
                        raise
        except Exception as error:  # noqa: BLE001
            faults.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run) for _ in range(times)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    return found


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("quickly")
def test_servers_that_take_over_at_once_write_one_outcome(domes: Domes) -> None:
    cover = a_cover(domes)
    domes.finish(outcomes.ask_for(cover, who=None))
    pk = cover.pk
    found = together(
        lambda: outcomes.fill(Cover.objects.select_related("computation").get(pk=pk)), 4
    )
    assert len({outcome.pk for outcome in found}) == 1
    assert Outcome.objects.count() == Piece.objects.count() == 1
    assert Event.objects.filter(kind="cover.computed").count() == 1
