"""From one shop to another: the same panels, patterns and history; nothing is written over."""

import json
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from layflat.surface import panels_json
from layflat.web.bodies.contents import keep_panels, keep_scan
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Body
from layflat.web.cover.models import SavedCover
from layflat.web.exchanging.models import KnownKey, Received
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.patterns.keeping import keep
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from web.bodies.conftest import dome, info, ply
from web.exchanging.archived import bytes_of, uploaded
from web.patterns.drawn import a_pattern

pytestmark = pytest.mark.django_db


def a_body(name: str = "Siskwing") -> Body:
    """A body with a scan, panels, a saved cover and a pattern in two revisions."""
    body = Body.objects.create(maker="Tarnholm", name=name, year_from=2027)
    scan = keep_scan(ContentFile(ply(dome(9)), name="dome.ply"), unit="mm", who=None)
    panels = keep_panels(ContentFile(panels_json(info()).encode(), name="panels.json"), who=None)
    revision = add_revision(body, scan=scan, unit="mm", panels=panels, who=None)
    SavedCover.objects.create(
        body=body, title="Nose", choices={"panels": [{"panel": "hood"}]}, revision=revision
    )
    a_kept(body, 240.0)
    a_kept(body, 250.0)
    return body


def a_kept(body: Body, wide_mm: float) -> None:
    keep(
        body,
        name="mirror-cap",
        title="Mirror cap",
        pattern=a_pattern(wide_mm=wide_mm),
        origin="drawing",
        exactness={"deviation_mm": 0.05},
        said=["One gap was closed."],
        source=None,
        who=None,
    )


def moved_away(body: Body) -> None:
    """The body goes by another name: the shop that receives knows none like it."""
    Body.objects.filter(pk=body.pk).update(name="Gone")


def marks(body: Body) -> object:
    """All that an archive carries of a body, by hash."""
    return (
        [
            (row.scan and row.scan.sha256, row.unit, row.panels and row.panels.sha256)
            for row in body.revisions.order_by("number")
        ],
        {
            kept.name: [
                (row.number, row.pattern.sha256, row.exactness)
                for row in kept.revisions.order_by("number")
            ]
            for kept in body.patterns.all()
        },
        [(saved.title, saved.choices) for saved in body.saved_covers.all()],
    )


@pytest.fixture
def counter(client: Client, shop: Shop, people: dict[Role, Person]) -> Client:
    client.force_login(people[Role.COUNTER])
    return client


def taken(client: Client, data: bytes, *, into: str = "new", take: list[str] | None = None) -> None:
    came = brought(client, data)
    keys = ["body", "covers", "pattern-mirror-cap"] if take is None else take
    answer = client.post(
        reverse("exchanging:received", args=[came.pk]), {"into": into, "take": keys}
    )
    assert answer.status_code == 302


def brought(client: Client, data: bytes) -> Received:
    answer = client.post(reverse("exchanging:bring"), {"file": uploaded(data)})
    assert answer.status_code == 302, answer.content.decode()
    return Received.objects.get(pk=int(answer["Location"].rstrip("/").rsplit("/", 1)[-1]))


def test_the_other_shop_has_the_same(counter: Client) -> None:
    body = a_body()
    data, before = bytes_of(body), marks(body)
    moved_away(body)
    taken(counter, data)
    other = Body.objects.get(name="Siskwing")
    assert other.pk != body.pk
    assert (other.maker, other.year_from) == ("Tarnholm", 2027)
    assert marks(other) == before
    assert "signed as" in other.patterns.get().revisions.first().said[-1]  # type: ignore[union-attr]


def test_a_second_archive_is_the_same_bytes(counter: Client) -> None:
    body = a_body()
    first = bytes_of(body)
    answer = counter.get(reverse("exchanging:file", args=[body.pk]))
    assert b"".join(answer.streaming_content) == first  # type: ignore[attr-defined]
    assert answer["Content-Disposition"].endswith('"tarnholm-siskwing.layflat.zip"')


def test_what_the_shop_has_is_not_touched(counter: Client) -> None:
    body = a_body()
    data = bytes_of(body)
    a_kept(body, 260.0)
    before = marks(body)
    page = counter.get(reverse("exchanging:received", args=[brought(counter, data).pk]))
    shown = page.content.decode()
    assert "older than what is here" in shown
    assert shown.count("here already, the same") == 2
    assert "All of it is here already." in shown
    taken(counter, data, into=str(body.pk))
    assert marks(body) == before


def test_only_what_is_newer_is_added(counter: Client) -> None:
    body = a_body()
    first = bytes_of(body)
    moved_away(body)
    taken(counter, first)
    other = Body.objects.get(name="Siskwing")
    a_kept(body, 260.0)
    Body.objects.filter(pk=other.pk).update(name="Aside")
    Body.objects.filter(pk=body.pk).update(name="Siskwing")
    data = bytes_of(body)
    moved_away(body)
    Body.objects.filter(pk=other.pk).update(name="Siskwing")
    came = brought(counter, data)
    shown = counter.get(reverse("exchanging:received", args=[came.pk])).content.decode()
    assert "newer than what is here" in shown
    taken(counter, data, into=str(other.pk), take=["pattern-mirror-cap"])
    numbers = [row.number for row in other.patterns.get().revisions.order_by("number")]
    assert numbers == [1, 2, 3]
    taken(counter, data, into=str(other.pk), take=["pattern-mirror-cap"])
    assert other.patterns.get().revisions.count() == 3


def test_patterns_that_went_another_way_are_not_ticked(counter: Client) -> None:
    body = a_body()
    data = bytes_of(body)
    kept = body.patterns.get()
    kept.revisions.first().delete()  # type: ignore[union-attr]
    a_kept(body, 270.0)
    shown = counter.get(reverse("exchanging:received", args=[brought(counter, data).pk]))
    text = shown.content.decode()
    assert "differs: here it went on another way" in text
    assert 'value="pattern-mirror-cap">' in text.replace(" checked", "!")


def test_a_false_archive_leaves_nothing(counter: Client) -> None:
    body = a_body()
    data = bytes_of(body)
    files, on_disk = StoredFile.objects.count(), _on_disk()
    for wrong in (data[:-1], b"x" * 100, data.replace(b"Tarnholm", b"Tarnhelm")):
        answer = counter.post(reverse("exchanging:bring"), {"file": uploaded(wrong)})
        assert answer.status_code == 200
        assert "Nothing was kept." in answer.content.decode()
    assert (StoredFile.objects.count(), _on_disk()) == (files, on_disk)
    assert not Received.objects.exists()


def _on_disk() -> list[Path]:
    return sorted(path_of("00").parent.parent.rglob("*"))


def test_no_name_and_no_job_goes_along(counter: Client, people: dict[Role, Person]) -> None:
    body = a_body()
    body.revisions.update(added_by=people[Role.COUNTER])
    data = bytes_of(body)
    for person in people.values():
        assert person.name.encode() not in data
        assert person.shown.encode() not in data


def test_the_owner_names_a_key_once_it_was_compared(
    client: Client, shop: Shop, people: dict[Role, Person]
) -> None:
    client.force_login(people[Role.OWNER])
    came = brought(client, bytes_of(a_body()))
    place = reverse("exchanging:know", args=[came.pk])
    client.post(place, {"shop": "Mere Lane Film"})
    assert not KnownKey.objects.exists()
    for _ in range(2):
        client.post(place, {"shop": "Mere Lane Film", "compared": "yes"})
    assert KnownKey.objects.get().key == came.key
    assert Event.objects.filter(kind="key.known").count() == 1
    shown = client.get(reverse("exchanging:received", args=[came.pk])).content.decode()
    assert "Signed by the key of <strong>Mere Lane Film</strong>" in shown


def test_json_of_patterns_is_kept_byte_for_byte(counter: Client) -> None:
    body = a_body()
    data = bytes_of(body)
    stored = body.patterns.get().revisions.first()
    assert stored is not None
    text = path_of(stored.pattern.sha256).read_bytes()
    assert text in data
    assert json.loads(text)["name"] == "mirror-cap"
