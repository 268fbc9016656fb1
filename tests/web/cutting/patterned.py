"""Accepted jobs whose pieces have small patterns, and layouts of them in every state."""

import itertools
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.db import transaction
from django.utils import timezone

from layflat.base import silent
from layflat.nest import Stock
from layflat.pattern import Pattern, bounds, pattern_area_mm2, pattern_json
from layflat.web.cover.models import Outcome, Piece
from layflat.web.cover.order import EDGE_MARGIN_MM, END_MARGIN_MM, GAP_MM
from layflat.web.cutting import keeping, starting
from layflat.web.cutting.models import Layout, Section, number_in_layout
from layflat.web.cutting.planned import Part, keep_planned_layout
from layflat.web.cutting.stored import FORM, stock_json
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person
from layflat.web.stock.models import Roll
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find
from nest.pieces import HOOK, piece, rectangle
from web.bayed import a_roll, an_accepted_job
from web.covered import kept

HOLE = [(150, 60), (150, 140), (250, 140), (250, 60)]
HOOD = piece([(0, 0), (900, 0), (900, 400), (0, 400)], name="hood", holes=[HOLE])
CAP = piece([(4 * x, 4 * y) for x, y in HOOK], name="mirror-left")
PATTERNS: Mapping[str, Pattern] = {
    "hood": HOOD,
    "mirror-left": CAP,
    "door-left": rectangle(700, 500, name="door-left"),
    # Across a roll of 1524 mm it does not fit, so it lies along it.
    "roof": rectangle(400, 1500, name="roof"),
}


def a_pattern_file(pattern: Pattern) -> StoredFile:
    data = json.dumps(pattern_json(pattern)).encode()
    return kept(data, f"{pattern.name}.json")


def a_job(number: str = "2031-0042", *names: str, **job: Any) -> tuple[Job, Outcome]:
    """An accepted job whose pieces, the hood and the mirror cap or those named, can be cut."""
    panels = names or ("hood", "mirror-left")
    found, outcome = an_accepted_job(number, panels=panels, **job)
    for one in outcome.pieces.all():
        pattern = a_pattern_file(PATTERNS[one.panel])
        Piece.objects.filter(pk=one.pk).update(pattern=pattern, title=one.panel.capitalize())
    return found, outcome


def begun(
    job: Job,
    roll: Roll | None = None,
    *numbers: int,
    who: Person | None = None,
    seconds: int = 20,
    first: Sequence[int] = (),
) -> Layout:
    """A search that was asked for and has not begun."""
    stock = roll or a_roll()
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        return starting.begin(
            held, roll=stock.pk, numbers=numbers, seconds=seconds, who=who, first=first
        )


def done(computation: Computation | None) -> None:
    """Run what was asked for, here, as a worker would."""
    assert computation is not None
    result = find(computation.task).run(computation.inputs, silent)
    Computation.objects.filter(pk=computation.pk).update(
        state=State.DONE, result=result, ended_at=timezone.now()
    )


def searched(job: Job, roll: Roll | None = None, *numbers: int, **more: Any) -> Layout:
    """A layout whose search is over."""
    layout = begun(job, roll, *numbers, **more)
    done(layout.computation)
    layout.refresh_from_db()
    return layout


def chosen(layout: Layout, *, who: Person | None = None) -> Layout:
    """Choose a layout to be kept; its programs are asked for."""
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=layout.job_id)
        keeping.keep(layout, who=who)
    return layout


def to_be_cut(
    job: Job,
    roll: Roll | None = None,
    *numbers: int,
    who: Person | None = None,
    first: Sequence[int] = (),
) -> Layout:
    """A layout that is kept, with programs, sections and pieces of film."""
    layout = chosen(searched(job, roll, *numbers, who=who, first=first), who=who)
    done(layout.computation)
    return Layout.objects.select_related("job", "roll").get(pk=layout.pk)


def only_section(layout: Layout) -> Section:
    return layout.sections.select_related("layout__job", "layout__roll").get()


def turned(pattern: Pattern, name: str) -> Pattern:
    """The same shape under another name."""
    return replace(pattern, name=name)


def shared(
    jobs: Sequence[Job], roll: Roll, *, has_programs: bool = True, ends: Collection[int] = ()
) -> Layout:
    """A layout that several jobs share, all their pieces one behind the other.

    It is one section, or another begins behind each piece that *ends* counts, from 1.
    """
    stock = Stock(
        width_mm=float(roll.width_mm),
        edge_margin_mm=EDGE_MARGIN_MM,
        end_margin_mm=END_MARGIN_MM,
        length_mm=float(roll.left_mm),
    )
    at_mm, area, placements, parts = END_MARGIN_MM, 0.0, [], []
    bounds_mm = [0.0]
    for letter, job in zip("ABC", jobs, strict=False):
        pieces = list(accepted_outcome(job).pieces.all())
        parts.append(Part(job=job, letter=letter, pieces=tuple(one.number for one in pieces)))
        for one in pieces:
            pattern = PATTERNS[one.panel]
            left, low, right, _ = bounds(pattern.outline)
            placements.append(
                {
                    "piece": number_in_layout(letter, one.number),
                    "section": len(bounds_mm) - 1,
                    "turn_deg": 0.0,
                    "x_mm": at_mm - left,
                    "y_mm": EDGE_MARGIN_MM - low,
                }
            )
            at_mm += right - left + GAP_MM
            area += pattern_area_mm2(pattern)
            if len(placements) in ends:
                bounds_mm.append(at_mm - GAP_MM + END_MARGIN_MM)
                at_mm = bounds_mm[-1] + END_MARGIN_MM
    length = at_mm - GAP_MM + END_MARGIN_MM
    bounds_mm.append(length)
    found = {
        "form": FORM,
        "stock": stock_json(stock),
        "gap_mm": GAP_MM,
        "placements": placements,
        "sections": [list(pair) for pair in itertools.pairwise(bounds_mm)],
        "length_mm": length,
        "area_mm2": area,
        "bound_mm": area / stock.width_mm,
        "seed": 0,
        "seconds": 1.0,
        "notes": [],
    }
    with transaction.atomic():
        list(Job.objects.select_for_update().filter(pk__in=[job.pk for job in jobs]))
        layout = keep_planned_layout(parts, roll, found=found, plan="Plan 1", who=None)
    if has_programs:
        done(layout.computation)
    return Layout.objects.select_related("job", "roll").get(pk=layout.pk)
