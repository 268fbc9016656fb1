"""A whole job of a body that has no scan: from a kept pattern to the passport.

The pattern's size is a closed form (see `web.patterns.drawn`), so what is cut and charged can be
held against it.
"""

import json
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.fixtures import Settings

from layflat.pattern import STRAIN_UNKNOWN, pattern_json
from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.models import Cover, Outcome
from layflat.web.cutting.film import good_cuts
from layflat.web.cutting.models import Cut
from layflat.web.cutting.ticking import tick_cut, tick_weeded
from layflat.web.files.store import path_of
from layflat.web.gates.models import Kind
from layflat.web.inspection import doing as inspecting
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying import doing as laying
from layflat.web.offer.accepting import accept
from layflat.web.offer.making import Wanted, draft, keep_version, last_version, paper_of
from layflat.web.patterns.keeping import keep
from layflat.web.people.models import Person, Role, Shop
from web.bayed import a_roll, in_the_bay, steps_done
from web.covered import a_job
from web.cutting.patterned import done, to_be_cut
from web.handback.rows import a_picture, give
from web.patterns.drawn import AREA_MM2, a_pattern

Browser = Callable[[Role], Client]
SAID = "One gap of 0.4 mm was closed."


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop.objects.create(
        name="Lampwick Yard",
        currency="EUR",
        film_per_metre=Decimal("62.00"),
        rate_per_hour=Decimal("78.00"),
    )


def kept(body: Body, who: Person, name: str = "mirror-cap", **more: Any) -> None:
    keep(
        body,
        name=name,
        title=name.replace("-", " ").capitalize(),
        pattern=a_pattern(name, **more),
        origin="photograph",
        exactness={"accuracy_mm": 0.8},
        said=[SAID],
        source=None,
        who=who,
    )


def looked(browser: Client, name: str, *values: object) -> str:
    """The words of a page, by its address or the address's name."""
    address = reverse(name, args=values) if values else name
    answer = browser.get(address)
    assert answer.status_code == 200, address
    return " ".join(answer.content.decode().split())


@pytest.mark.on_sqlite
def test_from_pattern_to_passport(
    signed_in: Browser, people: dict[Role, Person], shop: Shop, settings: Settings
) -> None:
    settings.LAYOUT_S = 0.4
    counter, installer = signed_in(Role.COUNTER), signed_in(Role.INSTALLER)
    body = Body.objects.create(maker="Tarnholm", name="Gorse")
    assert "Go on without a scan" in looked(counter, f"/bodies/{body.pk}/")
    for _ in range(2):
        counter.post(f"/bodies/{body.pk}/without-scan/")
    revision = Revision.objects.get(body=body, scan=None)
    assert "its pieces come from kept patterns" in looked(counter, f"/bodies/{body.pk}/")
    kept(body, people[Role.COUNTER])
    kept(body, people[Role.COUNTER], "sill", wide_mm=400.0)
    assert "They know no surface" in looked(counter, f"/bodies/{body.pk}/patterns/")

    for one in body.patterns.all():
        assert STRAIN_UNKNOWN in looked(counter, "patterns:pattern", one.pk)

    job = a_job(body=revision)
    cover = _chosen(counter, job)
    outcome = _computed(counter, cover)
    _offered(counter, job, cover, people, shop)

    roll = a_roll()
    layout = to_be_cut(job, roll, who=people[Role.INSTALLER])
    assert layout.used_mm < 600.0
    for what in ("labels", "weeding"):
        paper = counter.get(reverse(f"cutting:{what}", args=[job.number, layout.number]))
        assert (paper.status_code, paper.content[:4]) == (200, b"%PDF"), what
    now = timezone.now()
    for section in layout.sections.all():
        tick_cut(section, who=people[Role.INSTALLER], at=now)
        tick_weeded(
            section.cuts.select_related("section__layout__job", "piece", "weeded_by"),
            who=people[Role.INSTALLER],
            at=now,
        )
    in_the_bay(job)
    steps_done(job, Kind.IRON, Kind.CUT)
    bay = looked(installer, "bay:bay", job.number)
    assert "stretch unknown" in bay
    assert SAID in bay
    _laid(job, people[Role.INSTALLER])
    assert "On the vehicle in 3D" not in looked(installer, "bay:bay", job.number)
    _inspected(job, people[Role.OWNER])
    assert outcome.shown is None
    _handed_back(counter, job, people)


def _chosen(counter: Client, job: Job) -> Cover:
    """Begun with every kept pattern, one left bare, taken again, and left bare for good."""
    page = looked(counter, f"/jobs/{job.number}/cover/")
    assert "Every kept pattern" in page
    counter.post(f"/jobs/{job.number}/cover/begin/", {"start": "kept", "once": uuid.uuid4().hex})
    cover = job.covers.get()
    at = f"/jobs/{job.number}/cover/{cover.number}/"
    for kind, word in (("bare", "left bare"), ("kept", "covered by its kept"), ("bare", "bare")):
        page = looked(counter, at)
        answer = counter.post(
            f"{at}change/",
            {"kind": kind, "panel": "sill", "was": _seen(page, kind, "sill")},
            headers={"HX-Request": "true"},
        )
        assert word in answer.content.decode()
    refused = counter.post(
        f"{at}change/",
        {"kind": "edge", "panel": "mirror-cap", "name": "front", "finish": "wrap", "was": ""},
        headers={"HX-Request": "true"},
    )
    assert "has no edge “front”" in refused.content.decode()
    cover.refresh_from_db()
    assert [one["panel"] for one in cover.choices["panels"]] == ["mirror-cap"]
    page = looked(counter, at)
    assert "quick estimate" in page
    # Said of all kept patterns once, and of the piece in a word.
    assert "They know no surface" in page
    assert "stretch unknown" in page
    assert STRAIN_UNKNOWN not in page
    assert "viewer" not in page.split("<main", 1)[1]
    return cover


def _seen(page: str, kind: str, panel: str) -> str:
    """What the form of a change carries."""
    for form in page.split("<form")[1:]:
        if f'name="kind" value="{kind}"' in form and f'name="panel" value="{panel}"' in form:
            return form.split('name="was" value="', 1)[1].split('"', 1)[0]
    raise AssertionError((kind, panel))


def _computed(counter: Client, cover: Cover) -> Outcome:
    at = f"/jobs/{cover.job.number}/cover/{cover.number}/"
    counter.post(f"{at}compute/", headers={"HX-Request": "true"})
    cover.refresh_from_db()
    done(cover.computation)
    assert "computed" in looked(counter, at)
    outcome = cover.outcomes.get()
    piece = outcome.pieces.get()
    assert (piece.surface, piece.stretch, piece.over_finger) == (None, None, None)
    assert piece.effort == "flat"
    assert piece.pattern is not None
    # What is cut is what was kept, to the last bit.
    exact = json.loads(path_of(piece.pattern.sha256).read_bytes())
    assert exact == pattern_json(a_pattern("mirror-cap"))
    assert piece.area_mm2 == pytest.approx(AREA_MM2)
    fit = looked(counter, "fit:fit", cover.job.number, cover.number)
    assert "stretch unknown" in fit
    page = looked(counter, "fit:piece", cover.job.number, cover.number, piece.number)
    assert SAID in page
    assert "relief" not in page.split("<main", 1)[1]
    looked(counter, "cover:compare", cover.job.number)
    return outcome


def _offered(
    counter: Client, job: Job, cover: Cover, people: dict[Role, Person], shop: Shop
) -> None:
    job.refresh_from_db()
    asked, who = Wanted(covers=(cover.pk,)), people[Role.COUNTER]
    made = draft(job, asked, shop=shop, version=last_version(job) + 1)
    offer = keep_version(job, asked, made, paper_of(made, shop=shop), shop=shop, who=who)
    (item,) = offer.content["alternatives"]
    assert item["files"] == {}
    assert "flat template" in json.dumps(item["panels"])
    page = looked(counter, "offer:version", job.number, 1)
    assert "no picture of the vehicle" in page
    assert [(flat["piece"], flat["title"]) for flat in item["flats"]] == [(1, "Mirror cap")]
    address = reverse("offer:file", args=[job.number, item["outcome"], "flat-1.svg"])
    assert f'src="{address}"' in page
    drawn = counter.get(address)
    assert drawn.content.startswith(b"<svg")
    assert drawn.headers["Content-Security-Policy"].endswith("sandbox")
    assert counter.get(address.replace("flat-1", "flat-2")).status_code == 404
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        accept(held, seen=offer.sha256, alternative=1, name="Perrin Oake", shop=shop, heard_by=who)
    job.refresh_from_db()
    assert job.stage == Stage.ACCEPTED


def _laid(job: Job, who: Person) -> None:
    for cut in good_cuts(job):
        laying.begin(job, cut, hands=[who], who=who, at=timezone.now())
        laying.end(job, cut, hard="", picture=None, who=who, at=timezone.now())
    assert {cut.state for cut in good_cuts(job)} == {Cut.State.LAID}


def _inspected(job: Job, who: Person) -> None:
    now = timezone.now()
    inspecting.begin(job, own_work_because="", takes_over=False, who=who, at=now)
    for cut in good_cuts(job):
        inspecting.check(job, cut, who=who, at=now)
    steps_done(job, Kind.LAY)
    inspecting.finish(job, who=who, at=now)
    steps_done(job, Kind.INSPECT)


def _handed_back(counter: Client, job: Job, people: dict[Role, Person]) -> None:
    job.refresh_from_db()
    assert job.stage == Stage.CHECKED
    laid = good_cuts(job)[0].piece
    laid.details = {**laid.details, "correction": {"number": 3, "apart_mm": 0.0, "said": []}}
    laid.save(update_fields=["details"])
    a_picture(job, people[Role.COUNTER])
    give(counter, job)
    passport = job.passports.get()
    (piece,) = passport.content["pieces"]
    assert piece["kept"] == {
        "revision": 1,
        "from": "a photograph of a template",
        "exactness": [["Accuracy", "0.80\u00a0mm"]],
        "said": [SAID],
    }
    assert piece["correction"] == 3
    page = looked(counter, reverse("handback:passport", args=[job.number]))
    assert "its stretch was not known" in page
    assert "cut by revision 3 from fit notes of earlier cars" in page
