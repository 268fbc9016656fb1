"""Changing a cover by its page: tap by tap, two people, double taps, wrong roles, bad input."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries
from pytest_django.fixtures import Settings

from layflat.web.cover.choices import Choices, PanelChoice, from_json, to_json
from layflat.web.cover.choosing import edge_seen, extent_seen, keep_out_seen, panel_seen
from layflat.web.cover.models import Cover
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from layflat.web.work.models import State
from web.cover.domes import KEEP, LINE, Domes
from web.covered import a_job

Browser = Callable[[Role], Client]
Send = Callable[..., Any]
MOST_QUERIES = 15


@pytest.fixture
def cover(domes: Domes) -> Cover:
    """An alternative that covers the left panel, of a job that stands at its cover."""
    job = a_job(body=domes.revision)
    return Cover.objects.create(
        job=job,
        number=1,
        title="Nose only",
        body=domes.revision,
        choices=to_json(Choices((PanelChoice(panel="left"),))),
    )


def at(cover: Cover, what: str = "") -> str:
    return f"/jobs/{cover.job.number}/cover/{cover.number}/{what}"


def now(cover: Cover) -> Choices:
    cover.refresh_from_db()
    return from_json(cover.choices)


@pytest.fixture
def send(signed_in: Browser, cover: Cover) -> Send:
    """Sends a change as the page does, with what the page shows now unless told otherwise."""

    def post(kind: str, panel: str = "left", *, role: Role = Role.COUNTER, **fields: Any) -> Any:
        if "was" not in fields:
            choices, name = now(cover), fields.get("name", "")
            fields["was"] = {
                "edge": lambda: edge_seen(choices, panel, name),
                "over": lambda: keep_out_seen(choices, panel, name),
                "free": lambda: keep_out_seen(choices, panel, name),
                "bare": lambda: panel_seen(choices, panel),
                "wrap-free": lambda: panel_seen(choices, panel),
            }.get(kind, lambda: extent_seen(choices, panel))()
        return signed_in(role).post(
            at(cover, "change/"),
            {"kind": kind, "panel": panel, **fields},
            headers={"HX-Request": "true"},
        )

    return post


def said(answer: Any) -> str:
    """What the answer says of the change."""
    assert answer.status_code == 200, answer.status_code
    found = re.search(r'<div id="said".*?</div>', answer.content.decode(), re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", found[0] if found else "").split())


def figures(page: str) -> str:
    found = re.search(r'<dl class="figures".*?</dl>', page, re.DOTALL)
    assert found
    return " ".join(re.sub(r"<[^>]*>", " ", found[0]).split())


def test_each_kind_of_change_is_kept_and_written_down(send: Send, cover: Cover) -> None:
    line, keep = json.dumps(LINE), json.dumps(KEEP)
    steps: list[tuple[tuple[str, str], dict[str, Any], str]] = [
        (("whole", "right"), {}, "Right: covered as a whole."),
        (("line", "right"), {"line": line, "keep": keep}, "Right: covered up to a line."),
        (("other-side", "right"), {}, "Right: covered up to a line."),
        (("numbers", "right"), {"side": "front", "deep": "90"}, "Right: covered up to a line."),
        (
            ("edge", "left"),
            {"name": "front", "finish": "wrap", "distance": "1.5"},
            "Left: edge “front” wrapped round by 8 mm.",
        ),
        (
            ("edge", "left"),
            {"name": "front", "finish": "wrap", "distance": "9,5"},
            "Left: edge “front” wrapped round by 9.5 mm.",
        ),
        (("wrap-free", "left"), {}, "Left: all free edges wrapped round."),
        (
            ("over", "left"),
            {"name": "emblem", "reason": "No radar behind it."},
            "Left: film over “emblem”: No radar behind it.",
        ),
        (("free", "left"), {"name": "emblem"}, "Left: “emblem” stays free."),
        (("bare", "right"), {}, "Right: left bare."),
    ]
    for i, (what, fields, words) in enumerate(steps, start=1):
        answer = send(*what, **fields)
        assert said(answer) == words
        assert f'id="panel-title">{what[1].capitalize()}' in answer.content.decode()
        event = Event.objects.filter(job=cover.job, kind="cover.changed").last()
        assert event is not None
        assert event.sentence == f"Nose only. {words}"
        assert event.by == "counter"
        now(cover)
        assert cover.version == 1 + i
    left = now(cover).of("left")
    assert left is not None
    assert now(cover).of("right") is None
    assert {name: end.distance_mm for name, end in left.edges.items()} == {
        "front": 9.5,
        "rear": 8.0,
    }


def test_figures_follow_and_are_called_an_estimate(send: Send, cover: Cover, domes: Domes) -> None:
    domes.measure()
    one = send("whole", "left").content.decode()
    both = send("whole", "right").content.decode()
    assert "quick estimate" in both
    assert "Pieces 1" in figures(one)
    assert "Pieces 2" in figures(both)
    film, price = (
        [float(re.search(pattern, figures(page))[1]) for page in (one, both)]  # type: ignore[index]
        for pattern in (r"Film ([\d.]+) m", r"Price EUR\s([\d.]+)")
    )
    # Two small panels may lie beside each other on the roll.
    assert film[1] >= film[0] > 0
    assert price[1] > price[0] > 0


def test_inches_are_read_and_shown_in_a_shop_of_inches(
    send: Send, cover: Cover, domes: Domes, shop: Shop
) -> None:
    Shop.objects.update(inches=True)
    send("edge", name="front", finish="wrap", distance="0.06")
    page = send("edge", name="front", finish="wrap", distance="0.5").content.decode()
    left = now(cover).of("left")
    assert left is not None
    assert left.edges["front"].distance_mm == pytest.approx(12.7)
    assert 'value="0.50"' in page
    # What was not touched stays as it is, although 1.5 mm cannot be written in hundredths.
    send("edge", name="rear", finish="short", distance="0.06")
    left = now(cover).of("left")
    assert left is not None
    assert "rear" not in left.edges


def test_double_taps_change_nothing_more(send: Send, cover: Cover) -> None:
    before = extent_seen(now(cover), "right")
    for _ in range(3):
        answer = send("whole", "right", was=before)
        assert "in the meantime" not in said(answer)
    assert Event.objects.filter(kind="cover.changed").count() == 1
    assert now(cover).of("right") is not None
    seen = panel_seen(now(cover), "right")
    for _ in range(2):
        send("bare", "right", was=seen)
    assert Event.objects.filter(kind="cover.changed").count() == 2
    assert cover.version == 2
    assert now(cover).of("right") is None


def test_the_second_of_two_people_is_told_and_nothing_is_lost(send: Send, cover: Cover) -> None:
    stale = edge_seen(now(cover), "left", "front")
    send("edge", name="front", finish="wrap", distance="12", role=Role.OWNER)
    send("edge", name="front", finish="wrap", distance="12", role=Role.OWNER)
    late = send("edge", name="front", finish="short", distance="3", was="")
    assert "owner changed the same on “Left” in the meantime" in said(late)
    late = send("wrap-free", was=stale)
    assert "owner changed the same" in said(late)
    left = now(cover).of("left")
    assert left is not None
    assert left.edges["front"].distance_mm == 12.0
    # The answer shows how it stands.
    assert re.search(r'value="wrap" id="edge-0-wrap" checked', late.content.decode())
    # Changes that do not touch each other are both kept.
    assert said(send("over", name="emblem", reason="Sticker.")).startswith("Left: film over")
    rear = send("edge", name="rear", finish="wrap", distance="", was=stale)
    assert said(rear) == "Left: edge “rear” wrapped round by 8 mm."
    found = now(cover).of("left")
    assert found is not None
    assert set(found.edges) == {"front", "rear"}
    assert found.film_over == {"emblem": "Sticker."}


def test_leaving_bare_what_somebody_changed_meanwhile_is_refused(send: Send, cover: Cover) -> None:
    seen = panel_seen(now(cover), "left")
    send("edge", name="rear", finish="wrap", role=Role.OWNER)
    assert "owner changed the same on “Left”" in said(send("bare", was=seen))
    assert now(cover).of("left") is not None
    # And an edge of a panel that somebody else left bare.
    send("bare", role=Role.OWNER)
    late = send("edge", name="front", finish="wrap")
    assert "The left is bare; cover it first." in said(late)
    assert now(cover).panels == ()


def last_event() -> Event:
    event = Event.objects.filter(kind="cover.changed").last()
    assert event is not None
    return event


def test_changes_are_taken_back_one_after_another(
    send: Send, cover: Cover, signed_in: Browser
) -> None:
    counter = signed_in(Role.COUNTER)
    before = now(cover)
    send("edge", name="front", finish="wrap")
    send("whole", "right")
    for words in ("Right is as it was before.", "Left is as it was before."):
        page = counter.get(at(cover)).content.decode()
        (address,) = re.findall(r'<form class="undo" method="post" action="([^"]*)"', page)
        answer = counter.post(address, headers={"HX-Request": "true"})
        assert said(answer) == words
        # A second tap on the same button does nothing more.
        assert said(counter.post(address, headers={"HX-Request": "true"})) == ""
    assert now(cover) == before
    assert 'class="undo"' not in counter.get(at(cover)).content.decode()
    assert Event.objects.filter(kind="cover.undone").count() == 2


def test_what_was_changed_again_is_not_taken_back(
    send: Send, cover: Cover, signed_in: Browser
) -> None:
    send("edge", name="front", finish="wrap")
    first = last_event()
    send("edge", name="front", finish="wrap", distance="10")
    counter = signed_in(Role.COUNTER)
    history = counter.get(f"/jobs/{cover.job.number}/history/").content.decode()
    assert at(cover, f"back/{last_event().pk}/") in history
    assert at(cover, f"back/{first.pk}/") not in history
    answer = counter.post(at(cover, f"back/{first.pk}/"), headers={"HX-Request": "true"})
    assert "was changed again since" in said(answer)
    assert edge_seen(now(cover), "left", "front") != edge_seen(Choices(), "left", "front")
    # From the history the page comes as a whole.
    whole = counter.post(at(cover, f"back/{last_event().pk}/"))
    assert whole.headers["Location"] == at(cover)
    # Now the first change stands again, and it alone can be put back.
    history = counter.get(f"/jobs/{cover.job.number}/history/").content.decode()
    assert re.findall(r"/back/(\d+)/", history) == [str(first.pk)]


def test_events_of_other_covers_and_kinds_are_not_taken_back(
    send: Send, cover: Cover, signed_in: Browser, domes: Domes
) -> None:
    send("whole", "right")
    event = last_event()
    other = Cover.objects.create(
        job=cover.job, number=2, title="Doors", body=domes.revision, choices=cover.choices
    )
    elsewhere = a_job("2031-0043", body=domes.revision, plate="LW 9")
    strange = Cover.objects.create(
        job=elsewhere, number=1, title="Doors", body=domes.revision, choices=cover.choices
    )
    counter = signed_in(Role.COUNTER)
    for which in (other, strange):
        answer = counter.post(at(which, f"back/{event.pk}/"), headers={"HX-Request": "true"})
        assert "open the page anew" in said(answer)
    assert now(cover).of("right") is not None


LINE_TEXT, KEEP_TEXT = json.dumps(LINE), json.dumps(KEEP)
BAD = [
    ("whole", "roof", {}, "no panel “roof”"),
    ("whole", "", {}, "no panel “”"),
    ("paint", "left", {}, "out of date"),
    ("", "left", {}, "out of date"),
    ("edge", "left", {"name": "nose", "finish": "wrap"}, "no edge “nose”"),
    ("edge", "left", {"name": "", "finish": "wrap"}, "no edge “”"),
    ("edge", "left", {"name": "left", "finish": "wrap"}, "cannot be wrapped"),
    ("edge", "left", {"name": "front", "finish": "glue"}, "ends flush, short or wrapped"),
    ("edge", "left", {"name": "front", "finish": "short", "distance": "61"}, "0.1 to 60 mm"),
    ("edge", "left", {"name": "front", "finish": "short", "distance": "-1"}, "0.1 to 60 mm"),
    ("edge", "left", {"name": "front", "finish": "short", "distance": "nan"}, "cannot be read"),
    ("edge", "left", {"name": "front", "finish": "short", "distance": "wide"}, "of millimetres"),
    ("over", "left", {"name": "emblem", "reason": ""}, "Say why"),
    ("over", "left", {"name": "emblem", "reason": "x" * 201}, "201 letters"),
    ("over", "left", {"name": "sensor", "reason": "Because."}, "no keep-out “sensor”"),
    ("free", "right", {"name": "sensor"}, "is bare"),
    ("other-side", "left", {}, "no line"),
    ("numbers", "left", {"side": "front", "deep": ""}, "of millimetres"),
    ("numbers", "left", {"side": "front", "deep": "5000"}, "reaches 220 mm"),
    ("numbers", "left", {"side": "inside", "deep": "50"}, "which part"),
    ("line", "right", {"line": "[[1,2", "keep": KEEP_TEXT}, "cannot be read"),
    ("line", "right", {"line": "[" * 5000, "keep": KEEP_TEXT}, "cannot be read"),
    ("line", "right", {"line": "{}", "keep": KEEP_TEXT}, "two points"),
    ("line", "right", {"line": "[[1,2,3]]", "keep": KEEP_TEXT}, "two points"),
    ("line", "right", {"line": '[[1,2,"x"],[1,2,3]]', "keep": KEEP_TEXT}, "cannot be read"),
    ("line", "right", {"line": "[[1e9,0,0],[0,0,0]]", "keep": KEEP_TEXT}, "cannot be read"),
    ("line", "right", {"line": "[[NaN,0,0],[0,0,0]]", "keep": KEEP_TEXT}, "cannot be read"),
    ("line", "right", {"line": LINE_TEXT, "keep": "7"}, "three coordinates"),
    ("line", "right", {"line": LINE_TEXT, "keep": ""}, "cannot be read"),
    ("line", "left", {"line": LINE_TEXT, "keep": KEEP_TEXT}, "Left"),
]


@pytest.mark.parametrize(("kind", "panel", "fields", "words"), BAD)
def test_bad_input_is_refused_in_words_and_changes_nothing(
    send: Send, cover: Cover, kind: str, panel: str, fields: dict[str, str], words: str
) -> None:
    before = now(cover)
    answer = send(kind, panel, **fields)
    assert words in said(answer)
    assert now(cover) == before
    assert not Event.objects.filter(kind="cover.changed").exists()


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        (Stage.ENQUIRY, "Walk round the vehicle first"),
        (Stage.INTAKE, "Close the walk-round first"),
        (Stage.COVER, ""),
        (Stage.OFFERED, ""),
        (Stage.ACCEPTED, "open the offer again with a reason"),
        (Stage.CLOSED, "The job is closed"),
    ],
)
def test_covers_change_at_their_stages_only(
    send: Send, cover: Cover, signed_in: Browser, stage: Stage, words: str
) -> None:
    Job.objects.update(stage=stage)
    answer = send("whole", "right")
    page = signed_in(Role.COUNTER).get(at(cover)).content.decode()
    computed = signed_in(Role.COUNTER).post(at(cover, "compute/"), headers={"HX-Request": "true"})
    if words:
        assert words in said(answer)
        assert words in said(computed)
        assert now(cover).of("right") is None
        assert words in page
        assert 'action="/jobs' not in page
    else:
        assert said(answer) == "Right: covered as a whole."
        assert 'id="compute"' in page


def test_a_dropped_alternative_is_not_changed(send: Send, cover: Cover) -> None:
    Cover.objects.update(is_dropped=True)
    assert "“Nose only” is dropped" in said(send("whole", "right"))
    assert now(cover).of("right") is None


GETS = ["", "?panel=left", "part/?panel=left", "vehicle.png"]
POSTS = [
    "change/",
    "back/1/",
    "compute/",
    "trace/",
    "copy/",
    "rename/",
    "drop/",
    "save/",
]


@pytest.mark.parametrize("what", GETS)
def test_everybody_of_the_shop_looks_and_strangers_do_not(
    cover: Cover, signed_in: Browser, what: str
) -> None:
    for role in Role:
        assert signed_in(role).get(at(cover, what)).status_code == 200
    asked = Client().get(at(cover, what))
    assert asked.headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("what", POSTS)
def test_installers_and_strangers_change_nothing(
    cover: Cover, signed_in: Browser, what: str
) -> None:
    before = now(cover)
    form = {"kind": "whole", "panel": "right", "title": "Mine", "dropped": "yes"}
    assert signed_in(Role.INSTALLER).post(at(cover, what), form).status_code == 403
    asked = Client().post(at(cover, what), form)
    assert asked.headers["Location"].startswith("/sign-in/")
    assert signed_in(Role.COUNTER).get(at(cover, what)).status_code == 405
    assert now(cover) == before
    assert (cover.title, cover.is_dropped) == ("Nose only", False)


def test_an_installer_sees_no_price_and_no_form(cover: Cover, signed_in: Browser) -> None:
    seen = {role: signed_in(role).get(at(cover, "?panel=left")).content.decode() for role in Role}
    assert "Price" in seen[Role.COUNTER]
    assert "EUR" in seen[Role.COUNTER]
    installer = seen[Role.INSTALLER]
    assert "Price" not in installer
    assert "EUR" not in installer
    assert 'id="panel-title">Left' in installer
    assert "stays free" in installer
    assert at(cover, "change/") not in re.findall(r'action="([^"]*)"', installer)


def test_what_is_not_there_is_not_found(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    for address in (
        f"/jobs/{cover.job.number}/cover/7/",
        "/jobs/2031-9999/cover/1/",
        f"/jobs/{cover.job.number}/cover/7/part/?panel=left",
        f"/jobs/{cover.job.number}/cover/1/of/1/layout.svg",
    ):
        assert counter.get(address).status_code == 404


def test_a_line_is_traced_while_it_is_drawn(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    found = counter.post(at(cover, "trace/"), {"panel": "right", "line": LINE_TEXT}).json()
    assert len(found["line"]) > 10
    fault = counter.post(at(cover, "trace/"), {"panel": "right", "line": "[[1,2,3]]"}).json()
    assert "two points" in fault["fault"]
    assert now(cover).of("right") is None


def test_a_part_comes_as_triangles_for_the_viewer(
    cover: Cover, signed_in: Browser, send: Send
) -> None:
    counter = signed_in(Role.COUNTER)
    assert counter.get(at(cover, "part/?panel=left")).json() == {}
    send("line", "right", line=LINE_TEXT, keep=KEEP_TEXT)
    found = counter.get(at(cover, "part/?panel=right")).json()
    assert len(found["positions"]) % 3 == 0
    assert max(found["indices"]) == len(found["positions"]) // 3 - 1
    assert 0.3 < found["share"] < 0.8
    page = counter.get(at(cover)).content.decode()
    assert "&quot;parts&quot;: [{&quot;panel&quot;: &quot;right&quot;" in page


def test_the_picture_shows_film_where_it_is(cover: Cover, signed_in: Browser, send: Send) -> None:
    counter = signed_in(Role.COUNTER)
    bare = counter.get(at(cover, "vehicle.png"))
    assert bare.content[:4] == b"\x89PNG"
    assert bare.headers["Cache-Control"] == "no-store"
    send("whole", "right")
    more = counter.get(at(cover, "vehicle.png"))
    assert more.content != bare.content
    page = counter.get(f"/jobs/{cover.job.number}/cover/").content.decode()
    (named,) = re.findall(r'src="([^"]*vehicle.png[^"]*)"', page)
    assert "max-age" in counter.get(named).headers["Cache-Control"]


def test_computed_figures_stand_until_something_changes(
    cover: Cover, domes: Domes, signed_in: Browser, send: Send
) -> None:
    counter = signed_in(Role.COUNTER)
    asked = counter.post(at(cover, "compute/"), headers={"HX-Request": "true"}).content.decode()
    cover.refresh_from_db()
    assert cover.computation is not None
    assert f"computation-{cover.computation.pk}" in asked
    assert "quick estimate" in asked
    domes.finish(cover.computation)
    page = counter.get(at(cover)).content.decode()
    assert 'data-figures="computed"' in page
    assert "quick estimate" not in page
    assert at(cover, "fit/") in page
    layout = counter.get(at(cover, "of/1/layout.svg"))
    assert layout.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in layout.headers["Content-Security-Policy"]
    later = send("whole", "right").content.decode()
    assert 'data-figures="estimate"' in later
    assert "computed before, for other choices" in later
    # Back at what was computed, its figures count again.
    counter.post(at(cover, f"back/{last_event().pk}/"))
    assert 'data-figures="computed"' in counter.get(at(cover)).content.decode()


def test_a_computation_that_failed_says_so_and_can_be_asked_again(
    cover: Cover, signed_in: Browser
) -> None:
    counter = signed_in(Role.COUNTER)
    counter.post(at(cover, "compute/"), headers={"HX-Request": "true"})
    cover.refresh_from_db()
    assert cover.computation is not None
    cover.computation.state, cover.computation.error = State.FAILED, "The disk is full."
    cover.computation.save()
    page = counter.get(at(cover)).content.decode()
    assert "The disk is full." in page
    assert "Compute again" in page


def test_pages_ask_the_database_little(
    cover: Cover,
    signed_in: Browser,
    send: Send,
    domes: Domes,
    django_assert_max_num_queries: DjangoAssertNumQueries,
    settings: Settings,
) -> None:
    domes.measure()
    for i in range(2, 5):
        Cover.objects.create(
            job=cover.job,
            number=i,
            title=f"Alternative {i}",
            body=domes.revision,
            choices=cover.choices,
        )
    send("whole", "right")
    counter = signed_in(Role.COUNTER)
    number = cover.job.number
    for address in (
        at(cover, "?panel=left"),
        f"/jobs/{number}/cover/",
        f"/jobs/{number}/covers/",
        at(cover, "part/?panel=left"),
    ):
        with django_assert_max_num_queries(MOST_QUERIES):
            assert counter.get(address).status_code == 200


def test_the_sheet_alone_is_never_taken_for_the_page(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    page, sheet = counter.get(at(cover)), counter.get(at(cover), headers={"HX-Request": "true"})
    for answer in (page, sheet):
        # What an answer depends on is named, so that caches keep both apart (RFC 9110, 12.5.5).
        assert "HX-Request" in answer.headers["Vary"]
    assert b"<title>" in page.content
    assert b"<title>" not in sheet.content
