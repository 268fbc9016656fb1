"""A shop in which every address of the app shows something."""

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from PIL import Image

from layflat.web.cover import outcomes
from layflat.web.cover.choices import to_json
from layflat.web.cover.models import Cover
from layflat.web.cover.saved import save_cover
from layflat.web.diary.feeds import _token as feed_token
from layflat.web.diary.feeds import make as make_feed
from layflat.web.diary.models import Booking
from layflat.web.gates.models import Tool, Zone
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Fault, Job
from layflat.web.laying.models import Laying
from layflat.web.links.models import Purpose
from layflat.web.links.private import make, token_of
from layflat.web.offer.making import Wanted, draft, keep_version, last_version
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from layflat.web.seed import seed_jobs
from layflat.web.stock.booking import reserve
from layflat.web.work.models import Computation
from web.bayed import a_roll, as_found, laid, some_cuts
from web.cover.conftest import dome_folder, dome_memo, domes
from web.cover.domes import BOTH, Domes
from web.covered import a_job, kept
from web.exchanging.archived import an_archive
from web.handback.rows import a_checked_job, give
from web.noting.rows import a_correction
from web.sending.machined import a_machine
from web.shaping.brought import shaped
from web.tracing.rows import a_template
from web.week.rows import a_plan
from web.whole.places import Place, patterns

__all__ = ["dome_folder", "dome_memo", "domes"]
_COVERS, _FAULTS, _VERSIONS, _LINKS, _EVENTS = 4, 20, 3, 4, 60


@pytest.fixture
def whole(
    domes: Domes, shop: Shop, people: dict[Role, Person], monkeypatch: pytest.MonkeyPatch
) -> Callable[[str], Place]:
    """Gives each address its arguments, in a shop with several of everything.

    The job that they are of is offered, has covers that were really computed, and its walk-round
    has pictures. The other jobs are those of the invented workshop.
    """
    monkeypatch.setattr(outcomes, "LAYOUT_S", 1.0)
    who = people[Role.COUNTER]
    seed_jobs(people)
    domes.measure()
    job = a_job("2031-0042", body=domes.revision, plate="LW 204 K")
    photo = kept(_jpeg(), "fault.jpg", "image/jpeg")
    for number in range(1, _FAULTS + 1):
        Fault.objects.create(
            job=job,
            number=number,
            kind="repaint",
            panel="left",
            is_warning=True,
            photo=photo,
            thumb=photo,
            acknowledged_at=timezone.now(),
            acknowledged_by="Perrin Oake",
        )
    covers = [_computed(domes, job, number) for number in range(1, _COVERS + 1)]
    saved = save_cover(covers[0], title="Both sides", who=who)
    for _ in range(_VERSIONS):
        job.refresh_from_db()
        wanted = Wanted(covers=tuple(cover.pk for cover in covers))
        made = draft(job, wanted, shop=shop, version=last_version(job) + 1)
        offer = keep_version(job, wanted, made, b"%PDF-1.7 of a test", shop=shop, who=who)
    links = {
        purpose: [make(job, purpose, days=9, who=who) for _ in range(_LINKS)] for purpose in Purpose
    }
    changed = [
        Event.objects.create(
            job=job,
            who=who,
            by="Corin",
            kind="job.changed",
            sentence=f"Change {number}",
            before={"part": "hold", "values": {}},
            after={"part": "hold", "values": {}, "version": 1},
        )
        for number in range(_EVENTS)
    ]
    a_feed = make_feed(people[Role.INSTALLER], who=people[Role.INSTALLER])
    a_booking = Booking.objects.create(
        job=job,
        work="wash",
        starts_at=timezone.now(),
        ends_at=timezone.now() + timezone.timedelta(hours=2),
    )
    a_tool = Tool.objects.create(name="blue mitt 1", zone=Zone.PAINT)
    outcome = covers[0].outcomes.get()
    roll = a_roll()
    reserve(roll, job, 2_000, who=who)
    cuts = some_cuts(job, outcome, roll=roll)
    as_found(cuts)
    laying = laid(cuts[0], people[Role.INSTALLER])
    Laying.objects.filter(pk=laying.pk).update(photo=photo, thumb=photo)
    Flag.objects.create(
        job=job,
        number=1,
        cut=cuts[0],
        kind="finger",
        remedy=Flag.Remedy.RELAY,
        photo=photo,
        thumb=photo,
        found_at=timezone.now(),
        found_by=who,
    )
    corrected = a_correction(cuts[0], people[Role.INSTALLER])
    revision = domes.revision
    photographed = a_template(revision.body)
    received = an_archive(revision.body)
    plan = a_plan(job, outcome, roll)
    common = {
        "number": job.number,
        "cover": 1,
        "outcome": outcome.number,
        "piece": 1,
        "roll": roll.pk,
        "layout": 1,
        "section": 1,
        "lot": roll.lot,
        "fault": 1,
        "version": offer.version,
        "place": 1,
        "what": "picture.png",
        "part": "wishes",
        "sha256": photo.sha256,
        "saved": saved.pk,
        "event": changed[-1].pk,
        "link": links[Purpose.OFFER][0].pk,
        "key": people[Role.INSTALLER].pk,
        "pk": revision.pk,
        "booking": a_booking.pk,
        "feed": feed_token(bytes.fromhex(a_feed.nonce)),
        "step": "dry",
        "tool": a_tool.pk,
        "machine": a_machine().pk,
        "plan": plan.number,
        "token": token_of(links[Purpose.OFFER][0]),
        **(flat := shaped(revision.body)),
    }
    special = {
        "exchanging:give": {"pk": revision.body_id},
        "exchanging:file": {"pk": revision.body_id},
        **{name: {"pk": received.pk} for name in ("exchanging:received", "exchanging:know")},
        **{name: {"pk": corrected.pk} for name in ("noting:picture", "noting:settle")},
        **{
            f"noting:{name}": {"pk": revision.body_id, "piece": corrected.piece}
            for name in ("body", "piece", "make", "back", "ready")
        },
        "tracing:new": {"pk": revision.body_id},
        "tracing:frame": {"paper": "a4"},
        **{
            f"tracing:{name}": {"template": photographed.pk}
            for name in ("anew", "drop", "keep", "plane", "ready", "right", "template")
        },
        "shaping:drawing": {"pk": revision.body_id},
        "shaping:other-car": {"pk": revision.body_id},
        "shaping:found": {"pk": revision.body_id},
        "shaping:found-ready": {"pk": revision.body_id},
        "shaping:edges": {"pk": flat["flat"]},
        "shaping:change": {"pk": flat["flat"]},
        "patterns:of-body": {"pk": revision.body_id},
        "patterns:pattern": {"pk": flat["flat"]},
        "patterns:retire": {"pk": flat["flat"]},
        "patterns:picture": {"pk": flat["kept"]},
        "bodies:without-scan": {"pk": revision.body_id},
        "bodies:body": {"pk": revision.body_id},
        "bodies:edit": {"pk": revision.body_id},
        "bodies:retire": {"pk": revision.body_id},
        "bodies:scan": {"pk": revision.body_id},
        "bodies:revision": {"pk": revision.body_id, "number": 1},
        "links:warnings": {"token": token_of(links[Purpose.WARNINGS][0])},
        "links:picture": {"token": token_of(links[Purpose.WARNINGS][0])},
        "offer:file": {"outcome": outcome.pk},
        "work:progress": {"pk": outcome.computation_id},
        "diary:place": {"place": 1},
        "diary:revoke": {"link": a_feed.pk},
        "work:stop": {"pk": outcome.computation_id},
    }
    special |= _handed_back(people)
    return lambda name: Place(name, common | special.get(name, {}))


def _handed_back(people: dict[Role, Person]) -> dict[str, dict[str, Any]]:
    """Another job, whose car is handed back; what the addresses of its record need."""
    job = a_checked_job(people, "2031-0077")
    browser = Client()
    browser.force_login(people[Role.COUNTER])
    assert give(browser, job).status_code == 302
    values = {
        "number": job.number,
        "version": 1,
        "key": job.final_pictures.get().pk,
        "what": "small.jpg",
        "sha256": job.passports.get().content["pictures"][0]["sha256"],
        "token": token_of(job.links.get()),
    }
    return {name: values for name in patterns() if name.startswith("handback:")}


def _jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "#445566").save(out, "JPEG")
    return out.getvalue()


def _computed(domes: Domes, job: Job, number: int) -> Cover:
    cover = Cover.objects.create(
        job=job,
        number=number,
        title=f"Alternative {number}",
        body=domes.revision,
        choices=to_json(BOTH),
    )
    domes.finish(outcomes.ask_for(cover, who=None))
    Computation.objects.update(began_at=timezone.now(), ended_at=timezone.now())
    cover.refresh_from_db()
    assert outcomes.fill(cover) is not None
    return cover
