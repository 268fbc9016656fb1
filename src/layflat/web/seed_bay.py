"""The invented workshop's bay: one car that is being laid, and one that was handed back.

Their film is laid out, cut, laid and checked by the same functions that people's taps reach, in the
background once their offers are accepted. Each step is done once and in a transaction of its own,
so that it goes on wherever it was ended; a job that somebody took on by hand is left alone.
"""

import datetime
import logging
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from django.db import connections, transaction
from django.utils import timezone

from layflat.base import LayflatError
from layflat.web import seed_offers
from layflat.web.cutting.film import good_cuts
from layflat.web.cutting.keeping import keep
from layflat.web.cutting.models import Cut, Layout
from layflat.web.cutting.starting import SECONDS, begin
from layflat.web.cutting.ticking import tick_cut, tick_weeded
from layflat.web.diary.booking import Wanted, place
from layflat.web.diary.hours import hours_of
from layflat.web.diary.suggest import minutes_of, next_free, places, taken_from
from layflat.web.diary.works import durations
from layflat.web.files.store import path_of
from layflat.web.gates.doing import done, finish_kind
from layflat.web.gates.dwells import put_on, rinsed
from layflat.web.gates.models import Kind, Step
from layflat.web.gates.planning import plan
from layflat.web.handback.content import HANDED
from layflat.web.handback.facts import Given
from layflat.web.handback.giving import Taken, hand_back
from layflat.web.handback.passports import draft
from layflat.web.handback.pictures import add_picture
from layflat.web.inspection import doing as inspecting
from layflat.web.inspection.ending import end_gone
from layflat.web.inspection.flags import Seen, mend, note_flag
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.pictures import read_picture
from layflat.web.laying import doing as laying
from layflat.web.links.private import new_nonce
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop
from layflat.web.stock.models import Roll

_BY_COUNTER: Final = ("intake", "inspect", "hand-back")
_LOOK_EVERY_S: Final = 2.0
_MINUTE: Final = datetime.timedelta(minutes=1)
_LAID_BY_NOW: Final = 1


@dataclass(frozen=True, kw_only=True)
class ToldBay:
    """What is told of one invented job once its offer is accepted.

    Attributes:
        plate: of its vehicle.
        days_ago: when its work began.
        is_handed_back: whether all of it was done since, or it stands in the bay being laid.
    """

    plate: str
    days_ago: int
    is_handed_back: bool


TOLD_BAY: Final = (
    ToldBay(plate="LY 15 HQ", days_ago=9, is_handed_back=True),
    ToldBay(plate="LY 72 RT", days_ago=1, is_handed_back=False),
)
"""By the invented jobs of `seed`."""
_TOLD_CALENDAR: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {"LY 72 RT": ("intake", "wash", "cut"), "LY 204 W": ()}
)
"""Plates of the jobs that are placed in the calendar, and which works of theirs are done."""


@dataclass(frozen=True)
class _Crew:
    owner: Person
    counter: Person
    installer: Person


def go_on_until_done() -> None:
    """Make offers and what follows from them, and wait in between; for a thread of its own."""
    pause = threading.Event()
    try:
        # Both at every turn: what is accepted early is in the bay before the last offer is made.
        while not all([seed_offers.go_on(), go_on()]):
            pause.wait(_LOOK_EVERY_S)
    finally:
        connections.close_all()


def go_on() -> bool:
    """Do what can be done now; whether nothing is left to wait for."""
    staff = [Person.objects.filter(role=role).order_by("pk").first() for role in Role]
    owner, counter, installer = staff
    if owner is None or counter is None or installer is None:
        return True
    crew, waits = _Crew(owner, counter, installer), False
    for told in TOLD_BAY:
        try:
            waits |= not _go_on_with(told, crew)
        except LayflatError as error:
            logging.getLogger(__name__).warning("%s: %s", told.plate, error)
    _in_the_calendar(crew)
    return not waits


def _go_on_with(told: ToldBay, crew: _Crew) -> bool:
    """Go on with one job; whether nothing of it is left to wait for."""
    with transaction.atomic():
        job = (
            Job.objects.select_for_update(of=("self",))
            .filter(vehicle__plate=told.plate, stage=Stage.ACCEPTED, bay_plan=None)
            .exclude(offers__acceptance=None)
            .first()
        )
        if job is None:
            return True
        layout = job.layouts.select_related("computation").first()
        if layout is None:
            return not _begin_layout(job, crew)
        if job.layouts.count() > 1 or layout.state in (Layout.State.CUT, Layout.State.DROPPED):
            return True
        if layout.state == Layout.State.KEPT:
            _in_the_bay(job, layout, told, crew)
            return True
        asked = layout.computation
        if asked is None or not asked.is_over:
            return False
        if layout.found is not None or layout.so_far is None:
            return True  # one that failed is somebody's to look at
        keep(layout, who=crew.installer)
        return False


def _begin_layout(job: Job, crew: _Crew) -> bool:
    """Search a layout on the roll that came last; whether one is under way."""
    roll = Roll.objects.filter(width_mm=1524, is_finished=False, film__contains="gloss").last()
    if roll is None:
        return False
    begin(job, roll=roll.pk, numbers=(), seconds=SECONDS[0], who=crew.installer)
    return True


def _in_the_bay(job: Job, layout: Layout, told: ToldBay, crew: _Crew) -> None:
    """All that happened in the bay, at the times at which it would have."""
    now = timezone.now()
    clock = _Clock(now - datetime.timedelta(days=told.days_ago))
    plan(job, (), left_out={}, who=crew.counter, at=clock.now)
    for section in layout.sections.all():
        tick_cut(section, who=crew.installer, at=clock.after(20))
        tick_weeded(
            section.cuts.select_related("section__layout__job", "piece", "weeded_by"),
            who=crew.installer,
            at=clock.after(15),
        )
    keys = list(Step.objects.filter(job=job).values_list("key", "kind"))
    before_film = [key for key, kind in keys if kind in (Kind.HAND, Kind.IRON, Kind.CUT)]
    # Cutting and weeding ended by itself with the last piece that was weeded.
    for key in before_film[: before_film.index("cut-and-weed")]:
        _do(job, key, clock, crew.installer)
    cuts = good_cuts(job)
    if not told.is_handed_back:
        _lay(job, cuts[:_LAID_BY_NOW], clock, [crew.installer], crew.installer)
        return
    _lay(job, cuts, clock, [crew.installer, crew.owner], crew.installer)
    clock.next_morning()  # the rest goes by itself
    done(job, "heat-edges", who=crew.installer, at=clock.after(40))
    _inspect(job, clock, crew)
    done(job, "final-wipe", who=crew.installer, at=clock.after(25))
    _hand_back(job, clock, crew)


def _in_the_calendar(crew: _Crew) -> None:
    """Place what is still to be done for jobs that are accepted or in the bay, each once."""
    shop, now = the_shop(), timezone.now()
    hours = hours_of(shop)
    for plate, left_out in _TOLD_CALENDAR.items():
        with transaction.atomic():
            job = (
                Job.objects.select_for_update(of=("self",))
                .filter(vehicle__plate=plate, stage__in=(Stage.ACCEPTED, Stage.BAY), bookings=None)
                .exclude(offers__acceptance=None)
                .first()
            )
            if job is None:
                continue
            lasts = durations(minutes_of(job))
            planned = next_free(
                {key: value for key, value in lasts.items() if key not in left_out},
                first_day=hours.day_of(now),
                hours=hours,
                now=now,
                where=places(),
                taken=taken_from(now, but=job),
            )
            for one, where in planned:
                hands = [crew.installer, crew.owner][: one.work.people]
                wanted = Wanted(
                    job=job,
                    work=one.work.key,
                    words="",
                    place=where,
                    people=[crew.counter] if one.work.key in _BY_COUNTER else hands,
                    starts_at=one.starts_at,
                    ends_at=one.ends_at,
                )
                place(wanted, who=crew.counter)


class _Clock:
    """The time that is told; it only goes on, and never beyond the present."""

    def __init__(self, now: datetime.datetime) -> None:
        self.now = now.replace(hour=7, minute=30, second=0)

    def next_morning(self) -> None:
        """Go on at eight on the next day."""
        self.now = self.now.replace(hour=8, minute=0) + datetime.timedelta(days=1)

    def after(self, minutes: float) -> datetime.datetime:
        self.now = min(self.now + minutes * _MINUTE, timezone.now())
        return self.now


def _do(job: Job, key: str, clock: _Clock, who: Person) -> None:
    step = Step.objects.get(job=job, key=key)
    if step.dwell_most_s is not None:
        put_on(job, key, "all round", who=who, at=clock.after(5))
        rinsed(job, key, "all round", who=who, at=clock.after((step.dwell_least_s or 60) / 60 + 1))
    done(job, key, who=who, at=clock.after(15))


def _lay(
    job: Job, cuts: Sequence[Cut], clock: _Clock, hands: Sequence[Person], who: Person
) -> None:
    for cut in cuts:
        laying.begin(job, cut, hands=hands, who=who, at=clock.after(5))
        laying.end(job, cut, hard="", picture=None, who=who, at=clock.after(32))


def _inspect(job: Job, clock: _Clock, crew: _Crew) -> None:
    """The counter's eyes: one edge had lifted, was pressed down and looked at again."""
    inspecting.begin(
        job, own_work_because="", takes_over=False, who=crew.counter, at=clock.after(20)
    )
    cuts = good_cuts(job)
    seen = Seen(kind="lifted edge", remedy=Flag.Remedy.PRESS, size_mm=12.0)
    flag = note_flag(job, cuts[0], seen, picture=None, who=crew.counter, at=clock.after(6))
    mend(
        flag,
        hands=[crew.installer],
        how="warmed and pressed",
        picture=None,
        who=crew.installer,
        at=clock.after(10),
    )
    flag.refresh_from_db()
    end_gone(flag, who=crew.counter, at=clock.after(15))
    for cut in cuts:
        inspecting.check(job, cut, who=crew.counter, at=clock.after(4))
    inspecting.finish(job, who=crew.counter, at=clock.after(1))
    finish_kind(job, Kind.INSPECT, crew.counter, clock.now)


def _hand_back(job: Job, clock: _Clock, crew: _Crew) -> None:
    shop, at = the_shop(), clock.after(60)
    picture = accepted_outcome(job).picture
    if picture is not None:
        with path_of(picture.sha256).open("rb") as file:
            add_picture(job, read_picture(file), caption="Left side", who=crew.counter)
    name = job.vehicle.customer.name
    taken = Taken(
        name=name,
        signature=b"",
        on_paper_because="invented with the workshop",
        due_on=(at + datetime.timedelta(days=12)).date(),
    )
    given = Given(
        name=name,
        signature="",
        on_paper_because=taken.on_paper_because,
        by=crew.counter.shown,
        at=at,
    )
    job.refresh_from_db()
    made = draft(job, given, because=HANDED, shop=shop, address="", at=at)
    hand_back(job, taken, made, nonce=new_nonce(), shop=shop, who=crew.counter)
