"""Two people book at once, each over a connection of their own: one wins, the other is told."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections, transaction
from django.db.utils import ConnectionHandler

from layflat.base import LayflatError
from layflat.web import settings as ours
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.stock.booking import cut_offcut, receive, reserve, take
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.rolls import locked_roll
from web.covered import a_body, a_job
from web.stock.test_booking import DAY, a_new_roll

pytestmark = pytest.mark.django_db(transaction=True)
TIMES = 2


@pytest.fixture
def apart(database: str, transactional_db: None, tmp_path: Path) -> Iterator[None]:
    """A database that threads reach at once: SQLite's of tests lies in memory and takes turns.

    SQLite writes its tables into a file, which is then opened as the app opens its own.
    """
    if database != "sqlite":
        yield
        return
    file = tmp_path / "layflat.sqlite3"
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(file)])
    chosen: dict[str, Any] = {**connection.settings_dict, **ours._SQLITE, "NAME": str(file)}
    here = ConnectionHandler({"default": chosen})["default"]
    before, known = connections["default"], connections.settings["default"]
    connections["default"], connections.settings["default"] = here, here.settings_dict
    try:
        yield
    finally:
        here.close()
        connections["default"], connections.settings["default"] = before, known


@pytest.fixture
def roll(apart: None) -> Roll:
    Shop.objects.create(name="Lampwick Yard")
    return a_new_roll(length_mm=5_000)


def at_once(*acts: Callable[[], object]) -> list[str]:
    """What came of acts that begin together: "yes", or the words of the refusal."""
    begin, told = threading.Barrier(len(acts), timeout=120), []

    def run(act: Callable[[], object]) -> None:
        try:
            begin.wait()
            with transaction.atomic():
                act()
            told.append("yes")
        except LayflatError as error:
            told.append(str(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return sorted(told)


def test_two_cannot_both_take_what_is_left(roll: Roll) -> None:
    def cut(place: int) -> Callable[[], object]:
        kind = Movement.Kind.CUT
        return lambda: take(roll, 3_000, kind=kind, job=None, who=None, source=f"section {place}")

    told = at_once(*(cut(place) for place in range(TIMES)))
    assert told == ["R1 has 2.000 m left, less than 3.000 m; take another roll.", "yes"]
    with transaction.atomic():
        assert locked_roll(roll.pk).left_mm == 2_000
    assert Movement.objects.filter(kind=Movement.Kind.CUT).count() == 1


def test_two_jobs_cannot_reserve_the_same_film(roll: Roll) -> None:
    body = a_body()
    jobs = [a_job(f"2031-000{n}", body=body) for n in (1, 2)]

    def keep(job: Job) -> Callable[[], object]:
        return lambda: reserve(roll, job, 4_000, who=None)

    refused = (
        "R1 has 5.000 m left, of which jobs have reserved 4.000 m; 4.000 m is more than the rest."
    )
    assert at_once(*(keep(job) for job in jobs)) == [refused, "yes"]
    assert roll.reservations.count() == 1


def test_the_same_source_at_once_books_once(roll: Roll) -> None:
    def tick() -> object:
        kind = Movement.Kind.CUT
        return take(roll, 1_000, kind=kind, job=None, who=None, source="section 7")

    assert at_once(*[tick] * TIMES) == ["yes"] * TIMES
    assert Movement.objects.filter(source="section 7").count() == 1
    roll.refresh_from_db()
    assert roll.left_mm == 4_000


def test_the_same_rest_is_not_kept_twice(roll: Roll) -> None:
    with transaction.atomic():
        take(roll, 1_000, kind=Movement.Kind.CUT, job=None, who=None, source="section 7")

    def keep() -> object:
        return cut_offcut(roll, width_mm=1_524, length_mm=600, place="", who=None, was_taken=True)

    refused, kept = at_once(*[keep] * TIMES)
    assert (refused.startswith("Pieces and kept offcuts leave 0.400 m"), kept) == (True, "yes")
    assert Roll.objects.filter(cut_from=roll).count() == 1


def test_rolls_that_come_at_once_get_numbers_of_their_own(roll: Roll) -> None:
    def come() -> object:
        return receive(
            film="Clear 150",
            lot="LW-1",
            width_mm=610,
            length_mm=100,
            cost=None,
            place="",
            received_on=DAY,
            who=None,
        )

    assert at_once(*[come] * 3) == ["yes"] * 3
    assert [row.number for row in Roll.objects.all()] == [1, 2, 3, 4]
