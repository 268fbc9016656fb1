"""Jobs on their way through the bay, written row by row: accepted, cut, laid."""

import datetime
from collections.abc import Iterable, Sequence
from typing import Any

from django.utils import timezone

from layflat.pattern import bounds, pattern_area_mm2
from layflat.web.cover.models import Outcome
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.patterns import pattern_files, read_patterns
from layflat.web.cutting.shapes import shapes_json
from layflat.web.cutting.stored import FORM
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
    Acceptance.objects.create(
        offer=offer, alternative=1, outcome=outcome, name="Perrin Oake", sha256=offer.sha256
    )
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


def as_found(cuts: Sequence[Cut]) -> None:
    """Give the layout of cuts, whose pieces have patterns, what a search and its programs leave."""
    layout = cuts[0].section.layout
    patterns = read_patterns(pattern_files(cut.piece for cut in cuts))
    x_mm, placements = 0.0, []
    for number, pattern in patterns.items():
        left, low, right, _ = bounds(pattern.outline)
        place = {"turn_deg": 0.0, "x_mm": x_mm - left + 10, "y_mm": 20 - low, "section": 0}
        placements.append({"piece": number, **place})
        x_mm += right - left + 10
    stock = {"edge_margin_mm": 20.0, "end_margin_mm": 5.0, "length_mm": None}
    found = {
        "form": FORM,
        "stock": {"width_mm": float(layout.roll.width_mm), **stock},
        "gap_mm": 4.0,
        "placements": placements,
        "sections": [[0.0, x_mm + 10]],
        "length_mm": x_mm + 10,
        "area_mm2": sum(pattern_area_mm2(one) for one in patterns.values()),
        "bound_mm": 0.9 * x_mm,
        "seed": 1,
        "seconds": 1.0,
        "notes": [],
    }
    shapes = kept(shapes_json(patterns), "shapes.json")
    Layout.objects.filter(pk=layout.pk).update(found=found, shapes=shapes)
    Section.objects.filter(pk=cuts[0].section_id).update(
        program=kept(b"IN;SP1;PU0,0;", "section-1.hpgl", "text/plain"),
        simulated=kept(b'{"lines": []}', "section-1.json"),
        seconds=75.0,
    )


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
