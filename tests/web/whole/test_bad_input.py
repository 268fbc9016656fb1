"""What comes from outside and is not what it says: refused in words, kept nowhere, run nowhere.

Pictures and scans have lists of their own beside what reads them; drawings reach the core only
(tests/faults/test_hostile_drawings.py), and here they are offered where other files belong.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from pytest_django.fixtures import Settings

from layflat.base import LayflatError, silent
from layflat.web.bodies.contents import keep_scan
from layflat.web.bodies.models import Body, Revision
from layflat.web.bodies.tasks import prepare_body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from web.bodies.conftest import dome, ply, upload
from web.covered import a_body, a_job
from web.whole.places import TABLE, Place, read_whole

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
SECRET = "only those who look after the server read this"
DRAWINGS = {
    "script": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "event": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "entity": b"""<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY x SYSTEM "file://%s">]>
<svg xmlns="http://www.w3.org/2000/svg"><text>&x;</text></svg>""",
    "laughs": b"""<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;">]><svg><text>&d;</text></svg>""",
}


@pytest.fixture
def walk(people: dict[Role, object]) -> Job:
    return a_job("2031-0042", body=a_body(), stage=Stage.INTAKE)


@pytest.mark.parametrize("name", DRAWINGS)
@pytest.mark.parametrize("where", ["photo", "scan", "panels"])
def test_a_hostile_drawing_is_no_picture_no_scan_and_no_panels(
    signed_in: Browser, walk: Job, tmp_path: Path, where: str, name: str
) -> None:
    (tmp_path / "secret").write_text(SECRET)
    data = DRAWINGS[name].replace(b"%s", str(tmp_path / "secret").encode())
    before = StoredFile.objects.count()
    body = Body.objects.create(maker="Tarnholm", name="Bramble")
    counter = signed_in(Role.COUNTER)
    if where == "photo":
        photo = SimpleUploadedFile("a.png", data, content_type="image/png")
        form = {"once": "0" * 32, "kind": "chip", "panel": "hood", "photo": photo}
        answer = counter.post(f"/jobs/{walk.number}/faults/", form)
    else:
        files = {"scan": upload(ply(dome()), "dome.ply")} | {where: upload(data, f"a.{where}")}
        answer = counter.post(f"/bodies/{body.pk}/scan/", {"unit": "mm", **files})
    assert answer.status_code == 200
    text = answer.content.decode()
    words = {"photo": "no picture", "scan": "no PLY, STL, OBJ or GLB", "panels": "not a JSON file"}
    assert words[where] in text
    for leaked in (SECRET, str(tmp_path), "alert(1)"):
        assert leaked not in text
    assert not Fault.objects.exists()
    assert not Revision.objects.filter(body=body).exists()
    kept = StoredFile.objects.count() - before
    # A good scan may be kept already when its panels are refused; it is of nobody.
    assert kept == (where == "panels")


def test_drawings_that_are_shown_run_and_load_nothing(
    whole: Callable[[str], Place], signed_in: Browser
) -> None:
    owner, found = signed_in(Role.OWNER), 0
    for name, row in TABLE.items():
        if row.looked_at != 200:
            continue
        answer = owner.get(whole(name).address)
        read_whole(answer)
        if not answer.headers["Content-Type"].startswith("image/svg"):
            continue
        found += 1
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy, name
        assert "script-src 'self'" not in policy, name
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert b"<script" not in answer.content
    assert found == 6


# What each claims is far beyond what it holds: the formats' own headers (PLY; binary STL; glTF 2.0,
# 4.4 and 5.1) say the counts before the data.
BOMBS = {
    "ply": (
        b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\nproperty float x\n"
        b"property float y\nproperty float z\nelement face 4000000000\n"
        b"property list uchar int vertex_indices\nend_header\n" + bytes(400)
    ),
    "stl": b"a solid".ljust(80) + (4_000_000_000).to_bytes(4, "little") + bytes(400),
    "obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4000000000\n" * 20,
}


@pytest.mark.parametrize("kind", BOMBS)
def test_a_scan_that_claims_too_much_is_refused_without_the_memory(
    shop: object, settings: Settings, kind: str
) -> None:
    """The process of a computation may take gigabytes; what is refused takes none of them."""
    import tracemalloc

    stored = keep_scan(upload_file(BOMBS[kind], f"scan.{kind}"), unit="mm", who=None)
    before = StoredFile.objects.count()
    tracemalloc.start()
    try:
        with pytest.raises(LayflatError) as refused:
            prepare_body({"scan": stored.sha256, "unit": "mm", "panels": ""}, silent)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 20_000_000
    said = str(refused.value)
    assert f"scan.{kind}" in said
    assert str(settings.FILES_FOLDER) not in said
    assert "Traceback" not in said
    assert StoredFile.objects.count() == before


def upload_file(data: bytes, name: str) -> Any:
    return SimpleUploadedFile(name, data)


@pytest.mark.parametrize(
    "form",
    [{"wishes": "x" * 3_000_000}, {f"field-{number}": "1" for number in range(2_100)}],
    ids=["three megabytes of text", "2,100 fields"],
)
def test_a_form_far_larger_than_any_page_sends_is_refused(
    signed_in: Browser, walk: Job, form: dict[str, str]
) -> None:
    answer = signed_in(Role.COUNTER).post(f"/jobs/{walk.number}/edit/wishes/", form)
    assert answer.status_code == 400
    text = answer.content.decode()
    assert "far larger than anything a page here sends" in text
    assert walk.number not in text
    walk.refresh_from_db()
    assert walk.wishes == ""


@pytest.mark.parametrize(
    ("address", "form"),
    [
        ("/jobs/?q=oa%00ke", None),
        ("/jobs/2031%00/", None),
        ("/jobs/find/customers/?customer-q=oa%00ke", None),
        ("/bodies/?q=%00", None),
        ("/jobs/{}/faults/", {"kind": "chip", "panel": "hood", "note": "by\x00the lamp"}),
        ("/jobs/{}/back/", {"seen": "intake", "reason": "\x00"}),
        ("/jobs/{}/cover/begin/", {"start": "blank", "title": "Nose\x00"}),
        ("/jobs/enquiry/", {"name": "Perrin\x00", "plate": "LW"}),
        ("/jobs/enquiry/", {"once\x00": "1"}),
        ("/for-you/offer/a%00b/", None),
    ],
)
def test_a_text_with_a_nul_is_refused(
    signed_in: Browser, walk: Job, address: str, form: dict[str, str] | None
) -> None:
    """PostgreSQL's texts hold none (its documentation, 8.3), and nobody types one."""
    browser, place = signed_in(Role.OWNER), address.format(walk.number)
    events = Event.objects.count()
    answer = browser.get(place) if form is None else browser.post(place, {"once": "0" * 32, **form})
    assert answer.status_code == 400
    assert "was not understood" in answer.content.decode()
    assert Event.objects.count() == events


@pytest.mark.parametrize(
    "name", ["../../../etc/passwd", "..\\..\\a.ply", "a\nb\x00.ply", "<b>.ply"]
)
def test_a_name_of_a_file_is_words_only(shop: object, settings: Settings, name: str) -> None:
    stored = keep([ply(dome())], name=name, media_type="x/x", most_bytes=10**7, who=None)
    assert "/" not in stored.name
    assert "\\" not in stored.name
    assert stored.name.isprintable()
    (place,) = [path for path in settings.FILES_FOLDER.rglob("*") if path.is_file()]
    assert place.name == stored.sha256
