"""Scans and panels from a browser: good ones are kept, others are refused in one sentence."""

from collections.abc import Callable

import pytest
from django.core.files import File
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings

from layflat.web.bodies.contents import keep_scan
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.work.models import State
from web.bodies.conftest import upload

Browser = Callable[[Role], Client]


@pytest.fixture
def body(shop: None) -> Body:
    return Body.objects.create(maker="Tarnholm", name="Haulbeck")


def test_a_body_its_scan_and_its_panels(
    signed_in: Browser, scan_bytes: bytes, panels_bytes: bytes, people: dict[Role, Person]
) -> None:
    browser = signed_in(Role.COUNTER)
    words = {
        "maker": "Tarnholm",
        "name": "Haulbeck",
        "year_from": "2029",
        "year_to": "",
        "note": "",
    }
    body = Body.objects.get(
        pk=browser.post("/bodies/new/", words).headers["Location"].split("/")[2]
    )
    files = {"scan": upload(scan_bytes, "dome.ply"), "panels": upload(panels_bytes, "dome.json")}
    answer = browser.post(f"/bodies/{body.pk}/scan/", {"unit": "mm", **files})
    assert answer.headers["Location"] == f"/bodies/{body.pk}/revisions/1/"
    revision = body.revisions.get()
    assert path_of(revision.scan.sha256).read_bytes() == scan_bytes
    assert (revision.scan.media_type, revision.scan.name) == ("model/x-ply", "dome.ply")
    assert revision.panels is not None
    assert revision.added_by == people[Role.COUNTER]
    assert revision.preparation is not None
    assert revision.preparation.inputs == {
        "scan": revision.scan.sha256,
        "unit": "mm",
        "panels": revision.panels.sha256,
    }
    assert [event.kind for event in Event.objects.all()] == ["body.added", "body.revised"]
    waits = browser.get(f"/bodies/{body.pk}/")
    assert b"being prepared" in waits.content
    # New panels for the scan that is there: scan and unit stay.
    again = {"scan": "", "unit": "in", "panels": upload(panels_bytes + b" ", "better.json")}
    browser.post(f"/bodies/{body.pk}/scan/", again)
    second = body.revisions.first()
    assert (second.number, second.scan, second.unit) == (2, revision.scan, "mm")
    assert second.panels.name == "better.json"


@pytest.mark.parametrize(
    ("data", "name", "unit", "says"),
    [
        (b"", "empty.ply", "mm", "empty"),
        (
            b"\x89PNG\r\n\x1a\n" + bytes(200).replace(b"\0", b"x"),
            "photo.ply",
            "mm",
            "no PLY, STL, OBJ or GLB",
        ),
        (b"<html><script>alert(1)</script></html>", "page.obj", "mm", "no PLY, STL, OBJ or GLB"),
        (b"ply\nformat ascii 1.0\n", "scan.ply", "", "does not say its unit"),
        (b"glTF" + bytes(20), "scan.glb", "in", "always in metres"),
        (b"ply\nformat ascii 1.0\n", "scan.ply", "furlong", "furlong is not one of"),
        (b"ply\n" + b" " * 400, "large.ply", "mm", "larger than"),
    ],
)
def test_what_is_no_scan_is_refused_and_not_kept(
    signed_in: Browser,
    body: Body,
    settings: Settings,
    data: bytes,
    name: str,
    unit: str,
    says: str,
) -> None:
    settings.SCAN_MOST_BYTES = 300
    form = {"unit": unit, "scan": upload(data, name)}
    answer = signed_in(Role.COUNTER).post(f"/bodies/{body.pk}/scan/", form)
    assert answer.status_code == 200
    assert says in answer.content.decode()
    assert not Revision.objects.exists()
    assert not StoredFile.objects.exists()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "file is empty"),
        (b"ply\n", "is not a JSON file"),
        (b'{"form": "other"}', "not a file of Layflat panels"),
        (b"[" * 5000, "is not a JSON file"),
        (b" " * 2000, "larger than"),
    ],
)
def test_a_file_that_holds_no_panels_is_refused(
    signed_in: Browser,
    body: Body,
    settings: Settings,
    scan_bytes: bytes,
    data: bytes,
    says: str,
) -> None:
    settings.PANELS_MOST_BYTES = 1500 if says == "larger than" else 10_000
    files = {"scan": upload(scan_bytes, "dome.ply"), "panels": upload(data, "panels.json")}
    answer = signed_in(Role.COUNTER).post(f"/bodies/{body.pk}/scan/", {"unit": "mm", **files})
    text = answer.content.decode()
    assert says in text
    assert "panels.json" in text or not data
    assert "/tmp" not in text
    assert not Revision.objects.exists()


def test_large_files_are_sniffed_where_they_lie(tmp_path, scan_bytes: bytes, who: Person) -> None:
    (tmp_path / "scan.ply").write_bytes(scan_bytes)
    with (tmp_path / "scan.ply").open("rb") as file:
        stored = keep_scan(File(file, name="scan.ply"), unit="mm", who=who)
    assert path_of(stored.sha256).read_bytes() == scan_bytes


def test_a_failed_preparation_says_why_and_takes_another_unit(
    signed_in: Browser, body: Body, scan_bytes: bytes, who: Person, tmp_path
) -> None:
    (tmp_path / "dome.ply").write_bytes(scan_bytes)
    with (tmp_path / "dome.ply").open("rb") as file:
        scan = keep_scan(File(file, name="dome.ply"), unit="m", who=who)
    revision = add_revision(body, scan=scan, unit="m", who=who)
    browser, place = signed_in(Role.COUNTER), f"/bodies/revisions/{revision.pk}/unit/"
    # While it is under way there is nothing to begin anew.
    browser.post(place, {"unit": "mm"})
    revision.refresh_from_db()
    assert revision.unit == "m"
    failed = revision.preparation
    failed.state, failed.error = State.FAILED, "dome.ply is 1e+06 mm across <b>."
    failed.ended_at = timezone.now()
    failed.save()
    page = browser.get(f"/bodies/{body.pk}/").content.decode()
    assert "dome.ply is 1e+06 mm across &lt;b&gt;." in page
    browser.post(place, {"unit": "mm"})
    revision.refresh_from_db()
    assert revision.unit == "mm"
    assert revision.preparation != failed
    assert revision.preparation.inputs["unit"] == "mm"
    assert Event.objects.get(kind="body.prepared-again").before == {"unit": "m"}


def test_two_uploads_take_two_numbers(body: Body, scan_bytes: bytes, who: Person, tmp_path) -> None:
    (tmp_path / "dome.ply").write_bytes(scan_bytes)
    with (tmp_path / "dome.ply").open("rb") as file:
        scan = keep_scan(File(file, name="dome.ply"), unit="mm", who=who)
    units = ("mm", "cm", "mm")
    first, second, third = (add_revision(body, scan=scan, unit=unit, who=who) for unit in units)
    assert (first.number, second.number, third.number) == (1, 2, 3)
    # The same scan is prepared once.
    assert first.preparation == third.preparation != second.preparation
    # What is the newest already is no other.
    assert add_revision(body, scan=scan, unit="mm", who=who) == third
