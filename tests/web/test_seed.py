"""The invented workshop in the app, and the command that opens it."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client

import layflat.web
from layflat.base import Progress, StoppedError
from layflat.cli.main import main
from layflat.web import open_demo
from layflat.web.board.cards import COMES_HERE, Due, due_of
from layflat.web.board.views import shop_today
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from layflat.web.seed import (
    PASSWORD,
    TOLD,
    is_empty,
    seed_jobs,
    seed_workshop,
    sign_in_lines,
)
from layflat.web.seed_bodies import seed_bodies


@pytest.fixture(autouse=True)
def without_scans(monkeypatch: pytest.MonkeyPatch) -> None:
    """The jobs do not need the bodies, whose scans take seconds."""
    monkeypatch.setattr("layflat.web.seed.seed_bodies", lambda **_options: {})


def test_the_counter_has_work_in_every_stage_some_late_some_blocked(db: None) -> None:
    assert is_empty()
    seed_workshop()
    assert not is_empty()
    jobs = list(Job.objects.all())
    # What follows in the bay comes of itself, from real layouts: see `test_seed_bay`.
    later = {Stage.BAY, Stage.CHECKED, Stage.HANDED}
    assert {job.stage for job in jobs} == set(COMES_HERE) - later
    today = shop_today(Shop.objects.get())
    assert {due_of(job.promised, today) for job in jobs} == set(Due)
    assert any(job.blocked_by for job in jobs)
    for job in jobs:
        assert Event.objects.filter(job=job).exists(), job


def test_everybody_signs_in_as_the_lines_say(db: None) -> None:
    seed_workshop()
    _, line = sign_in_lines()
    assert PASSWORD in line
    for person in Person.objects.all():
        assert f"{person.name} ({Role(person.role).label.lower()})" in line
        answer = Client().post("/sign-in/", {"username": person.name, "password": PASSWORD})
        assert answer.headers["Location"] == "/"


def test_a_seeding_that_is_stopped_leaves_nothing(db: None) -> None:
    def stop(step: str, fraction: float) -> None:
        if fraction > 0.5:
            raise StoppedError("stopped")

    with pytest.raises(StoppedError):
        seed_workshop(progress=stop)
    assert is_empty()


def test_a_folder_with_a_shop_is_left_as_it_is(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("layflat.web.demo_folder.set_up", lambda _folder: None)
    (line,) = open_demo(tmp_path)
    assert "has a shop already" in line
    assert not Job.objects.exists()


def test_opened_again_it_says_once_more_how_to_sign_in(
    db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("layflat.web.demo_folder.set_up", lambda _folder: None)
    first = open_demo(tmp_path)
    count = Job.objects.count()
    assert open_demo(tmp_path) == first == sign_in_lines()
    assert Job.objects.count() == count > 0


@pytest.mark.parametrize(("host", "is_cautious"), [("127.0.0.1", False), ("0.0.0.0", True)])
def test_the_command_opens_the_workshop_says_how_to_sign_in_and_serves(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    host: str,
    is_cautious: bool,
) -> None:
    done: list[object] = []
    before: list[str] = []

    def opened(folder: Path, *, progress: Progress) -> tuple[str, ...]:
        done.append(folder)
        return ("opened",)

    monkeypatch.setattr(layflat.web, "open_demo", opened)

    def served(_folder: Path, *, on_up: Callable[[], None], **options: object) -> None:
        done.append(options)
        before.append(capsys.readouterr().out)
        on_up()

    monkeypatch.setattr(layflat.web, "serve", served)
    monkeypatch.setattr(layflat.web, "go_on_inventing", lambda: done.append("goes on"))
    assert main(["serve", "--demo", "-d", str(tmp_path), "--port", "8790", "--host", host]) == 0
    assert done == [tmp_path, {"host": host, "port": 8790}, "goes on"]
    # Where to find it is said once it can be found.
    (said,) = before
    assert said.startswith("opened\n")
    assert ("Caution" in said) == is_cautious
    assert "http:" not in said
    assert f"http://{host}:8790/" in capsys.readouterr().out


def test_the_library_has_both_bodies_and_their_preparation_is_asked_for(
    people: dict[Role, Person], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Coarse scans: what is tested here is how they come into the library.
    for name in ("_COUPE_SPACING_MM", "_VAN_SPACING_MM"):
        monkeypatch.setattr(f"layflat.demo.workshop.{name}", 80.0)
    added = seed_bodies(who=people[Role.OWNER])
    assert list(added) == ["Tarnholm Haulbeck", "Tarnholm Siskwing"]
    for revision in added.values():
        assert revision.panels is not None
        assert revision.preparation is not None
    seed_jobs(people, added)
    assert Job.objects.filter(vehicle__body__in=added.values()).count() == len(TOLD) - 1
