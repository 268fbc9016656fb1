"""Changing a cover by its page: tap by tap, two people, double taps, taking back, bad input."""

import re
from typing import Any

import pytest

from layflat.web.cover.choices import Choices
from layflat.web.cover.choosing import edge_seen, extent_seen, panel_seen
from layflat.web.cover.cuts import cuts_seen
from layflat.web.cover.models import Cover
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role, Shop
from layflat.web.record.models import Event
from web.cover.domes import Domes
from web.cover.the_page import (
    KEEP_TEXT,
    LINE_TEXT,
    Browser,
    Send,
    at,
    figures,
    last_event,
    now,
    said,
)
from web.covered import a_job


def test_each_kind_of_change_is_kept_and_written_down(send: Send, cover: Cover) -> None:
    line, keep = LINE_TEXT, KEEP_TEXT
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


def test_a_cut_is_taken_by_one_of_two_who_choose(send: Send, cover: Cover) -> None:
    send("whole", "left")
    seen = cuts_seen(now(cover), "left")
    path = "[[-130.0,-140.0,880.0],[-130.0,-100.0,880.0]]"
    assert "Left: relief cut 1 taken." in said(send("relief", "left", path=path, was=seen))
    left = now(cover).of("left")
    assert left is not None
    assert len(left.reliefs) == 1
    assert "changed the same" in said(send("no-relief", "left", path=path, was=seen))
    assert "1 relief cut" in send("wrap-free", "left").content.decode()
    away = "[[-130.0,-140.0,880.0],[-110.0,-90.0,890.0]]"
    send("move-relief", "left", path=path, to=away, was=cuts_seen(now(cover), "left"))
    left = now(cover).of("left")
    assert left is not None
    assert left.reliefs == (((-130.0, -140.0, 880.0), (-110.0, -90.0, 890.0)),)
    send("no-relief", "left", path=away, was=cuts_seen(now(cover), "left"))
    send("reliefs-again", "left", was=cuts_seen(now(cover), "left"))
    left = now(cover).of("left")
    assert left is not None
    assert (left.reliefs, left.refused_reliefs) == ((), ())


def test_a_seam_is_taken_given_up_and_proposed_again(send: Send, cover: Cover) -> None:
    send("whole", "left")
    path = "[[-130.0,-140.0,880.0],[-130.0,140.0,880.0]]"
    assert "Left: seam 1 taken." in said(
        send("seam", "left", path=path, was=cuts_seen(now(cover), "left"))
    )
    assert "1 seam" in send("wrap-free", "left").content.decode()
    seen = cuts_seen(now(cover), "left")
    send("no-seam", "left", path=path, was=seen)
    assert "changed the same" in said(send("seam", "left", path=path, was=seen))
    left = now(cover).of("left")
    assert left is not None
    assert (left.seams, len(left.refused_seams)) == ((), 1)
    send("seams-again", "left", was=cuts_seen(now(cover), "left"))
    left = now(cover).of("left")
    assert left is not None
    assert left.refused_seams == ()


def test_a_change_leads_back_to_the_page_it_came_from(signed_in: Browser, cover: Cover) -> None:
    client, there = signed_in(Role.COUNTER), at(cover, "fit/1/#cuts")
    change = {"kind": "whole", "panel": "left"}
    assert client.post(at(cover, "change/"), change | {"next": there})["Location"] == there
    for away in ("https://elsewhere.example/", ""):
        answer = client.post(at(cover, "change/"), change | {"next": away})
        assert answer["Location"] == at(cover, "?panel=left")


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
    ("relief", "left", {"path": "[[0,0,0]]"}, "two points"),
    ("relief", "left", {"path": ""}, "cannot be read"),
    ("relief", "left", {"path": "[[0,0,1e9],[0,0,0]]"}, "cannot be read"),
    ("no-relief", "right", {"path": "[[0,0,0],[0,9,0]]"}, "is bare"),
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
        (Stage.BAY, "The vehicle is in the bay"),
        (Stage.CHECKED, "The vehicle is in the bay"),
        (Stage.HANDED, "The vehicle is handed back"),
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
