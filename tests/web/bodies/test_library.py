"""The library: search, what each role may do, what pages cost, and what a revision takes over."""

import hashlib
from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from layflat.web.bodies.library import fill, found
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from layflat.web.work.models import Computation, State

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
MENDING = {
    "unit": "mm",
    "unit_source": "The file is in mm, as its standard or a person says.",
    "notes": [],
    "mends": [{"kind": "filled", "count": 2, "sentence": "2 holes filled with 9 triangles."}],
    "size_mm": [5000.0, 2000.0, 1800.0],
    "scan_triangles": 317972,
    "triangles": 317940,
    "light_triangles": 60000,
    "light_deviation_mm": 0.36,
    "panels": [{"name": "hood", "area_mm2": 1.5e6, "fault": ""}],
}


def stored(data: bytes, media_type: str = "model/x-ply") -> StoredFile:
    return keep([data], name="scan.ply", media_type=media_type, most_bytes=10_000, who=None)


def prepared(body: Body, *, panels: bytes = b"") -> Revision:
    """A revision whose preparation is done and not yet taken over."""
    made = {name: stored(name.encode()).sha256 for name in ("light", "lines", "picture")}
    computation = Computation.objects.create(
        task="bodies.prepare",
        inputs={},
        key=hashlib.sha256(str(body.pk).encode()).hexdigest(),
        version="0",
        state=State.DONE,
        ended_at=timezone.now(),
        result={**made, "mending": MENDING},
    )
    kept = (
        keep([panels], name="p.json", media_type="x", most_bytes=10**6, who=None)
        if panels
        else None
    )
    return Revision.objects.create(
        body=body,
        number=1,
        scan=stored(b"scan"),
        unit="mm",
        panels=kept,
        preparation=computation,
    )


@pytest.fixture
def bodies(shop: Shop) -> dict[str, Body]:
    made = (
        Body(maker="Tarnholm", name="Haulbeck", year_from=2029, year_to=2034, note="high roof"),
        Body(maker="Tarnholm", name="Siskwing", year_from=2031),
        Body(maker="Östrël", name="Pewit"),
        Body(maker="Tarnholm", name="Oldwing", is_retired=True),
    )
    for body in made:
        body.save()
    return {body.name: body for body in made}


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("", {"Haulbeck", "Siskwing", "Pewit"}),
        ("tarn", {"Haulbeck", "Siskwing"}),
        ("wing", {"Siskwing"}),
        ("tarnholm roof", {"Haulbeck"}),
        ("2030", {"Haulbeck", "Pewit"}),
        ("2034 tarnholm", {"Haulbeck", "Siskwing"}),
        ("2035 tarnholm", {"Siskwing"}),
        ("tarnholm ostrel", set()),
        ("ÖSTRËL", {"Pewit"}),
        ("östrël pew", {"Pewit"}),
        ("ostrel", {"Pewit"}),
        ("\x00pewit", {"Pewit"}),
        ("%", set()),
    ],
)
def test_search_by_words_and_years(bodies: dict[str, Body], text: str, names: set[str]) -> None:
    assert {body.name for body in found(text)} == names


def test_search_as_one_types_answers_with_cards(
    signed_in: Browser, bodies: dict[str, Body]
) -> None:
    browser = signed_in(Role.INSTALLER)
    whole = browser.get("/bodies/", {"q": "haul"}).content.decode()
    part = browser.get("/bodies/", {"q": "haul"}, headers={"HX-Request": "true"}).content.decode()
    assert "<html" in whole
    assert "<html" not in part
    assert part.count("body-card") == whole.count("body-card") == 1
    assert part.strip() in whole
    none = browser.get("/bodies/", {"q": "<b>"}).content.decode()
    assert "No body like “&lt;b&gt;”" in none


def test_an_empty_library_says_what_to_do(signed_in: Browser) -> None:
    assert b"Add the first body" in signed_in(Role.COUNTER).get("/bodies/").content
    page = signed_in(Role.INSTALLER).get("/bodies/").content
    assert b"Add the first body" not in page
    assert b"adds the first one" in page


def test_a_revision_takes_over_what_was_made_once(bodies: dict[str, Body]) -> None:
    revision = prepared(bodies["Haulbeck"])
    assert fill(revision)
    assert revision.mending == MENDING
    assert revision.light.sha256 == revision.preparation.result["light"]
    before = Revision.objects.values().get()
    assert fill(Revision.objects.get())
    assert Revision.objects.values().get() == before


@pytest.mark.parametrize("state", [State.OPEN, State.RUNNING, State.FAILED, State.STOPPED])
def test_nothing_is_taken_over_before_its_time(bodies: dict[str, Body], state: State) -> None:
    revision = prepared(bodies["Haulbeck"])
    revision.preparation.state = state
    assert not fill(revision)
    assert Revision.objects.get().light is None


def test_a_page_that_waits_is_told_when_to_load_anew(
    signed_in: Browser, bodies: dict[str, Body]
) -> None:
    revision = prepared(bodies["Haulbeck"])
    browser, place = signed_in(Role.INSTALLER), f"/bodies/revisions/{revision.pk}/ready/"
    assert browser.get(place).headers["HX-Refresh"] == "true"
    Computation.objects.update(state=State.RUNNING)
    going = browser.get(place)
    assert going.status_code == 204
    assert "HX-Refresh" not in going.headers


def test_pages_cost_few_queries(
    signed_in: Browser, shop: Shop, panels_bytes: bytes, django_assert_max_num_queries
) -> None:
    for i in range(12):
        body = Body.objects.create(maker="Tarnholm", name=f"Wing {i:02}")
        fill(prepared(body, panels=panels_bytes))
    browser = signed_in(Role.COUNTER)
    for address in (
        "/bodies/",
        "/bodies/?q=wing",
        f"/bodies/{body.pk}/",
        f"/bodies/{body.pk}/scan/",
    ):
        with django_assert_max_num_queries(12):
            assert browser.get(address).status_code == 200


def test_a_revision_is_told_in_words(
    signed_in: Browser, bodies: dict[str, Body], panels_bytes: bytes
) -> None:
    body = bodies["Haulbeck"]
    revision = prepared(body, panels=panels_bytes)
    page = signed_in(Role.INSTALLER).get(f"/bodies/{body.pk}/revisions/1/").content.decode()
    assert f'data-glb="/bodies/revisions/{revision.pk}/body.glb"' in page
    assert "2 holes filled with 9 triangles." in page
    assert "1.50 m²" in page
    assert "must see; free unless the vehicle maker allows film over it" in page
    assert 'class="edge-trim"' in page
    assert "5000 mm × 2000 mm × 1800 mm" in page
    Shop.objects.update(inches=True)
    page = signed_in(Role.INSTALLER).get(f"/bodies/{body.pk}/").content.decode()
    assert "196.9 in" in page
    # 1.5 m² over 0.3048² m² to the square foot.
    assert "16.1 ft²" in page


def test_files_come_once(signed_in: Browser, bodies: dict[str, Body]) -> None:
    revision = prepared(bodies["Haulbeck"])
    browser, place = signed_in(Role.INSTALLER), f"/bodies/revisions/{revision.pk}/body.glb"
    assert browser.get(place).status_code == 404
    fill(revision)
    first = browser.get(place)
    assert (first.status_code, first.content) == (200, b"light")
    again = browser.get(place, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_the_import_map_goes_with_the_policy(signed_in: Browser, bodies: dict[str, Body]) -> None:
    fill(prepared(bodies["Haulbeck"]))
    answer = signed_in(Role.INSTALLER).get(f"/bodies/{bodies['Haulbeck'].pk}/")
    policy = answer.headers["Content-Security-Policy"]
    nonce = answer.content.decode().split('type="importmap" nonce="')[1].split('"')[0]
    assert len(nonce) > 16
    assert f"'nonce-{nonce}'" in policy
    assert "unsafe" not in policy


@pytest.mark.parametrize(
    ("method", "place"),
    [
        ("get", "new/"),
        ("post", "new/"),
        ("get", "{pk}/edit/"),
        ("post", "{pk}/edit/"),
        ("get", "{pk}/scan/"),
        ("post", "{pk}/scan/"),
        ("post", "{pk}/retire/"),
        ("post", "revisions/{pk}/unit/"),
    ],
)
def test_installers_look_and_change_nothing(
    signed_in: Browser, bodies: dict[str, Body], method: str, place: str
) -> None:
    address = "/bodies/" + place.format(pk=bodies["Haulbeck"].pk)
    assert getattr(signed_in(Role.INSTALLER), method)(address).status_code == 403
    assert not Event.objects.exists()
    for role in (Role.COUNTER, Role.OWNER):
        assert getattr(signed_in(role), method)(address).status_code in (200, 302, 404)
    assert Client().get(address).status_code in (302, 405)


def seen_by(browser: Client, pk: int) -> str:
    """What the form of a body carries when it is opened."""
    page = browser.get(f"/bodies/{pk}/edit/").content.decode()
    return page.split('name="seen" value="')[1].split('"')[0]


def test_two_people_edit_one_body_and_the_second_is_told(
    signed_in: Browser, bodies: dict[str, Body]
) -> None:
    pk = bodies["Siskwing"].pk
    owner, counter = signed_in(Role.OWNER), signed_in(Role.COUNTER)
    seen = seen_by(owner, pk), seen_by(counter, pk)
    words = {"maker": "Tarnholm", "year_from": "2031", "year_to": "", "note": ""}
    first = {**words, "name": "Siskwing GT", "seen": seen[0]}
    assert owner.post(f"/bodies/{pk}/edit/", first).status_code == 302
    second = {**words, "name": "Siskwing Two", "seen": seen[1]}
    page = counter.post(f"/bodies/{pk}/edit/", second).content.decode()
    assert "Somebody changed this body in the meantime" in page
    assert "Siskwing GT" in page
    assert 'value="Siskwing Two"' in page
    assert Body.objects.get(pk=pk).name == "Siskwing GT"
    again = {**second, "seen": page.split('name="seen" value="')[1].split('"')[0]}
    assert counter.post(f"/bodies/{pk}/edit/", again).status_code == 302
    assert Body.objects.get(pk=pk).name == "Siskwing Two"


def test_words_change_and_bodies_retire_with_a_record(
    signed_in: Browser, bodies: dict[str, Body], people: dict[Role, Person]
) -> None:
    browser, pk = signed_in(Role.OWNER), bodies["Siskwing"].pk
    words = {"maker": "Tarnholm", "name": "Siskwing S", "year_from": "2031", "year_to": "2030"}
    assert "lies before the first" in browser.post(f"/bodies/{pk}/edit/", words).content.decode()
    good = {**words, "year_to": "2036", "seen": seen_by(browser, pk)}
    assert browser.post(f"/bodies/{pk}/edit/", good).status_code == 302
    body = Body.objects.get(pk=pk)
    assert (body.name, body.years) == ("Siskwing S", "2031–2036")
    event = Event.objects.get(kind="body.changed")
    assert (event.before["name"], event.after["name"]) == ("Siskwing", "Siskwing S")
    for _ in range(2):  # a double tap is one step
        browser.post(f"/bodies/{pk}/retire/", {"retired": "yes"})
    assert Event.objects.filter(kind="body.retired").count() == 1
    assert not found("siskwing").exists()
    browser.post(f"/bodies/{pk}/retire/", {"retired": "no"})
    assert found("siskwing").exists()


@pytest.mark.parametrize(
    ("first", "last", "shown"),
    [
        (None, None, ""),
        (2029, None, "from 2029"),
        (None, 2029, "until 2029"),
        (2029, 2029, "2029"),
        (2029, 2033, "2029–2033"),
    ],
)
def test_years_as_people_write_them(first: int | None, last: int | None, shown: str) -> None:
    assert Body(maker="A", name="B", year_from=first, year_to=last).years == shown
