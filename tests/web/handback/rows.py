"""Jobs that are ready to be handed back, and what is entered to do it."""

import datetime
import io
import uuid
from typing import Any

from django.db import transaction
from django.test import Client
from django.utils import timezone
from PIL import Image

from layflat.web.cover.models import Piece
from layflat.web.gates.models import Kind
from layflat.web.handback.content import HANDED
from layflat.web.handback.facts import Given
from layflat.web.handback.giving import hand_back, read_taken
from layflat.web.handback.models import FinalPicture
from layflat.web.handback.passports import draft
from layflat.web.handback.pictures import add_picture
from layflat.web.handback.signature import sha256_of
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.pictures import read_picture
from layflat.web.jobs.views.common import locked_job
from layflat.web.links.private import new_nonce
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop
from web.bayed import an_accepted_job, in_the_bay, laid, some_cuts, steps_done
from web.covered import kept

STROKES = "[[[100,180],[300,60],[420,240]],[[500,200],[520,210]]]"
WORK = (Kind.IRON, Kind.CUT, Kind.LAY, Kind.INSPECT)


def jpeg(colour: str = "#445566", size: tuple[int, int] = (90, 60)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


def a_picture(
    job: Job, who: Person, caption: str = "From the front", *, colour: str = "#445566"
) -> FinalPicture:
    return add_picture(job, read_picture(io.BytesIO(jpeg(colour))), caption=caption, who=who)


def a_checked_job(people: dict[Role, Person], number: str = "2031-0042", *, own: str = "") -> Job:
    """Laid by the installer, checked by the owner (by the installer where *own* says why)."""
    job, outcome = an_accepted_job(number)
    Piece.objects.filter(outcome=outcome).update(pattern=kept(b'{"pattern": 1}', "pattern.json"))
    in_the_bay(job)
    inspector = people[Role.INSTALLER] if own else people[Role.OWNER]
    now = timezone.now()
    found = Round.objects.create(
        job=job, number=1, inspector=inspector, own_work_because=own, began_at=now, ended_at=now
    )
    for cut in some_cuts(job, outcome):
        laid(cut, people[Role.INSTALLER])
        Check.objects.create(round=found, cut=cut, at=now)
    steps_done(job, *WORK)
    Job.objects.filter(pk=job.pk).update(stage=Stage.CHECKED)
    job.refresh_from_db()
    a_picture(job, people[Role.COUNTER])
    return job


def a_flag(job: Job, who: Person, **values: Any) -> Flag:
    """A flag on the first piece; open unless said otherwise."""
    from layflat.web.cutting.film import good_cuts

    return Flag.objects.create(
        **{
            "job": job,
            "number": job.flags.count() + 1,
            "cut": good_cuts(job)[0],
            "kind": "water pocket",
            "size_mm": 3.5,
            "remedy": Flag.Remedy.WAIT,
            "found_at": timezone.now(),
            "found_by": who,
            **values,
        }
    )


def noted(job: Job, who: Person) -> Flag:
    """A flag that was left to clear."""
    return a_flag(
        job,
        who,
        state=Flag.State.ENDED,
        ended_at=timezone.now(),
        ended_by=who,
        ended_how="noted, seen at the follow-up",
    )


def entered(**changes: Any) -> dict[str, Any]:
    """What is typed and drawn to hand a car back, with a token of its own."""
    due = timezone.now().date() + datetime.timedelta(days=12)
    values = {
        "once": uuid.uuid4().hex,
        "care": "yes",
        "name": "Perrin Oake",
        "signed": "screen",
        "strokes": STROKES,
        "because": "",
        "due": due.isoformat(),
    }
    return {**values, **changes}


def give(browser: Client, job: Job, **changes: Any) -> Any:
    return browser.post(f"/jobs/{job.number}/hand-back/give/", entered(**changes))


def give_inside(job: Job, who: Person) -> None:
    """Hand a car back without a browser."""
    at, shop = timezone.now(), the_shop()
    taken = read_taken(
        name="Perrin Oake",
        signed="screen",
        strokes=STROKES,
        because="",
        care=True,
        due_on=at.date() + datetime.timedelta(days=12),
    )
    now = Given(
        name=taken.name,
        signature=sha256_of(taken.signature),
        on_paper_because="",
        by=who.shown,
        at=at,
    )
    made = draft(job, now, because=HANDED, shop=shop, address="", at=at)
    with transaction.atomic():
        hand_back(locked_job(job.number), taken, made, nonce=new_nonce(), shop=shop, who=who)
