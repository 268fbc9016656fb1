"""What a job's page says of its hand-back, and what is next of it."""

from typing import Any

from django.db.models import OuterRef, Subquery
from django.urls import reverse

from layflat.web.gates.elsewhere import Elsewhere
from layflat.web.handback.missing import missing
from layflat.web.handback.models import FollowUp, HandBack, Passport
from layflat.web.handback.passports import hand_back_of
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import Step
from layflat.web.people.models import Person


def read(job: Job) -> dict[str, Any]:
    """How the job was handed back, for `handback/on_job.html`; one query once it is checked."""
    if job.stage not in (Stage.CHECKED, Stage.HANDED, Stage.CLOSED):
        return {"handed": None}
    newest = Passport.objects.filter(job=OuterRef("job")).order_by("-version")
    visits = FollowUp.objects.filter(job=OuterRef("job"), came_at=None, cancelled_because="")
    found = (
        HandBack.objects.select_related("who")
        .annotate(
            version=Subquery(newest.values("version")[:1]),
            sha256=Subquery(newest.values("sha256")[:1]),
            due_on=Subquery(visits.values("due_on")[:1]),
        )
        .filter(job=job)
        .first()
    )
    if found is None and job.stage != Stage.CHECKED:
        return {"handed": None}
    return {"handed": {"hand_back": found}}


def next_when_checked(_job: Job) -> Step | None:
    """Handing the car back."""
    return Step(
        "Checked by somebody else, without an open flag; hand the car back.",
        "Hand the car back",
        "handback:hand-back",
    )


def next_when_handed(_job: Job) -> Step | None:
    """The follow-up visit."""
    return Step(
        "Handed back; see the car again at the follow-up visit, then close the job.",
        "To the visit",
        "handback:follow-up",
        waits_for="Follow up",
    )


def where_handed_back(job: Job, who: Person) -> Elsewhere:
    """Where the step of handing back is done."""
    return Elsewhere(
        says="On its own page, with pictures, care and a signature; it ends by itself there."
        if who.keeps_counter
        else "The counter hands the car back; everybody takes pictures there.",
        action="To the hand-back" if who.keeps_counter else "To the pictures",
        address=reverse("handback:hand-back", args=[job.number]),
    )


def not_handed(job: Job) -> str:
    """Why the step of handing back is not done yet, in a sentence, or ""."""
    if hand_back_of(job) is not None:
        return ""
    lacks = missing(job)
    first = f" {lacks[0].says}" if lacks else ""
    return f"The car is handed back on the page of that name, with a signature.{first}"
