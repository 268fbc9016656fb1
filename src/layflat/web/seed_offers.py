"""Covers and offers of the invented workshop's jobs, made in the background once bodies are ready.

They come from real computations, so that every number in the demo is one that the program found.
Each step is done once and in a transaction of its own: whenever it is ended, it goes on from there
at the next start, and what somebody changed by hand in the meantime is left alone.
"""

import logging
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db import transaction

from layflat.base import LayflatError
from layflat.demo import sliding_door_line
from layflat.web.bodies.library import fill as fill_body
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices, PanelChoice, Point, to_json
from layflat.web.cover.models import Cover, Outcome
from layflat.web.cover.outcomes import ask_for, newest
from layflat.web.cover.outcomes import fill as fill_cover
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.walk_round import acknowledge
from layflat.web.offer.accepting import accept
from layflat.web.offer.making import Wanted, draft, keep_version, paper_of
from layflat.web.offer.money import OwnLine
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event

_INVENTED: Final = "invented with the workshop"
_NOSE: Final = (
    "bumper-front",
    "fender-left",
    "fender-right",
    "hood",
    "mirror-left",
    "mirror-right",
)
_LAMPS: Final = ("lamp-left", "lamp-right")
_DOORS: Final = ("door-left", "door-right")
_SLIDING: Final = "sliding-door-right"


@dataclass(frozen=True, kw_only=True)
class ToldCovers:
    """What is told of one invented job after its walk-round.

    Attributes:
        plate: of its vehicle.
        stage: where the job stands; once somebody moved it, it is left alone.
        covers: titles and the panels of each.
        own: lines of the offer beside film and work.
        message: to the customer.
        accepted: which alternative was accepted, from 1; 0 for none.
    """

    plate: str
    stage: Stage
    covers: tuple[tuple[str, tuple[str, ...]], ...]
    own: tuple[OwnLine, ...] = ()
    message: str = ""
    accepted: int = 0


TOLD_COVERS: Final = (
    ToldCovers(plate="LY 15 HQ", stage=Stage.ACCEPTED, covers=(("Lamps", _LAMPS),), accepted=1),
    ToldCovers(
        plate="LY 72 RT",
        stage=Stage.ACCEPTED,
        covers=(("Hood and lamps", ("hood", *_LAMPS)),),
        accepted=1,
    ),
    ToldCovers(
        plate="LY 31 PH",
        stage=Stage.OFFERED,
        covers=(("Nose only", _NOSE), ("Nose and doors", _NOSE + _DOORS)),
        message="The doors can also be laid on a second visit, at the same price.",
    ),
    ToldCovers(
        plate="LY 204 W",
        stage=Stage.ACCEPTED,
        covers=(("Hood, fenders, mirrors", tuple(n for n in _NOSE if n != "bumper-front")),),
        accepted=1,
    ),
    ToldCovers(
        plate="LY 880 B",
        stage=Stage.ACCEPTED,
        covers=(("Bumper and sliding door", ("bumper-front", _SLIDING)),),
        own=(OwnLine("Fetching the van and bringing it back", Decimal("40.00")),),
        accepted=1,
    ),
    ToldCovers(
        plate="LY 512 T",
        stage=Stage.OFFERED,
        covers=(("Doors", (*_DOORS, _SLIDING)),),
        message="For three vans in turn, each by itself.",
    ),
    ToldCovers(
        plate="LY 77 SO", stage=Stage.COVER, covers=(("Nose only", _NOSE), ("Hood", ("hood",)))
    ),
)
"""By the invented jobs of `seed`, in the order in which they are computed."""


def go_on() -> bool:
    """Do what can be done now; whether nothing is left to wait for."""
    shop, counter = the_shop(), Person.objects.filter(role=Role.COUNTER).first()
    waits = False
    for told in TOLD_COVERS:
        try:
            waits |= not _go_on_with(told, shop=shop, who=counter)
        except LayflatError as error:
            logging.getLogger(__name__).warning("%s: %s", told.plate, error)
    return not waits


def _go_on_with(told: ToldCovers, *, shop: Shop, who: Person | None) -> bool:
    """Go on with one job; whether nothing of it is left to wait for."""
    job = (
        Job.objects.select_related("vehicle__body__preparation")
        .filter(vehicle__plate=told.plate, stage=told.stage, offers=None)
        .first()
    )
    if job is None or job.vehicle.body is None:
        return True
    body = job.vehicle.body
    if not fill_body(body):
        return body.preparation is None or body.preparation.is_over
    covers = _covers(job, told, body, who=who)
    if [(cover.title, cover.version, cover.is_dropped) for cover in covers] != [
        (title, 1, False) for title, _ in told.covers
    ]:
        return True
    missing = [cover for cover in covers if _outcome(cover, who=who) is None]
    if missing:
        # One that failed or was stopped is somebody's to look at.
        return any(cover.computation and cover.computation.is_over for cover in missing)
    if told.stage != Stage.COVER:
        _offer(job, told, covers, shop=shop, who=who)
    return True


def _covers(job: Job, told: ToldCovers, body: Revision, *, who: Person | None) -> list[Cover]:
    """The job's covers, written down now if there are none."""
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        found = list(job.covers.select_related("computation", "body"))
        if found:
            return found
        for number, (title, panels) in enumerate(told.covers, start=1):
            choices = Choices(tuple(_choice(panel) for panel in panels))
            cover = Cover.objects.create(
                job=job, number=number, title=title, body=body, choices=to_json(choices)
            )
            write_event(
                "cover.begun",
                f"Alternative “{title}” was begun: {_INVENTED}.",
                who=who,
                job=job,
                after={"cover": number, "title": title, **cover.choices},
            )
        return list(job.covers.select_related("computation", "body"))


def _choice(panel: str) -> PanelChoice:
    """All of a panel, but the sliding door only up to its line."""
    if panel != _SLIDING:
        return PanelChoice(panel=panel)
    line, keep = sliding_door_line()
    points = tuple(_point(place) for place in line.round(2).tolist())
    return PanelChoice(panel=panel, line_mm=points, keep_mm=_point(keep.round(2).tolist()))


def _point(place: list[float]) -> Point:
    x, y, z = place
    return (x, y, z)


def _outcome(cover: Cover, *, who: Person | None) -> Outcome | None:
    """What computing a cover found; asks for it where nobody has."""
    if cover.computation is None:
        ask_for(cover, who=who)
    return newest(cover) or fill_cover(cover)


def _offer(
    job: Job, told: ToldCovers, covers: list[Cover], *, shop: Shop, who: Person | None
) -> None:
    """The offer of a job's covers, and the customer's yes where one is told."""
    customer = job.vehicle.customer.name
    wanted = Wanted(covers=tuple(c.pk for c in covers), own=told.own, message=told.message)
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        warned = [fault.number for fault in held.faults.all() if fault.is_open_warning]
        if warned:
            through = f"on the tablet, {_INVENTED}"
            acknowledge(held, warned, name=customer, who=who, through=through)
        # An accepted job stands where offers are made no more; it is there again below.
        held.stage = Stage.OFFERED
        made = draft(held, wanted, shop=shop, version=1)
        pdf = paper_of(made, shop=shop)
        offer = keep_version(held, wanted, made, pdf, shop=shop, who=who)
        if told.accepted:
            accept(
                held,
                seen=offer.sha256,
                alternative=told.accepted,
                name=customer,
                shop=shop,
                heard_by=who,
            )
        write_event("offer.told", f"Offer and covers were {_INVENTED}.", who=None, job=held)
