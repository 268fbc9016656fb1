"""A shop's bay: cars with steps, flags and rounds; its calendar; the taps of ten years."""

import datetime
import random
import uuid
from collections.abc import Iterator
from typing import Any

IN_BAY, BOOKINGS, TAPS, TOOLS = 200, 5_000, 50_000, 40
_BATCH = 5_000


def seed_bay() -> None:
    """Jobs with computed covers in the bay, all laid and some flagged; bookings, tools, taps."""
    from django.db import transaction
    from django.utils import timezone

    from layflat.web.cutting.models import Cut
    from layflat.web.diary.models import Booking
    from layflat.web.diary.suggest import places
    from layflat.web.gates.models import BayPlan, Kind, Step, Tool, Zone
    from layflat.web.gates.planning import steps_for
    from layflat.web.inspection.models import Check, Flag, Round
    from layflat.web.jobs.models import Job, Stage
    from layflat.web.people.models import Person
    from layflat.web.taps.models import Tap

    dice, now = random.Random(7), timezone.now()
    people, minute = list(Person.objects.all()), datetime.timedelta(minutes=1)
    with transaction.atomic():
        jobs = list(Job.objects.filter(layouts__isnull=False).order_by("-pk")[:IN_BAY])
        Job.objects.filter(pk__in=[job.pk for job in jobs]).update(stage=Stage.BAY)
        _insert(BayPlan, (BayPlan(job=job, conditions=[]) for job in jobs))
        usual = steps_for(())

        def steps() -> Iterator[Any]:
            for job in jobs:
                laid = max(step.position for step in usual if step.kind == Kind.LAY)
                for step in steps_for((), job=job):
                    if step.position <= laid:
                        step.state = Step.State.DONE
                        step.began_at = step.ended_at = now - 900 * minute
                        step.began_by = step.ended_by = people[0]
                    yield step

        _insert(Step, steps())
        cuts: dict[int, list[Any]] = {}
        for cut in Cut.objects.filter(section__layout__job__in=jobs).select_related(
            "section__layout"
        ):
            cuts.setdefault(cut.section.layout.job_id, []).append(cut)
        rounds = _insert(
            Round,
            (Round(job=job, number=1, inspector=people[0], began_at=now) for job in jobs),
        )
        _insert(
            Check,
            (
                Check(round=round_, cut=cut, at=now)
                for round_ in rounds
                for cut in cuts[round_.job_id][::2]
            ),
        )
        _insert(
            Flag,
            (
                Flag(
                    job_id=key,
                    number=number,
                    cut=cut,
                    kind="lifted edge",
                    remedy=Flag.Remedy.PRESS,
                    state=dice.choice([Flag.State.OPEN, Flag.State.MENDED, Flag.State.ENDED]),
                    found_at=now,
                    found_by=people[0],
                    mended_at=now,
                    mended_by=people[1],
                    ended_at=now,
                    ended_by=people[0],
                    ended_how="gone",
                )
                for key, found in cuts.items()
                for number, cut in enumerate(found, start=1)
            ),
        )
        _insert(Tool, (Tool(name=f"mitt {i}", zone=Zone.PAINT) for i in range(TOOLS)))
        every = list(Job.objects.values_list("pk", flat=True))
        here = places()
        _insert(
            Booking,
            (
                Booking(
                    job_id=dice.choice(every),
                    work="lay",
                    place=dice.choice(here),
                    starts_at=now + (i - BOOKINGS + 60) * 60 * minute,
                    ends_at=now + ((i - BOOKINGS + 60) * 60 + 180) * minute,
                )
                for i in range(BOOKINGS)
            ),
        )
        _insert(
            Tap,
            (
                Tap(
                    key=uuid.UUID(int=i).hex,
                    act="gates.done",
                    job_id=dice.choice(every),
                    who=people[0],
                    tapped_at=now,
                    state=Tap.State.REFUSED if i < 5 else Tap.State.DONE,
                    says="Done.",
                )
                for i in range(TAPS)
            ),
        )


def _insert(model: Any, rows: Iterator[Any]) -> list[Any]:
    return list(model.objects.bulk_create(rows, batch_size=_BATCH))
