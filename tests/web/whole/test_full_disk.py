"""A full disk: clear words, nothing lost, nothing half written, nothing leaked.

A disk cannot be filled in a test; the faults are those that the system and the databases raise
then. That of SQLite is a real one.
"""

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.test import Client
from pytest_django.fixtures import Settings

from layflat.base import OutputError, silent
from layflat.surface import panels_json
from layflat.web.bodies.models import Body, Revision
from layflat.web.cover import outcomes
from layflat.web.cover.choices import Choices, to_json
from layflat.web.cover.models import Cover, Outcome
from layflat.web.files import store
from layflat.web.files.models import StoredFile
from layflat.web.full_disk import is_full_disk
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.people.models import Role
from layflat.web.work.tasks import find
from web.bodies.conftest import dome, info, ply
from web.cover.domes import LEFT, Domes
from web.covered import a_body, a_job
from web.jobs.conftest import jpeg

Browser = Callable[[Role], Client]
FULL = "No space left on device"
SECRETS = ("/tmp", "/yard/data", "Traceback", "Errno")


def full(*_args: object, **_options: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "/yard/data/secret")


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on no content reaches the data folder."""
    monkeypatch.setattr(store.os, "fsync", full)


def says_it(answer: Any) -> str:
    text: str = answer.content.decode()
    assert FULL in text
    for secret in SECRETS:
        assert secret not in text
    return text


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


@pytest.fixture
def walk(people: dict[Role, object]) -> Job:
    return a_job("2031-0042", body=a_body(), stage=Stage.INTAKE)


def test_a_picture_that_cannot_be_kept_loses_no_word(
    signed_in: Browser, walk: Job, full_disk: None, settings: Settings
) -> None:
    before = files_in(settings.FILES_FOLDER)
    photo = SimpleUploadedFile("IMG_7.jpg", jpeg(), content_type="image/jpeg")
    form = {"once": "0" * 32, "kind": "chip", "panel": "hood", "note": "by the lamp"}
    installer = signed_in(Role.INSTALLER)
    text = says_it(installer.post(f"/jobs/{walk.number}/faults/", {**form, "photo": photo}))
    assert 'value="by the lamp"' in text
    assert not Fault.objects.exists()
    assert files_in(settings.FILES_FOLDER) == before
    # The page can be sent again as it stands, without the picture.
    assert installer.post(f"/jobs/{walk.number}/faults/", form).status_code == 302
    assert Fault.objects.get().note == "by the lamp"


@pytest.mark.parametrize("where", ["kept", "set aside"])
def test_a_scan_and_its_panels_that_cannot_be_kept(
    signed_in: Browser,
    shop: object,
    monkeypatch: pytest.MonkeyPatch,
    settings: Settings,
    where: str,
) -> None:
    place, name = (store.os, "fsync") if where == "kept" else (shutil, "copyfileobj")
    monkeypatch.setattr(place, name, full)
    body = Body.objects.create(maker="Tarnholm", name="Haulbeck")
    files = {
        "scan": SimpleUploadedFile("dome.ply", ply(dome())),
        "panels": SimpleUploadedFile("dome.json", panels_json(info()).encode()),
    }
    answer = signed_in(Role.COUNTER).post(f"/bodies/{body.pk}/scan/", {"unit": "mm", **files})
    text = says_it(answer)
    assert ("dome.ply" if where == "kept" else "dome.json") in text
    assert not Revision.objects.exists()
    assert not [path for path in files_in(settings.FILES_FOLDER) if "incoming" in path.name]


def test_a_cover_that_cannot_be_kept_fails_in_words_and_leaves_no_outcome(
    domes: Domes, people: dict[Role, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outcomes, "LAYOUT_S", 1.0)
    cover = Cover.objects.create(
        job=a_job("2031-0042", body=domes.revision),
        number=1,
        title="One side",
        body=domes.revision,
        choices=to_json(Choices((LEFT,))),
    )
    computation = outcomes.ask_for(cover, who=None)
    monkeypatch.setattr(store.os, "fsync", full)
    before = StoredFile.objects.count()
    with pytest.raises(OutputError) as refused:
        find(computation.task).run(computation.inputs, silent)
    assert FULL in str(refused.value)
    assert "/yard" not in str(refused.value)
    assert StoredFile.objects.count() == before
    assert not Outcome.objects.exists()


def real_sqlite_full(folder: Path) -> sqlite3.Error:
    """What SQLite raises when its file may not grow (https://www.sqlite.org/rescode.html#full)."""
    connection = sqlite3.connect(folder / "small.sqlite3")
    try:
        connection.execute("PRAGMA max_page_count = 2")
        connection.execute("CREATE TABLE t (x)")
        connection.execute("INSERT INTO t VALUES (zeroblob(100000))")
    except sqlite3.Error as error:
        return error
    finally:
        connection.close()
    raise AssertionError("It grew all the same.")


def raised_of(name: str, folder: Path) -> Exception:
    """As Django raises it: the driver's own error is the cause."""
    if name == "upload":
        return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "/yard/data/secret")
    if name == "quota":
        return OSError(errno.EDQUOT, os.strerror(errno.EDQUOT), "/yard/data/secret")
    error = OperationalError("the yard's secret")
    postgres = psycopg.errors.DiskFull("could not extend file /yard/data")
    error.__cause__ = real_sqlite_full(folder) if name == "sqlite" else postgres
    return error


@pytest.mark.parametrize("name", ["upload", "quota", "sqlite", "postgres"])
def test_a_disk_that_is_full_elsewhere_has_a_page(
    signed_in: Browser, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    raised = raised_of(name, tmp_path)

    def fail(*_args: object, **_options: object) -> None:
        raise raised

    monkeypatch.setattr("layflat.web.jobs.views.enquiry.open_job", fail)
    counter = signed_in(Role.COUNTER)
    counter.raise_request_exception = False
    form = {"once": "0" * 32, "name": "Perrin Oake", "plate": "LW 204 K"}
    answer = counter.post("/jobs/enquiry/", form)
    assert answer.status_code == 507
    text = answer.content.decode()
    assert "The disk is full" in text
    for secret in (*SECRETS, "secret", "Perrin"):
        assert secret not in text
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert not Job.objects.exists()


def test_a_large_upload_that_finds_no_room_has_a_page(
    signed_in: Browser, walk: Job, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Uploads beyond a size go to a file before any view sees them."""
    settings.FILE_UPLOAD_MAX_MEMORY_SIZE = 100
    monkeypatch.setattr("django.core.files.uploadhandler.TemporaryFileUploadHandler.new_file", full)
    installer = signed_in(Role.INSTALLER)
    installer.raise_request_exception = False
    photo = SimpleUploadedFile("IMG_7.jpg", jpeg(), content_type="image/jpeg")
    answer = installer.post(f"/jobs/{walk.number}/faults/", {"once": "0" * 32, "photo": photo})
    assert answer.status_code == 507
    assert "The disk is full" in answer.content.decode()
    assert "/yard" not in answer.content.decode()


def test_other_faults_are_no_full_disk() -> None:
    assert not is_full_disk(None)
    assert not is_full_disk(OSError(errno.EACCES, "Permission denied"))
    assert not is_full_disk(OperationalError("database is locked"))
    inner = OSError(errno.ENOSPC, "full")
    outer = RuntimeError("later")
    outer.__context__, inner.__context__ = inner, outer
    assert is_full_disk(outer)
