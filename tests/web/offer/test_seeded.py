"""Covers and offers of the invented jobs: computed, made once, and nobody's work undone."""

import pytest
from django.db import transaction
from django.utils import timezone

from layflat.web import seed_offers
from layflat.web.bodies.models import Revision
from layflat.web.cover.models import Cover, Outcome
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.people.models import Person, Role, Shop
from layflat.web.seed import seed_jobs
from layflat.web.seed_offers import TOLD_COVERS, go_on
from layflat.web.work.models import Computation, State
from web.covered import a_body, an_outcome

pytestmark = pytest.mark.on_sqlite


@pytest.fixture
def bodies(
    shop: Shop, people: dict[Role, Person], monkeypatch: pytest.MonkeyPatch
) -> dict[str, Revision]:
    """The invented jobs with bodies that are not prepared yet; computations are asked for only."""
    made = {}
    for name in ("Siskwing", "Haulbeck"):
        body = a_body(name)
        preparation = Computation.objects.create(
            task="bodies.prepare", key=name, inputs={}, version="x", state=State.OPEN
        )
        Revision.objects.filter(pk=body.pk).update(light=None, preparation=preparation)
        made[f"Tarnholm {name}"] = body
    with transaction.atomic():
        seed_jobs(people, made)

    def ask(cover: Cover, *, who: Person) -> None:
        cover.computation = Computation.objects.create(
            task="cover.compute", key=f"asked {cover.pk}", inputs={}, version="x", state=State.OPEN
        )
        cover.save(update_fields=["computation"])

    monkeypatch.setattr(seed_offers, "ask_for", ask)
    return made


def prepared(bodies: dict[str, Revision]) -> None:
    for body in bodies.values():
        Revision.objects.filter(pk=body.pk).update(light=body.light)


def test_offers_follow_when_everything_is_computed(bodies: dict[str, Revision]) -> None:
    assert not go_on()
    assert not Cover.objects.exists()
    prepared(bodies)
    assert not go_on()
    assert {cover.title for cover in Cover.objects.all()} == {
        title for told in TOLD_COVERS for title, _ in told.covers
    }
    assert not Offer.objects.exists()
    stages = dict(Job.objects.values_list("number", "stage"))
    for cover in Cover.objects.all():
        an_outcome(cover)
    assert go_on()
    assert go_on()
    offered = [told for told in TOLD_COVERS if told.stage is not Stage.COVER]
    assert Offer.objects.count() == len(offered)
    assert Acceptance.objects.count() == sum(told.accepted > 0 for told in offered)
    # Every job stands where it stood, and says that this was invented.
    assert dict(Job.objects.values_list("number", "stage")) == stages
    for offer in Offer.objects.all():
        last = offer.job.events.last()
        assert last is not None
        assert last.sentence == "Offer and covers were invented with the workshop."
    repaint = Fault.objects.get(kind="repaint")
    assert repaint.acknowledged_by == "Pim Harrowgate"


def test_what_somebody_changed_is_left_alone(bodies: dict[str, Revision]) -> None:
    prepared(bodies)
    go_on()
    moved, renamed = (Job.objects.get(vehicle__plate=told.plate) for told in TOLD_COVERS[:2])
    Job.objects.filter(pk=moved.pk).update(stage=Stage.COVER)
    Cover.objects.filter(job=renamed).update(title="As we agreed", version=2)
    for cover in Cover.objects.all():
        an_outcome(cover)
    assert go_on()
    assert not Offer.objects.filter(job__in=[moved, renamed]).exists()
    offered = [told for told in TOLD_COVERS if told.stage is not Stage.COVER]
    assert Offer.objects.count() == len(offered) - 2


def test_a_cover_that_cannot_be_computed_is_not_waited_for(bodies: dict[str, Revision]) -> None:
    prepared(bodies)
    go_on()
    for cover in Cover.objects.exclude(job__vehicle__plate="LY 31 PH"):
        an_outcome(cover)
    assert not go_on()
    Computation.objects.filter(task="cover.compute", state=State.OPEN).update(
        state=State.FAILED, error="It cannot be.", ended_at=timezone.now()
    )
    assert go_on()
    assert Outcome.objects.exists()
