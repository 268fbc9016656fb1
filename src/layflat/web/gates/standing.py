"""How a car's steps stand: which may be begun now, and what the others wait for, in words.

`stand` reads nothing but what it is handed. A step that is done, begun or left out says so by its
row; that a rest is over follows from the time.
"""

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from django.utils import timezone

from layflat.base import InputError
from layflat.web.gates.dwelling import DwellStands, dwells_stand
from layflat.web.gates.models import Dwell, Kind, Step
from layflat.web.gates.order import AFTER, WHY, direct_needs, missing_before
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time, shown_day, shown_duration, the_shop

WORKED: Final = (Stage.BAY, Stage.CHECKED)
"""Stages at which steps are worked on."""
_SHAPES: Final[Mapping[str, tuple[str, str]]] = {
    Step.State.DONE: ("done", "done"),
    Step.State.BEGUN: ("today", "under way"),
    Step.State.LEFT_OUT: ("none", "left out"),
}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One step of one car, as it stands at a moment.

    Attributes:
        step: its row.
        is_over: whether it is done, or a rest whose time has passed.
        may_begin: whether it may be begun now.
        waits_for: what it waits for, each in a few words such as "iron removal" or "rest: 6 h 20
            min left, until 07:40".
        opens_at: when the rest before it ends; None without one, or while it has not begun.
        shape, word: of the look, such as "done" and "done".
        dwells: its dwell times, the newest last.
    """

    step: Step
    is_over: bool
    may_begin: bool
    waits_for: tuple[str, ...]
    opens_at: datetime.datetime | None
    shape: str
    word: str
    dwells: tuple[DwellStands, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether something can be done about it now: it may be begun, or is under way."""
        return self.may_begin or self.step.state == Step.State.BEGUN

    @property
    def waits(self) -> str:
        """What it waits for, in one phrase; "" for nothing."""
        return "; ".join(self.waits_for)

    @property
    def running(self) -> tuple[DwellStands, ...]:
        """Dwell times that have not been rinsed."""
        return tuple(item for item in self.dwells if item.is_running)

    @property
    def again(self) -> tuple[DwellStands, ...]:
        """Places where the newest dwell did not count and is to be done again."""
        return tuple(item for item in self.dwells if item.is_to_do_again)


class _Order:
    """When each step was over, and what is missing before it; each step is looked at once."""

    def __init__(self, steps: Sequence[Step], now: datetime.datetime, shop: Shop) -> None:
        self.steps, self.now, self.shop = steps, now, shop
        self.by_key = {step.key: step for step in steps}
        self.needs = direct_needs(steps)
        self._over: dict[str, datetime.datetime | None] = {}

    def over_at(self, key: str) -> datetime.datetime | None:
        """When a step was done or its rest was over; None while it is not."""
        if key not in self._over:
            self._over[key] = None  # what needs itself is never over
            step = self.by_key[key]
            if step.state == Step.State.DONE:
                self._over[key] = step.ended_at or step.began_at
            elif step.kind == Kind.REST and step.state != Step.State.LEFT_OUT:
                opens = self.opens_at(key)
                self._over[key] = opens if opens and opens <= self.now else None
        return self._over[key]

    def opens_at(self, key: str) -> datetime.datetime | None:
        """When the rest before a step ends; None while something before it is not over."""
        ends = [self.over_at(other) for other in self.needs[key]]
        known = [end for end in ends if end is not None]
        if len(known) < len(ends) or not known:
            return None
        return max(known) + datetime.timedelta(seconds=self.by_key[key].rest_s)

    def waits_for(self, step: Step) -> tuple[str, ...]:
        """What a step waits for, in words."""
        missing = missing_before(self.steps, step.kind)
        if missing is not None:
            return (f"{missing.label}, which is not in this job's plan",)
        found = [
            self._in_words(self.by_key[key])
            for key in self.needs[step.key]
            if self.over_at(key) is None
        ]
        opens = self.opens_at(step.key)
        if step.rest_s and not found and opens and opens > self.now:
            found.append(self.rest_left(opens))
        return tuple(found)

    def _in_words(self, need: Step) -> str:
        if need.kind == Kind.REST and need.state != Step.State.LEFT_OUT:
            opens = self.opens_at(need.key)
            if opens is not None:
                return self.rest_left(opens)
        words = need.title[:1].lower() + need.title[1:]
        if need.state == Step.State.BEGUN:
            return f"{words}, which is under way"
        return f"{words}, which was left out" if need.state == Step.State.LEFT_OUT else words

    def rest_left(self, until: datetime.datetime) -> str:
        """How long a rest goes on, and until when by the shop's clock."""
        minutes = -(-int((until - self.now).total_seconds()) // 60)
        at, today = shop_time(until, self.shop), shop_time(self.now, self.shop).date()
        day = "" if at.date() == today else f"{shown_day(at.date(), self.shop)} "
        return f"rest: {shown_duration(max(minutes, 1))} left, until {day}{at:%H:%M}"


def stand(
    steps: Sequence[Step],
    dwells: Iterable[Dwell] = (),
    *,
    now: datetime.datetime,
    shop: Shop,
    stage: str = Stage.BAY,
) -> tuple[Standing, ...]:
    """How a car's steps stand at a moment, in their order.

    Args:
        steps: all of one job, in its order.
        dwells: of these steps, the newest last.
        now: UTC.
        shop: writes times.
        stage: of the job; steps are begun in the bay only.
    """
    order = _Order(steps, now, shop)
    of: dict[int, list[Dwell]] = {}
    for dwell in dwells:
        of.setdefault(dwell.step_id, []).append(dwell)
    return tuple(_standing(step, order, of.get(step.pk, []), stage) for step in steps)


def _standing(step: Step, order: _Order, dwells: Sequence[Dwell], stage: str) -> Standing:
    waits = order.waits_for(step) if step.state in (Step.State.OPEN, Step.State.BEGUN) else ()
    is_over = order.over_at(step.key) is not None
    is_rest = step.kind == Kind.REST
    may = step.state == Step.State.OPEN and not waits and stage in WORKED and not is_rest
    shape, word = _SHAPES.get(step.state, ("waiting", "waits") if waits else ("", "to do"))
    if is_rest and step.state in (Step.State.OPEN, Step.State.BEGUN):
        resting = order.opens_at(step.key) is not None
        shape, word = (
            ("done", "over") if is_over else ("waiting", "resting" if resting else "waits")
        )
    return Standing(
        step=step,
        is_over=is_over,
        may_begin=may,
        waits_for=waits,
        opens_at=order.opens_at(step.key) if step.rest_s else None,
        shape=shape,
        word=word,
        dwells=dwells_stand(dwells, now=order.now),
    )


def standing(job: Job, *, at: datetime.datetime | None = None) -> tuple[Standing, ...]:
    """How a job's steps stand now, or at a moment; two queries and the shop's.

    A moment before anything that was written down already counts as that: a clock that is set back
    makes no rest shorter.
    """
    steps = list(Step.objects.filter(job=job).select_related("began_by", "ended_by"))
    dwells = list(Dwell.objects.filter(step__job=job).select_related("began_by", "ended_by"))
    return stand(
        steps,
        dwells,
        now=not_before(at or timezone.now(), steps, dwells),
        shop=the_shop(),
        stage=job.stage,
    )


def not_before(
    at: datetime.datetime, steps: Iterable[Step], dwells: Iterable[Dwell] = ()
) -> datetime.datetime:
    """A moment, or the latest that is written down of a job where that is later."""
    known = [moment for step in steps for moment in (step.began_at, step.ended_at) if moment]
    known += [moment for dwell in dwells for moment in (dwell.began_at, dwell.ended_at) if moment]
    return max([at, *known])


def unfinished(job: Job, *, at: datetime.datetime | None = None) -> list[str]:
    """The titles of steps that are neither done nor left out, but the hand-back, in order."""
    return [
        item.step.title
        for item in standing(job, at=at)
        if not item.is_over
        and item.step.state != Step.State.LEFT_OUT
        and item.step.kind != Kind.HAND_BACK
    ]


def require_open(job: Job, kind: Kind, *, at: datetime.datetime | None = None) -> None:
    """Refuse work of a kind that this car is not ready for.

    A step that is done already may be gone back to, such as laying after a flag.

    Raises:
        InputError: no step of this kind may be worked on now; the sentence says what is missing.
    """
    found = standing(job, at=at)
    of_kind = [item for item in found if item.step.kind == kind]
    if job.stage not in WORKED or not of_kind:
        raise InputError(no_such_step(job, kind, is_planned=bool(found)))
    # What was begun or done counts only while what comes before it still is: a step that was added
    # to the plan later stands before it, too.
    needs = direct_needs([item.step for item in found])
    over = {item.step.key for item in found if item.is_over}
    for item in of_kind:
        is_taken_up = item.step.state in (Step.State.BEGUN, Step.State.DONE)
        if item.may_begin or (is_taken_up and over.issuperset(needs[item.step.key])):
            return
    raise InputError(refusal(of_kind[0]))


def no_such_step(job: Job, kind: Kind, *, is_planned: bool) -> str:
    """Why nothing of a kind is done on a job, where none of its steps could be."""
    if not is_planned:
        return f"The bay is not planned for job {job} yet; plan it, then goes {kind.label}."
    if job.stage not in WORKED:
        return (
            f"Job {job} stands at “{Stage(job.stage).label}”; {kind.label} is done while it is in "
            "the bay."
        )
    return f"Job {job} has no step that is {kind.label}."


def refusal(item: Standing) -> str:
    """Why a step is not begun now, in a sentence."""
    step = item.step
    if step.state == Step.State.LEFT_OUT:
        return f"“{step.title}” was left out: {step.left_out_because}"
    if step.kind == Kind.REST and not item.waits_for:
        return f"“{step.title}” goes by itself; there is nothing to begin."
    if not item.waits_for:
        return f"“{step.title}” is {item.word} already."
    why = f"{WHY[step.kind]}. " if step.kind in AFTER else ""
    return f"{why}“{step.title}” waits for {item.waits}."
