"""Laying and inspection on a job's page: how far they are, and every flag with how it ended."""

from typing import Any, Final

from django.db.models import Count, Q

from layflat.web.cutting.film import film_of
from layflat.web.cutting.models import Cut
from layflat.web.inspection.models import Flag
from layflat.web.inspection.open import flags_of
from layflat.web.jobs.models import Job, Stage

SHOWN_FROM: Final = (Stage.BAY, Stage.CHECKED, Stage.HANDED, Stage.CLOSED)


def read(job: Job) -> dict[str, Any]:
    """What "inspection/on_job.html" shows; three queries, none before the job is in the bay."""
    if job.stage not in SHOWN_FROM:
        return {"check_shown": False}
    film = film_of(job).aggregate(
        laid=Count("pk", filter=Q(state=Cut.State.LAID)),
        left=Count("pk", filter=~Q(state__in=(Cut.State.LAID, Cut.State.LOST))),
        lost=Count("pk", filter=Q(state=Cut.State.LOST)),
    )
    flags = flags_of(job)
    rounds = list(job.rounds.select_related("inspector"))
    return {
        "check_shown": bool(film["laid"] or film["left"] or flags or rounds),
        "check_film": film,
        "check_flags": flags,
        "check_open": sum(flag.state != Flag.State.ENDED for flag in flags),
        "check_rounds": rounds,
        "check_in_bay": job.stage in (Stage.BAY, Stage.CHECKED),
    }
