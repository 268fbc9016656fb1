"""Corrections and single patterns from one shop to another; what the other shop has is kept."""

import json

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from layflat.exchange import mark
from layflat.pattern import Pattern, place
from layflat.revise import History, history_json, same_shape
from layflat.web.bodies.models import Body
from layflat.web.corrections.models import Correction
from layflat.web.corrections.reading import facts_for, history_of, past_of, revisions_of
from layflat.web.exchanging.models import Received
from layflat.web.files.models import StoredFile
from layflat.web.noting.correcting import take_back
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from revise.panel import fits, panel, short
from web.covered import kept
from web.exchanging.archived import bytes_of
from web.exchanging.test_exchange import a_body as a_body_with_scan
from web.exchanging.test_exchange import a_kept, brought, moved_away

pytestmark = pytest.mark.on_sqlite
KEY = "correction-hood"
THEIR_NOTES = [
    short(300.0, 0.0, 1.5, car="2031-2064", name="2031-2064 note 3"),
    fits(600.0, 100.0, car="2031-2065", name="2031-2065 note 1"),
]


@pytest.fixture(scope="module")
def theirs() -> History:
    return History(panel("hood")).revised(THEIR_NOTES)


@pytest.fixture(scope="module")
def newer(theirs: History) -> History:
    note = short(450.0, 0.0, 1.0, car="2031-2066", name="2031-2066 note 1", revision=1)
    return theirs.revised([note])


@pytest.fixture
def counter(client: Client, shop: Shop, people: dict[Role, Person]) -> Client:
    client.force_login(people[Role.COUNTER])
    return client


def a_body(name: str = "Siskwing") -> Body:
    return Body.objects.create(maker="Tarnholm", name=name, year_from=2027)


def corrected(body: Body, history: History, *, number: int = 0) -> Correction:
    """One's own correction of the hood, as the app keeps it."""
    return Correction.objects.create(
        body=body,
        piece="hood",
        number=number or history.current,
        state=Correction.State.KEPT,
        history=kept(json.dumps(history_json(history)).encode(), f"{body}.json"),
        picture=kept(b"<svg/>", "revision.svg", "image/svg+xml"),
        figures={"notes": [], "number": history.current},
        said=[],
        settled_at=timezone.now(),
    )


def archive_of(history: History) -> bytes:
    """What another shop gives whose hood is cut by the current revision of a history."""
    body = a_body()
    corrected(body, history)
    data = bytes_of(body)
    Correction.objects.filter(body=body).delete()
    body.delete()
    return data


def shown(client: Client, came: Received, into: str = "") -> str:
    place_of = reverse("exchanging:received", args=[came.pk])
    text: str = client.get(place_of, {"into": into} if into else {}).content.decode()
    return text


def taken(client: Client, came: Received, into: str, *keys: str) -> None:
    answer = client.post(
        reverse("exchanging:received", args=[came.pk]), {"into": into, "take": keys}
    )
    assert answer.status_code == 302


def cut_now(body: Body) -> Pattern:
    return revisions_of(facts_for(body, ["hood"]))["hood"].pattern


def test_a_correction_comes_with_its_origin_and_no_job(counter: Client, theirs: History) -> None:
    data = archive_of(theirs)
    assert b"2031-20" not in data
    came = brought(counter, data)
    text = shown(counter, came)
    assert "Correction of hood" in text
    assert "What fit notes of 2 cars made of its pattern: moved by at most" in text
    assert f'value="{KEY}" checked' in text
    taken(counter, came, "new", KEY)
    body = Body.objects.get()
    row = Correction.objects.get(body=body)
    assert (row.number, row.state, row.computation) == (1, Correction.State.KEPT, None)
    assert row.came["marks"] == [mark(theirs.revision(1))]
    assert row.came["shop"] in row.said[0]
    assert same_shape(cut_now(body), theirs.pattern())
    assert [each["name"].split(" no. ")[1] for each in row.figures["notes"]] == [
        "1 note 1",
        "2 note 1",
    ]
    assert Event.objects.filter(kind="correction.taken").count() == 1
    page = counter.get(reverse("noting:piece", args=[body.pk, "hood"])).content.decode()
    assert "From an archive signed as" in page
    assert f"Cut by revision 1, from {row.came['shop']}, since" in page
    # Sent again it adds nothing; the page says that it is here.
    taken(counter, came, str(body.pk), KEY)
    assert Correction.objects.count() == 1
    assert "All of it is here already." in shown(counter, came)
    # Given on, it is what was given.
    moved_away(body)
    given = counter.get(reverse("exchanging:give", args=[body.pk])).content.decode()
    assert "which came from" in given
    Correction.objects.update(settled_at=theirs_day(data))
    Body.objects.update(name="Siskwing")
    assert bytes_of(Body.objects.get()) == data


def theirs_day(data: bytes) -> str:
    day = data.split(b'"made": "', 1)[1][:10].decode()
    return f"{day}T12:00:00Z"


def test_the_next_archive_goes_on_from_the_first(
    counter: Client, theirs: History, newer: History
) -> None:
    taken(counter, brought(counter, archive_of(theirs)), "new", KEY)
    body = Body.objects.get()
    came = brought(counter, _of_another(counter, body, newer))
    assert "newer than what is here" in shown(counter, came)
    taken(counter, came, str(body.pk), KEY)
    assert same_shape(cut_now(body), newer.pattern())
    assert [row.number for row in Correction.objects.order_by("number")] == [1, 2]
    # Taken back, the first one is cut again.
    take_back(body, "hood", who=None, at=timezone.now())  # type: ignore[arg-type]
    assert same_shape(cut_now(body), theirs.pattern())
    # What was taken back is not ticked when it comes again, and is another revision then.
    text = shown(counter, came)
    assert "taken back once, as revision 2" in text
    assert f'value="{KEY}">' in text
    taken(counter, came, str(body.pk), KEY)
    assert past_of(body, "hood").current == 3
    assert same_shape(cut_now(body), newer.pattern())


def _of_another(client: Client, body: Body, history: History) -> bytes:
    """The archive of a body of the same name in another shop."""
    moved_away(body)
    data = archive_of(history)
    Body.objects.filter(pk=body.pk).update(name="Siskwing")
    return data


def test_what_the_shop_noted_itself_stays_and_it_is_asked(counter: Client, theirs: History) -> None:
    lie = {"turn_deg": 50.0, "x_mm": 1000.0, "y_mm": -300.0}
    base = place(panel("hood"), **lie)
    ours = History(base).revised([fits(*base.outline.points_mm[3], car="K-1", name="K-1 note 1")])
    data = archive_of(theirs)
    body = a_body()
    own = corrected(body, ours)
    came = brought(counter, data)
    text = shown(counter, came)
    assert "differs: here it went on another way" in text
    assert "Here it is cut by revision 1, from this shop&#x27;s notes." in text
    assert f'value="{KEY}">' in text
    taken(counter, came, str(body.pk), KEY)
    second = Correction.objects.get(number=2)
    # As it lies here, and with all that was here in one file.
    goal = place(theirs.pattern(), **lie).outline.points_mm
    assert cut_now(body).outline.points_mm == pytest.approx(goal, abs=1e-6)
    history = history_of(second.history.sha256)
    assert [one.number for one in history.revisions] == [1, 2]
    assert history.revision(1).notes == ours.revision(1).notes
    assert "here already, the same" in shown(counter, came)
    take_back(body, "hood", who=None, at=timezone.now())  # type: ignore[arg-type]
    assert same_shape(cut_now(body), ours.pattern())
    own.refresh_from_db()
    assert own.state == Correction.State.KEPT


def test_what_is_of_another_piece_is_not_taken(counter: Client, theirs: History) -> None:
    ours = History(panel("hood", size=1.5)).revised([fits(0.0, 0.0, car="K-1", name="K-1 note 1")])
    data = archive_of(theirs)
    body = a_body()
    corrected(body, ours)
    came = brought(counter, data)
    text = shown(counter, came)
    assert "It cannot be taken: “hood” lies" in text
    assert f'value="{KEY}" disabled' in text
    files = StoredFile.objects.count()
    taken(counter, came, str(body.pk), KEY)
    assert Correction.objects.count() == 1
    assert StoredFile.objects.count() == files


def test_one_pattern_alone_is_given_and_taken_for_a_chosen_body(
    counter: Client, theirs: History
) -> None:
    body = a_body()
    a_kept(body, 240.0)
    a_kept(body, 250.0)
    of_pattern = reverse("patterns:pattern", args=[body.patterns.get().pk])
    give = reverse("exchanging:give", args=[body.pk]) + "?pattern=mirror-cap"
    assert give in counter.get(of_pattern).content.decode()
    corrected(body, theirs)
    page = counter.get(give).content.decode()
    assert "Mirror cap: the flat pattern" in page
    assert "what fit notes" not in page
    address = reverse("exchanging:file", args=[body.pk])
    answer = counter.get(address, {"pattern": "mirror-cap"})
    assert answer["Content-Disposition"].endswith('"tarnholm-siskwing-mirror-cap.layflat.zip"')
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert b"scans/" not in data
    assert counter.get(address, {"pattern": "hood"}).status_code == 404
    other = a_body("Ousel")
    moved_away(body)
    came = brought(counter, data)
    assert f'<option value="{other.pk}"' in shown(counter, came)
    text = shown(counter, came, into=str(other.pk))
    assert "not on a Tarnholm Ousel" in text
    taken(counter, came, str(other.pk), "pattern-mirror-cap")
    assert [row.number for row in other.patterns.get().revisions.order_by("number")] == [1, 2]
    assert not Body.objects.filter(name="Siskwing").exists()


def test_a_scan_is_taken_for_a_body_of_its_name_alone(counter: Client) -> None:
    body = a_body_with_scan()
    data = bytes_of(body)
    other = a_body("Ousel")
    came = brought(counter, data)
    assert f'<option value="{other.pk}"' not in shown(counter, came)
    taken(counter, came, str(other.pk), "body")
    assert not other.revisions.exists()
