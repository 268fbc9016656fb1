"""What people see of computations, and how they stop one."""

import json
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.work import rows
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask

SignedIn = Callable[[Role], Client]


def asked(word: str = "one", who: Person | None = None) -> Computation:
    return ask("sample.echo", {"log": word}, who=who)


def begun(word: str) -> tuple[Computation, rows.Claim]:
    row = asked(word)
    held = rows.claim(row.key, runner="bench")
    assert held is not None
    return row, held


def fragment(browser: Client, row: Computation) -> str:
    return browser.get(reverse("work:progress", args=[row.pk])).content.decode()


def test_a_fragment_asks_for_itself_until_it_is_over(signed_in: SignedIn) -> None:
    browser = signed_in(Role.INSTALLER)
    row, held = begun("x")
    rows.beat(held, progress=("mending <holes>", 0.419))
    text = fragment(browser, row)
    assert f'hx-get="{reverse("work:progress", args=[row.pk])}"' in text
    assert 'hx-trigger="every 1s"' in text
    assert "Computing" in text
    assert "Mending &lt;holes&gt;" in text
    assert "41 %" in text
    assert f'action="{reverse("work:stop", args=[row.pk])}"' in text
    rows.finish(held, {})
    answer = browser.get(reverse("work:progress", args=[row.pk]))
    text = answer.content.decode()
    assert "Done" in text
    assert "hx-" not in text
    assert "<form" not in text
    over = {"computation-over": {"id": row.pk, "state": "done"}}
    assert json.loads(answer.headers["HX-Trigger-After-Swap"]) == over
    assert "no-store" in answer.headers["Cache-Control"]


def test_a_failure_says_why(signed_in: SignedIn) -> None:
    row, held = begun("x")
    rows.fail(held, "The roll is narrower than the piece by 12 mm.")
    text = fragment(signed_in(Role.COUNTER), row)
    assert "Failed" in text
    assert "narrower than the piece by 12 mm" in text


@pytest.mark.parametrize("is_htmx", [True, False])
def test_a_person_stops_a_computation_and_the_record_says_so(
    signed_in: SignedIn, people: dict[Role, Person], is_htmx: bool
) -> None:
    browser, (row, held) = signed_in(Role.COUNTER), begun("x")
    headers = {"HX-Request": "true"} if is_htmx else {}
    answer = browser.post(
        reverse("work:stop", args=[row.pk]), {"next": "/bodies/"}, headers=headers
    )
    if is_htmx:
        assert "Stopping" in answer.content.decode()
    else:
        assert answer.headers["Location"] == "/bodies/"
    assert rows.beat(held) is rows.Wish.STOP
    assert rows.end_stopped(held)
    # A second tap changes nothing.
    browser.post(reverse("work:stop", args=[row.pk]), headers=headers)
    row.refresh_from_db()
    assert row.state == State.STOPPED
    event = Event.objects.get(kind="work.stopped")
    assert event.who == people[Role.COUNTER]
    assert "Giving back" in event.sentence


@pytest.mark.parametrize("wanted", ["https://elsewhere.example/", "//elsewhere.example", ""])
def test_stopping_goes_on_within_the_app(signed_in: SignedIn, wanted: str) -> None:
    answer = signed_in(Role.OWNER).post(reverse("work:stop", args=[asked().pk]), {"next": wanted})
    assert answer.headers["Location"] == reverse("work:list")


def test_strangers_see_and_stop_nothing(client: Client, people: dict[Role, Person]) -> None:
    row = asked()
    for address in ("work:progress", "work:stop"):
        answer = client.post(reverse(address, args=[row.pk]))
        assert answer.headers["Location"].startswith("/sign-in/")
    row.refresh_from_db()
    assert row.state == State.OPEN


def test_what_is_not_there_and_looking_by_the_wrong_way(signed_in: SignedIn) -> None:
    browser = signed_in(Role.OWNER)
    assert browser.get(reverse("work:progress", args=[999])).status_code == 404
    assert browser.post(reverse("work:stop", args=[999])).status_code == 404
    assert browser.get(reverse("work:stop", args=[asked().pk])).status_code == 405


def test_the_list_says_what_runs_waits_and_was(
    signed_in: SignedIn, people: dict[Role, Person], django_assert_max_num_queries: Callable
) -> None:
    browser = signed_in(Role.COUNTER)
    assert "Nothing is being computed" in browser.get(reverse("work:list")).content.decode()
    for number in range(40):
        rows.finish(begun(f"old {number}")[1], {})
    rows.fail(begun("bad")[1], "The lamp went out.")
    running, _ = begun("now")
    waiting = asked("next", who=people[Role.COUNTER])
    with django_assert_max_num_queries(8):
        text = browser.get(reverse("work:list")).content.decode()
    assert text.index(f"computation-{running.pk}") < text.index(f"computation-{waiting.pk}")
    assert "The lamp went out." in text
    assert text.count("<li>\n    <p") == 30
    assert f"Asked for by {people[Role.COUNTER].shown}" in text
