"""Templates by photograph in the app: brought, read, put right, kept; refusals lose nothing."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from shapely import Polygon

from layflat.base import InputError
from layflat.pattern import pattern_area_mm2, sample
from layflat.photo import PhotoError
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Role, Shop
from layflat.web.tracing.doing import leave_out, put_right
from layflat.web.tracing.models import Template
from layflat.web.tracing.page import shown
from web.shaping.brought import finish
from web.tracing.photographed import CAP, GAP_MM, HOLE, upload
from web.tracing.rows import a_template

pytestmark = pytest.mark.on_sqlite
Browser = Callable[[Role], Client]
HOW = {"rules": "1 = 200\n4 = 200,0", "tapes": "", "follow": "auto"}


@pytest.fixture
def body(shop: Shop) -> Body:
    return Body.objects.create(maker="Tarnholm", name="Bramble")


def text_of(browser: Client, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_template_is_photographed_put_right_and_kept(body: Body, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    assert "Template" in text_of(counter, f"/bodies/{body.pk}/photographs/")
    answer = counter.post(
        f"/bodies/{body.pk}/photographs/", {**HOW, "pictures": [upload(0), upload(1)]}
    )
    address = answer["Location"]
    template = Template.objects.get()
    assert template.readings == [
        {"sheet": 1, "mm": 200.0, "across": False}, {"sheet": 4, "mm": 200.0, "across": False},
    ]  # fmt: skip
    assert "The template is being read" in text_of(counter, address)
    assert counter.get(f"{address}ready/").headers.get("HX-Refresh") is None
    finish(template.reading)
    assert counter.get(f"{address}ready/").headers["HX-Refresh"] == "true"
    shown = text_of(counter, address)
    assert "How exact it is" in shown
    assert "One picture cannot show" not in shown
    # The pen left 5 mm out: that is the one place to look at, and it is where it was left out.
    result = template.reading.result
    (doubt,) = [each for curve in result["curves"] for each in curve["unsure"]]
    assert doubt["length_mm"] == pytest.approx(GAP_MM, abs=4.0)
    assert "1. " in shown

    before = template.reading_id
    counter.post(
        f"{address}right/", {"kind": "accepted", "points": " ".join(map(str, doubt["at"]))}
    )
    template.refresh_from_db()
    assert template.reading_id != before
    finish(template.reading)
    assert "Look here" not in text_of(counter, address)
    kept_to = counter.post(f"{address}keep/", {"title": "Mirror cap"})["Location"]
    assert kept_to.startswith("/bodies/patterns/")
    kept = KeptRevision.objects.get()
    assert (kept.origin, kept.kept.name) == (Origin.PHOTOGRAPH, "mirror-cap")
    pattern = pattern_of(kept)
    # True areas by the renderer's own outline; a line 0.1 mm off all round is 0.1 of its length.
    true = CAP.outline.area - HOLE.area
    assert pattern_area_mm2(pattern) == pytest.approx(true, abs=0.2 * CAP.outline.length)
    (hole,) = pattern.cut_outs
    assert Polygon(sample(hole, deviation_mm=0.02)).area == pytest.approx(HOLE.area, rel=0.01)
    assert "Mirror cap" in text_of(counter, kept_to)
    assert counter.get(f"{address}plane.jpg")["Content-Type"] == "image/jpeg"


def test_what_is_no_photograph_is_refused_and_nothing_is_kept(
    body: Body, signed_in: Browser
) -> None:
    counter = signed_in(Role.COUNTER)
    for files, words in (
        ([SimpleUploadedFile("a.jpg", b"no picture")], "no photograph that can be read"),
        ([], "Bring one to 8 pictures"),
    ):
        said = counter.post(f"/bodies/{body.pk}/photographs/", {**HOW, "pictures": files})
        assert words in said.content.decode()
    bad = counter.post(
        f"/bodies/{body.pk}/photographs/",
        {**HOW, "rules": "one is 200", "pictures": [SimpleUploadedFile("a.jpg", b"x")]},
    )
    assert "cannot be read; write as 1 = 200.2" in bad.content.decode()
    assert not Template.objects.exists()


def test_pictures_that_cannot_be_measured_stay_and_can_be_read_again(
    body: Body, signed_in: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_args: object, **_more: object) -> None:
        raise PhotoError("No frame was found; tape the sheets round the template.")

    monkeypatch.setattr("layflat.web.tracing.tasks.measure", refused)
    counter = signed_in(Role.COUNTER)
    counter.post(f"/bodies/{body.pk}/photographs/", {**HOW, "pictures": [upload(0)]})
    template = Template.objects.get()
    finish(template.reading)
    shown = text_of(counter, f"/bodies/photographs/{template.pk}/")
    assert "No frame was found" in shown
    assert "They are kept as they were brought" in shown
    refused_keep = counter.post(f"/bodies/photographs/{template.pk}/keep/", {"title": "Cap"})
    assert refused_keep.status_code == 302
    assert not KeptRevision.objects.exists()


@pytest.mark.parametrize(
    ("kind", "points", "words"),
    [
        ("bend it", [1.0, 2.0], "Choose what"),
        ("accepted", [], "Tap the place"),
        ("accepted", [1.0], "Tap the place"),
        ("through", [1.0, 2.0], "at least two places"),
        ("not a line", [float("nan"), 1.0], "not on the picture"),
        ("not a line", [1e9, 1.0], "not on the picture"),
    ],
)
def test_what_cannot_be_put_right_is_refused(
    body: Body, kind: str, points: list[float], words: str
) -> None:
    template = Template.objects.create(body=body)
    with pytest.raises(InputError, match=words):
        put_right(template, kind, points, who=None)
    template.refresh_from_db()
    assert template.corrections == []


def test_a_correction_counts_once_and_is_taken_back(body: Body) -> None:
    template = Template.objects.create(body=body)
    for _ in range(2):
        template = put_right(template, "not a line", [1.0, 2.0], who=None)
    template = put_right(template, "through", [1.0, 2.0, 3.0, 4.0], who=None)
    assert [one["kind"] for one in template.corrections] == ["not a line", "through"]
    with pytest.raises(InputError, match="Somebody put something else right"):
        leave_out(template, 1, seen=template.version - 1, who=None)
    template = leave_out(template, 1, seen=template.version, who=None)
    assert [one["kind"] for one in template.corrections] == ["through"]


def test_places_stay_where_they_were_tapped_when_a_rule_is_read_anew(body: Body) -> None:
    template = a_template(body)
    assert template.reading is not None
    template.reading.result["frame"]["scale"] = 1.01
    template.reading.save()
    template = put_right(template, "not a line", [101.0, -202.0], who=None)
    assert template.corrections[-1]["points"] == pytest.approx([100.0, -200.0])
    (_, shown_at) = shown(a_result(1.02), template.corrections)["righted"]
    assert shown_at.places == "102, -204 mm"


def a_result(scale: float) -> dict[str, Any]:
    """What a reading says with another scale."""
    frame = {"scale": scale, "scale_doubt": 0.003}
    return {"box": [0.0, 0.0, 10.0, 10.0], "places": [], "frame": frame}


def test_a_mark_that_may_be_a_hole_is_asked_about(body: Body, signed_in: Browser) -> None:
    template = a_template(body)
    address = f"/bodies/photographs/{template.pk}/"
    counter = signed_in(Role.COUNTER)
    shown_text = text_of(counter, address)
    assert "2. A mark or a hole?</strong> A dot of about 9 mm at 150, 60 mm" in shown_text
    assert "A hole, to be cut" in shown_text
    counter.post(f"{address}keep/", {"title": "Cap"})
    assert "1 mark may be cut out; nobody said which." in KeptRevision.objects.get().said
    counter.post(f"{address}right/", {"kind": "hole", "points": "150.0 60.0"})
    template.refresh_from_db()
    assert template.corrections[-1] == {"kind": "hole", "points": [150.0, 60.0]}


def test_the_frame_is_printed_from_the_page(shop: Shop, signed_in: Browser) -> None:
    del shop
    counter = signed_in(Role.COUNTER)
    sheets = counter.get("/bodies/photographs/frame-letter.pdf")
    assert sheets.content.startswith(b"%PDF")
    assert counter.get("/bodies/photographs/frame-a0.pdf").status_code == 404
