"""A job in the middle of everything, with rows of every kind that its page in the bay shows."""

import datetime
from typing import Final

from django.utils import timezone

from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.gates.models import Condition, Dwell, Kind, Step, Tool, ToolUse, Zone
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role
from layflat.web.taps.models import Tap
from web.bayed import a_roll, an_accepted_job, in_the_bay, laid, some_cuts, steps_done
from web.covered import kept, picture

MOST: Final = 12
"""How many of anything, such as panels, there may be."""
_PANELS: Final = ("hood", "roof", *(f"door-{place}" for place in range(MOST)))


def a_busy_job(
    people: dict[Role, Person], *, pieces: int, stage: Stage, number: str = "2031-0042"
) -> Job:
    """Laid by two people, one of whom left, but for one piece in hand; half of it made anew.

    The other rows grow with the pieces. Where the stage is "checked" all is laid and looked at.
    """
    now, is_checked = timezone.now(), stage == Stage.CHECKED
    ines, corin = people[Role.INSTALLER], people[Role.COUNTER]
    gone, _ = Person.objects.get_or_create(
        name="ilka", defaults={"shown": "Ilka", "role": Role.INSTALLER, "is_active": False}
    )
    job, outcome = an_accepted_job(number, panels=_PANELS[:pieces])
    cuts = some_cuts(job, outcome, roll=a_roll(lot="LW-7730"))
    for cut in cuts[::2]:
        laid(cut, gone)
    lost = [cut.pk for cut in cuts[::2]]
    Cut.objects.filter(pk__in=lost).update(
        state=Cut.State.LOST, lost_because="a fold", lost_by=corin, lost_at=now
    )
    again = _made_anew(job, cuts[::2], ines)
    photo = kept(picture(), "photo.png", "image/png")
    good = again + cuts[1::2]
    for cut in good if is_checked else good[:-1]:
        laying = laid(cut, ines, gone)
        Laying.objects.filter(pk=laying.pk).update(hard="the corner", photo=photo, thumb=photo)
        laid(cut, ines, way=Laying.Way.PRESSED)
    if not is_checked:
        in_hand = Laying.objects.create(cut=good[-1], began_at=now)
        in_hand.people.set([ines])
    in_the_bay(job, conditions=[Condition.REPAINT.value])
    steps_done(job, Kind.IRON, Kind.CUT, Kind.LAY)
    _steps_with_tools(job, pieces, ines)
    _inspected(job, good, cuts, corin, is_checked=is_checked)
    for place in range(pieces):
        Tap.objects.create(
            key=f"{place:020x} {number}",
            act="gates.done",
            job=job,
            who=ines,
            tapped_at=now,
            state=Tap.State.REFUSED,
            says="It waits for iron removal.",
        )
    Job.objects.filter(pk=job.pk).update(stage=stage)
    job.refresh_from_db()
    return job


def _made_anew(job: Job, lost: list[Cut], who: Person) -> list[Cut]:
    """Film for lost pieces, a layout for each."""
    found = []
    for cut in lost:
        layout = Layout.objects.create(
            job=job,
            number=job.layouts.count() + 1,
            outcome=cut.piece.outcome,
            roll=a_roll(lot=f"LW-{cut.number}"),
            pieces=[cut.number],
            state=Layout.State.CUT,
        )
        section = Section.objects.create(
            layout=layout,
            number=1,
            start_mm=0.0,
            end_mm=900.0,
            film_mm=900,
            state=Section.State.CUT,
            cut_at=timezone.now(),
            cut_by=who,
        )
        found.append(
            Cut.objects.create(
                section=section,
                piece=cut.piece,
                number=cut.number,
                attempt=2,
                state=Cut.State.WEEDED,
                weeded_by=who,
                weeded_at=timezone.now(),
            )
        )
    return found


def _steps_with_tools(job: Job, count: int, who: Person) -> None:
    """Steps that somebody is at, each with a time that runs, one that is over and two tools."""
    now = timezone.now()
    for place in range(count):
        step = Step.objects.create(
            job=job,
            key=f"wash-{place}",
            title=f"Wash {place}",
            position=10 + place,
            kind=Kind.HAND,
            zone=Zone.PAINT,
            dwell_least_s=60,
            dwell_most_s=300,
            state=Step.State.BEGUN,
            began_at=now,
            began_by=who,
        )
        for where, ended_at in (("hood", now), ("roof", None)):
            Dwell.objects.create(
                step=step,
                where=where,
                began_at=now,
                least_s=60,
                most_s=300,
                began_by=who,
                ended_at=ended_at,
                ended_by=who if ended_at else None,
            )
        for name, out in (("mitt", ""), ("cloth", ""), ("sponge", "fell on the floor")):
            tool = Tool.objects.create(
                name=f"{name} {job}-{place}", zone=Zone.PAINT, out_because=out, version=1
            )
            ToolUse.objects.create(step=step, tool=tool, at=now, who=who)
        Tool.objects.create(name=f"spare {job}-{place}", zone=Zone.ANY)


def _inspected(
    job: Job, good: list[Cut], first: list[Cut], who: Person, *, is_checked: bool
) -> None:
    """A round that ended, one that goes on unless all is checked; flags in every state."""
    now = timezone.now()
    ended = Round.objects.create(job=job, number=1, inspector=who, began_at=now, ended_at=now)
    newest = Round.objects.create(
        job=job, number=2, inspector=who, began_at=now, ended_at=now if is_checked else None
    )
    photo = kept(picture("#998877"), "flag.png", "image/png")
    for place, cut in enumerate(good):
        Check.objects.create(round=ended, cut=cut, at=now, stale_at=now)
        if is_checked or place % 2 == 0:
            Check.objects.create(round=newest, cut=cut, at=now)
    films = {cut.number: cut for cut in good}
    for place, cut in enumerate(first):
        state = Flag.State.ENDED if is_checked else list(Flag.State)[place % 3]
        is_over, is_seen = state == Flag.State.ENDED, state != Flag.State.OPEN
        film = films[cut.number]
        Flag.objects.create(
            job=job,
            number=place + 1,
            cut=cut,
            kind="lifted edge",
            x_mm=10.0,
            y_mm=20.0,
            photo=photo,
            thumb=photo,
            remedy=Flag.Remedy.PRESS,
            state=state,
            found_at=now,
            found_by=who,
            mended_at=now if is_seen else None,
            mended_by=who if is_seen else None,
            mended_how="pressed down" if is_seen else "",
            ended_at=now + datetime.timedelta(minutes=1) if is_over else None,
            ended_by=who if is_over else None,
            ended_how="gone" if is_over else "",
            replaced_by=None if film == cut else film,
        )
