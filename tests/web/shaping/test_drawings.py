"""Drawings in: mended and said, asked and answered, kept once; patterns out as drawings."""

import io
from collections.abc import Callable

import ezdxf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from layflat.pattern import bounds, pattern_area_mm2, read_drawing
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Role, Shop
from layflat.web.shaping.brought import answer
from layflat.web.shaping.models import BroughtDrawing
from layflat.web.work.models import Computation
from web.shaping.brought import a_drawing, cap, dxf, finish

pytestmark = pytest.mark.on_sqlite
Browser = Callable[[Role], Client]


@pytest.fixture
def body(shop: Shop) -> Body:
    return Body.objects.create(maker="Tarnholm", name="Bramble")


def text_of(browser: Client, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_drawing_is_brought_mended_kept_once_and_handed_out_again(
    body: Body, signed_in: Browser, tmp_path
) -> None:
    counter = signed_in(Role.COUNTER)
    led_to, data = set(), dxf(cap)
    for _ in range(2):
        file = SimpleUploadedFile("cap.dxf", data)
        led_to.add(counter.post(f"/bodies/{body.pk}/drawing/", {"file": file})["Location"])
    (address,) = led_to
    brought = BroughtDrawing.objects.get()
    assert "The drawing is being read" in text_of(counter, address)
    assert counter.get(f"{address}ready/").headers.get("HX-Refresh") is None
    finish(brought.reading)
    assert counter.get(f"{address}ready/").headers["HX-Refresh"] == "true"
    shown = text_of(counter, address)
    assert "a gap of 0.3 mm" in shown
    assert "Keep this piece" in shown
    piece = Computation.objects.get().result["pieces"][0]
    wanted = {"piece": piece["pattern"], "title": "Mirror cap"}
    for _ in range(2):
        assert counter.post(f"{address}keep/", wanted)["Location"].startswith("/bodies/patterns/")
    kept = KeptRevision.objects.get()
    assert (kept.kept.name, kept.kept.title, kept.number) == ("mirror-cap", "Mirror cap", 1)
    assert (kept.origin, kept.source_id) == (Origin.DRAWING, brought.file_id)
    assert any(sentence.startswith("Mended: ") and "gap" in sentence for sentence in kept.said)
    # By hand: 240 x 140 less a circle of radius 10.
    pattern = pattern_of(kept)
    assert pattern_area_mm2(pattern) == pytest.approx(240 * 140 - 314.159265, abs=240 * 0.3)
    # Another piece of the same name is another piece only if somebody says so.
    other = a_drawing(
        body, dxf(lambda s: s.add_lwpolyline([(0, 0), (90, 0), (90, 50)], close=True))
    )
    (other_piece,) = other.reading.result["pieces"]
    wanted["piece"] = other_piece["pattern"]
    said = counter.post(f"/bodies/drawings/{other.pk}/keep/", wanted).content.decode()
    assert "has “Mirror cap” already" in said
    wanted |= {"instead": str(kept.kept_id), "title": ""}
    counter.post(f"/bodies/drawings/{other.pk}/keep/", wanted)
    assert KeptRevision.objects.get(number=2).kept_id == kept.kept_id

    # Out again: read by ezdxf with its own audit, and by our reader.
    out = counter.get(f"/bodies/patterns/revisions/{kept.pk}/pattern.dxf")
    assert out["Content-Disposition"] == 'attachment; filename="mirror-cap-1.dxf"'
    document = ezdxf.read(io.StringIO(out.content.decode()))
    assert not document.audit().errors
    for ending in ("dxf", "svg"):
        sent = counter.get(f"/bodies/patterns/revisions/{kept.pk}/pattern.{ending}")
        path = tmp_path / f"out.{ending}"
        path.write_bytes(sent.content)
        (again,) = read_drawing(path).patterns
        assert bounds(again.outline) == pytest.approx(bounds(pattern.outline), abs=1e-3)
        assert pattern_area_mm2(again) == pytest.approx(pattern_area_mm2(pattern), rel=1e-6)


def test_what_is_unsure_is_asked_and_nothing_is_kept_before(body: Body, signed_in: Browser) -> None:
    def square(space):
        return space.add_lwpolyline([(0, 0), (8, 0), (8, 6), (0, 6)], close=True)

    counter = signed_in(Role.COUNTER)
    brought = a_drawing(body, dxf(square, units=0))
    address = f"/bodies/drawings/{brought.pk}/"
    shown = text_of(counter, address)
    assert "What is unsure" in shown
    assert "Keep this piece" not in shown
    (question,) = brought.reading.result["questions"]
    (piece,) = brought.reading.result["pieces"]
    refused = counter.post(f"{address}keep/", {"piece": piece["pattern"], "title": "Badge"})
    assert "still asks something" in refused.content.decode()
    # An answer to another question, or none of the choices, changes nothing.
    for bad in (
        {"id-1": "gap@0,0", "answer-1": "in"},
        {"id-1": question["id"], "answer-1": "furlong"},
        {},
    ):
        said = counter.post(f"{address}answer/", bad, follow=True).content.decode()
        assert "Choose an answer" in said or "does not ask that" in said
    for _ in range(2):
        counter.post(f"{address}answer/", {"id-1": question["id"], "answer-1": "in"})
    brought.refresh_from_db()
    finish(brought.reading)
    (piece,) = brought.reading.result["pieces"]
    assert piece["size_mm"] == pytest.approx([8 * 25.4, 6 * 25.4])
    assert "What was unsure" in text_of(counter, address)
    counter.post(f"{address}keep/", {"piece": piece["pattern"], "title": "Badge"})
    assert any("Answered: " in sentence for sentence in KeptRevision.objects.get().said)
    counter.post(f"{address}anew/", {"answers": "forget"})
    brought.refresh_from_db()
    assert brought.answers == {}


def test_answers_stand_beside_those_that_were_given_before(body: Body) -> None:
    brought = a_drawing(body, dxf(cap))
    choices = [{"name": "in", "sentence": "Inches."}, {"name": "mm", "sentence": "Millimetres."}]
    asked = [{"id": name, "answer": None, "choices": choices} for name in ("unit", "layer")]
    for question, choice in (("unit", "mm"), ("layer", "in"), ("unit", "in")):
        brought.reading.result["questions"] = asked
        answer(brought, {question: choice}, who=None)
    brought.refresh_from_db()
    assert brought.answers == {"unit": "in", "layer": "in"}


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("cap.png", b"\x89PNG", "neither a .dxf nor an .svg"),
        ("cap.dxf", b"", "empty"),
        ("cap.dxf", b"no drawing at all", "cannot be used yet"),
        ("cap.svg", b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "No piece comes"),
        ("cap.svg", b'<!DOCTYPE svg [<!ENTITY a "ha">]><svg>&a;</svg>', "cannot be used yet"),
    ],
)
def test_what_is_no_drawing_is_refused_in_words(
    body: Body, signed_in: Browser, name: str, data: bytes, why: str
) -> None:
    counter = signed_in(Role.COUNTER)
    file = SimpleUploadedFile(name, data)
    answer = counter.post(f"/bodies/{body.pk}/drawing/", {"file": file})
    if answer.status_code == 302:
        brought = BroughtDrawing.objects.get()
        done = finish(brought.reading)
        error = done.error or done.result["refusal"]
        assert error
        assert "/tmp" not in error
        answer = counter.get(answer["Location"])
    assert why in answer.content.decode()


def test_an_installer_brings_no_drawings_but_may_take_one_out(
    body: Body, signed_in: Browser
) -> None:
    brought = a_drawing(body, dxf(cap))
    (piece,) = brought.reading.result["pieces"]
    signed_in(Role.COUNTER).post(
        f"/bodies/drawings/{brought.pk}/keep/", {"piece": piece["pattern"], "title": "Cap"}
    )
    installer = signed_in(Role.INSTALLER)
    assert installer.get(f"/bodies/{body.pk}/drawing/").status_code == 403
    kept = KeptRevision.objects.get()
    assert installer.get(f"/bodies/patterns/revisions/{kept.pk}/pattern.dxf").status_code == 200
