"""Jobs on their way through the bay, written row by row: accepted, cut, laid."""

import datetime
from collections.abc import Iterable, Sequence
from typing import Any

from django.utils import timezone

from layflat.web.cover.models import Outcome
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.gates.models import BayPlan, Kind, Step, Zone
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.models import Laying
from layflat.web.offer.canonical import sha256_of
from layflat.web.offer.content import vehicle_words
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.offer.words import panel_words
from layflat.web.people.models import Person, Shop
from layflat.web.stock.models import Movement, Roll
from web.covered import a_body, a_cover, a_job, an_outcome, kept

PANELS = ("hood", "door-left")


def an_accepted_job(
    number: str = "2031-0042", *, panels: Sequence[str] = PANELS, **job: Any
) -> tuple[Job, Outcome]:
    """A job whose customer accepted one cover, and the cover as it was computed."""
    found = a_job(number, body=a_body(f"Siskwing {number}"), **job)
    outcome = an_outcome(a_cover(found, panels=panels))
    shop = Shop(name="Lampwick Yard")
    panels_in_words = [panel_words([piece], shop) for piece in outcome.pieces.all()]
    chosen = {"title": "Nose only", "outcome": outcome.pk, "panels": panels_in_words}
    content = {"vehicle": vehicle_words(found), "alternatives": [chosen], "acknowledged": []}
    offer = Offer.objects.create(
        job=found,
        version=1,
        content=content,
        sha256=sha256_of(content),
        costs={},
        pdf=kept(b"%PDF-1.7", "offer.pdf", "application/pdf"),
        valid_until=datetime.date(2031, 12, 31),
    )
    offer.outcomes.add(outcome)
    Acceptance.objects.create(offer=offer, alternative=1, name="Perrin Oake", sha256=offer.sha256)
    Job.objects.filter(pk=found.pk).update(stage=Stage.ACCEPTED)
    found.refresh_from_db()
    return found, outcome


def a_roll(*, lot: str = "LW-7731", length_mm: int = 15_000, **values: Any) -> Roll:
    """A roll that came whole."""
    roll = Roll.objects.create(
        number=Roll.objects.count() + 1,
        film="Clear 150",
        lot=lot,
        width_mm=1524,
        left_mm=length_mm,
        received_on=datetime.date(2031, 4, 2),
        **values,
    )
    Movement.objects.create(roll=roll, delta_mm=length_mm, kind=Movement.Kind.RECEIVED)
    return roll


def some_cuts(
    job: Job,
    outcome: Outcome,
    *,
    roll: Roll | None = None,
    state: Cut.State = Cut.State.WEEDED,
    film_mm: int = 2000,
) -> list[Cut]:
    """Every piece of an outcome as one piece of film, in one section that is cut."""
    is_cut = state != Cut.State.PLACED
    layout = Layout.objects.create(
        job=job,
        number=job.layouts.count() + 1,
        outcome=outcome,
        roll=roll or a_roll(),
        pieces=[piece.number for piece in outcome.pieces.all()],
        state=Layout.State.CUT if is_cut else Layout.State.KEPT,
        used_mm=float(film_mm),
        bound_mm=film_mm * 0.9,
    )
    section = Section.objects.create(
        layout=layout,
        number=1,
        start_mm=0.0,
        end_mm=float(film_mm),
        film_mm=film_mm,
        state=Section.State.CUT if is_cut else Section.State.OPEN,
        cut_at=timezone.now() if is_cut else None,
    )
    return [
        Cut.objects.create(
            section=section,
            piece=piece,
            number=piece.number,
            attempt=piece.cuts.count() + 1,
            state=state,
        )
        for piece in outcome.pieces.all()
    ]


def laid(cut: Cut, *people: Person, way: Laying.Way = Laying.Way.LAID) -> Laying:
    """A piece of film that these people laid."""
    now = timezone.now()
    laying = Laying.objects.create(
        cut=cut, way=way, began_at=now - datetime.timedelta(minutes=20), ended_at=now
    )
    laying.people.set(people)
    Cut.objects.filter(pk=cut.pk).update(state=Cut.State.LAID)
    cut.refresh_from_db()
    return laying


def in_the_bay(job: Job, *, conditions: Iterable[str] = ()) -> None:
    """Put a job into the bay with the kinds of steps that other parts ask for, all open."""
    BayPlan.objects.create(job=job, conditions=list(conditions))
    kinds = (Kind.IRON, Kind.CUT, Kind.LAY, Kind.INSPECT, Kind.HAND_BACK)
    for place, kind in enumerate(kinds, start=1):
        Step.objects.create(
            job=job,
            key=kind.value,
            title=kind.label.capitalize(),
            position=place,
            kind=kind,
            zone=Zone.PAINT,
            needs=[kinds[place - 2].value] if place > 1 else [],
        )
    Job.objects.filter(pk=job.pk).update(stage=Stage.BAY)
    job.refresh_from_db()


def steps_done(job: Job, *kinds: Kind) -> None:
    """Have steps of some kinds done."""
    Step.objects.filter(job=job, kind__in=kinds).update(
        state=Step.State.DONE, began_at=timezone.now(), ended_at=timezone.now()
    )
