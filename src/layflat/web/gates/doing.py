"""Beginning and ending steps, leaving them out, and taking that back.

Call all of it on a locked job in a transaction: whoever comes second waits, and then sees what the
first did. Parts above that end steps of a kind themselves use `begin_kind` and `finish_kind`, and
enter with `done_when` what must be true before a step of a kind is done.
"""

import datetime
from collections.abc import Callable, Iterable
from typing import Final

from django.utils import timezone

from layflat.base import InputError
from layflat.web.gates.models import Dwell, Kind, Step
from layflat.web.gates.order import NEVER_LEFT_OUT, all_needs, direct_needs
from layflat.web.gates.standing import (
    WORKED,
    Standing,
    no_such_step,
    not_before,
    refusal,
    stand,
)
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.record.models import Event, write_event

Check = Callable[[Job], str]
"""Says why a step of a kind is not done yet, in a sentence; "" when it is."""

_DONE: Final = Step.State.DONE
_CHECKS: Final[dict[str, dict[Check, None]]] = {}


def done_when(kind: Kind, check: Check) -> None:
    """Have a step of a kind count as done only when *check* has nothing against it.

    For parts above, which enter themselves when they start.
    """
    _CHECKS.setdefault(kind, {}).setdefault(check)


def why_not_done(job: Job, kind: str) -> str:
    """Why a step of a kind cannot be done yet, by the parts that know; "" when nothing is."""
    return next((why for check in _CHECKS.get(kind, ()) if (why := check(job))), "")


class Work:
    """A locked job's steps as they stand at one moment, for one change.

    Attributes:
        job: locked.
        at: the moment, never before anything that is written down of the job.
    """

    def __init__(self, job: Job, at: datetime.datetime) -> None:
        self.job = job
        self.steps = list(Step.objects.filter(job=job).select_related("began_by", "ended_by"))
        self.dwells = list(Dwell.objects.filter(step__job=job).select_related("began_by"))
        self.at = not_before(by_the_record(at), self.steps, self.dwells)

    def standing(self) -> tuple[Standing, ...]:
        """How the steps stand."""
        return stand(self.steps, self.dwells, now=self.at, shop=the_shop(), stage=self.job.stage)

    def of(self, key: str) -> Standing:
        """How one step stands.

        Raises:
            InputError: the job has no such step, or is not in the bay.
        """
        found = next((item for item in self.standing() if item.step.key == key), None)
        if found is None:
            raise InputError(f"Job {self.job} has no such step; open the page anew.")
        if self.job.stage not in WORKED:
            raise InputError(
                f"Job {self.job} stands at “{Stage(self.job.stage).label}”; its steps are worked "
                "on while it is in the bay."
            )
        return found

    def begun_after(self, key: str) -> Step | None:
        """A step that is begun or done and for which the step *key* must be done; or None."""
        reached = all_needs(direct_needs(self.steps))
        for step in self.steps:
            is_begun = step.state in (Step.State.BEGUN, Step.State.DONE)
            if is_begun and step.key != key and key in reached[step.key]:
                return step
        return None


def by_the_record(at: datetime.datetime) -> datetime.datetime:
    """A moment, put right by as much as the server's clock has been set back since the last event.

    Otherwise something done while the clock is wrong would seem to lie longer ago than it does.
    """
    last = Event.objects.order_by("-pk").values_list("at", flat=True).first()
    behind = datetime.timedelta() if last is None else last - timezone.now()
    return at + max(behind, datetime.timedelta())


def begin(job: Job, key: str, *, who: Person, at: datetime.datetime) -> Step:
    """Begin a step.

    Args:
        job: locked.
        key: of the step.
        who: begins it.
        at: when it was tapped, UTC.

    Raises:
        InputError: it waits for something, or is begun, done or left out already.
    """
    work = Work(job, at)
    item = work.of(key)
    _must_be_open(work, item)
    return _begin(work, item, who)


def done(job: Job, key: str, *, who: Person, at: datetime.datetime) -> Step:
    """End a step; one that nobody began is begun in the same moment.

    Raises:
        InputError: it waits for something, a dwell time of it is missing or running or did not
            count, or the part that knows says that it is not done.
    """
    work = Work(job, at)
    item = work.of(key)
    if item.step.state == Step.State.OPEN:
        _must_be_open(work, item)
        _begin(work, item, who)
        item = work.of(key)
    return _end(work, item, who)


def begin_kind(job: Job, kind: Kind, *, who: Person, at: datetime.datetime) -> None:
    """Begin the first step of a kind that may be begun, unless one is under way or all are done.

    Raises:
        InputError: none may be begun.
    """
    work = Work(job, at)
    of_kind = _of_kind(work, kind)
    if any(item.step.state == Step.State.BEGUN for item in of_kind):
        return
    waiting = [item for item in of_kind if item.step.state == Step.State.OPEN]
    if not waiting:
        return
    item = next((item for item in waiting if item.may_begin), waiting[0])
    _must_be_open(work, item)
    _begin(work, item, who)


def finish_kind(
    job: Job, kind: Kind, who: Person, at: datetime.datetime, *, because: str = ""
) -> tuple[Step, ...]:
    """End every step of a kind, as the part that knows has seen it done; done ones stay.

    Args:
        job: locked.
        kind: of the steps.
        who: did what ended them.
        at: when, UTC.
        because: what is seen done, for the record; "" where the kind says it.

    Returns:
        The steps that were ended now.

    Raises:
        InputError: one of them waits for something, or is not done by what other parts know.
    """
    work = Work(job, at)
    ended = []
    for item in _of_kind(work, kind):
        if item.step.state == Step.State.OPEN:
            _must_be_open(work, item)
            _begin(work, item, who)
        if item.step.state == Step.State.BEGUN:
            ended.append(_end(work, work.of(item.step.key), who, because=because))
    return tuple(ended)


def _of_kind(work: Work, kind: Kind) -> list[Standing]:
    found = [item for item in work.standing() if item.step.kind == kind]
    if not found or work.job.stage not in WORKED:
        raise InputError(no_such_step(work.job, kind, is_planned=bool(work.steps)))
    return [item for item in found if item.step.state != Step.State.LEFT_OUT]


def _must_be_open(work: Work, item: Standing) -> None:
    if not item.may_begin:
        raise InputError(refusal(item))
    needs = set(direct_needs(work.steps)[item.step.key])
    for step in work.steps:
        if step.key in needs and (why := why_not_done(work.job, step.kind)):
            raise InputError(f"“{item.step.title}” waits: {why}")


def _begin(work: Work, item: Standing, who: Person) -> Step:
    _note_rests(work, item.step, who)
    step = item.step
    step.state, step.began_at, step.began_by = Step.State.BEGUN, work.at, who
    step.save(update_fields=["state", "began_at", "began_by"])
    _tell("gates.begun", f"Begun: {step.title}.", step, who)
    return step


def _note_rests(work: Work, step: Step, who: Person) -> None:
    """Write down that the rests before a step are over."""
    needs = direct_needs(work.steps)[step.key]
    for item in work.standing():
        rest = item.step
        is_rest = rest.kind == Kind.REST and rest.state in (Step.State.OPEN, Step.State.BEGUN)
        if rest.key in needs and is_rest and item.is_over:
            _note_rest(rest, item.opens_at or work.at, who)


def _note_rest(rest: Step, over_at: datetime.datetime, who: Person) -> None:
    began_at = over_at - datetime.timedelta(seconds=rest.rest_s)
    rest.state, rest.began_at, rest.ended_at = Step.State.DONE, began_at, over_at
    rest.save(update_fields=["state", "began_at", "ended_at"])
    _tell("gates.done", f"Over: {rest.title}.", rest, who)


def _end(work: Work, item: Standing, who: Person, *, because: str = "") -> Step:
    step = item.step
    if step.state != Step.State.BEGUN or item.waits_for:
        raise InputError(refusal(item))
    why = _dwell_missing(item) or why_not_done(work.job, step.kind)
    if why:
        raise InputError(f"“{step.title}” is not done yet. {why}")
    step.state, step.ended_at, step.ended_by = Step.State.DONE, work.at, who
    step.save(update_fields=["state", "ended_at", "ended_by"])
    by_itself = f" by itself, {because}" if because else ""
    _tell("gates.done", f"Done{by_itself}: {step.title}.", step, who)
    return step


def has_dwell(step: Step) -> bool:
    """Whether a step has a dwell time."""
    return step.dwell_least_s is not None or step.dwell_most_s is not None


def _dwell_missing(item: Standing) -> str:
    """What is missing of a step's dwell times, in a sentence; or ""."""
    if item.running:
        return f"Something still works on {item.running[0].where}; rinse it first."
    if item.again:
        what = "had dried" if item.again[0].dwell.was_late else "was rinsed too early"
        return f"On {item.again[0].where} it {what}; do it again there."
    if has_dwell(item.step) and not item.dwells:
        return "It has a dwell time that nobody has begun."
    return ""


def left_out(job: Job, key: str, because: str, *, who: Person, at: datetime.datetime) -> Step:
    """Leave a step out, for a reason that stays in the record.

    Raises:
        InputError: without a reason; for a step that no plan goes without, or that is done.
    """
    work = Work(job, at)
    item = work.of(key)
    because = because.strip()[:200]
    if not because:
        raise InputError(f"Say why “{item.step.title}” is left out; the reason stays on record.")
    why = why_not_left_out(item.step, work.steps)
    if why:
        raise InputError(why)
    return _leave_out(work, item, because, who)


def why_not_left_out(step: Step, steps: Iterable[Step]) -> str:
    """Why a step is never left out, in a sentence; "" for one that may be."""
    if step.kind in NEVER_LEFT_OUT:
        return f"“{step.title}” is never left out: {Kind(step.kind).label} belongs to every job."
    if step.kind == Kind.REST and any(
        other.kind == Kind.EDGES and other.state != Step.State.LEFT_OUT for other in steps
    ):
        return f"“{step.title}” is never left out while edges are to be heated after it."
    return ""


def no_longer_needed(
    job: Job, key: str, because: str, *, who: Person, at: datetime.datetime
) -> Step:
    """Leave a step out because what it was planned for does not hold, whatever its kind."""
    work = Work(job, at)
    return _leave_out(work, work.of(key), because, who)


def _leave_out(work: Work, item: Standing, because: str, who: Person) -> Step:
    step = item.step
    if step.state not in (Step.State.OPEN, Step.State.BEGUN):
        raise InputError(f"“{step.title}” is {item.word} already.")
    if item.running:
        raise InputError(f"Something still works on {item.running[0].where}; rinse it first.")
    step.state, step.left_out_because = Step.State.LEFT_OUT, because
    step.ended_at, step.ended_by = work.at, who
    step.save(update_fields=["state", "left_out_because", "ended_at", "ended_by"])
    _tell("gates.left-out", f"Left out: {step.title}; {because}", step, who)
    return step


def undo(job: Job, key: str, *, who: Person, at: datetime.datetime) -> Step:
    """Put a step back to "to do", or one that was left out back into the plan.

    Raises:
        InputError: something that needs it has begun, or something of it works on the paint.
    """
    work = Work(job, at)
    item = work.of(key)
    step = item.step
    if step.state == Step.State.OPEN:
        raise InputError(f"“{step.title}” has not begun; there is nothing to take back.")
    if item.running:
        raise InputError(f"Something still works on {item.running[0].where}; rinse it first.")
    word = item.word
    before, step.state = step.state, Step.State.OPEN
    later = work.begun_after(key)
    if later is not None:
        step.state = before
        raise InputError(f"“{later.title}” has begun and needs “{step.title}”; undo that first.")
    step.began_at = step.began_by = step.ended_at = step.ended_by = None
    step.left_out_because = ""
    step.save()
    _tell("gates.undone", f"Taken back: {step.title} was {word}.", step, who)
    return step


def again(job: Job, kind: Kind, *, who: Person, at: datetime.datetime) -> tuple[Step, ...]:
    """Have steps of a kind be done again, and what rests on them, though later ones have begun.

    For film that is made anew after its edges were heated: it rests as the first did, and its edges
    are heated. An inspection that goes on stays as it is; it waits for them before it can end.

    Returns:
        The steps that are to do again, in their order.
    """
    work = Work(job, at)
    first = {step.key for step in work.steps if step.kind == kind and step.state == _DONE}
    reached = all_needs(direct_needs(work.steps))
    reset = [
        step
        for step in work.steps
        if step.key in first
        or (
            reached[step.key] & first
            and step.kind not in (Kind.INSPECT, Kind.HAND_BACK)
            and step.state in (Step.State.BEGUN, _DONE)
        )
    ]
    for step in reset:
        step.state = Step.State.OPEN
        step.began_at = step.began_by = step.ended_at = step.ended_by = None
        step.save(update_fields=["state", "began_at", "began_by", "ended_at", "ended_by"])
        _tell("gates.again", f"To be done again: {step.title}.", step, who)
    return tuple(reset)


def _tell(kind: str, sentence: str, step: Step, who: Person) -> None:
    write_event(kind, sentence, who=who, job=step.job, after={"step": step.key})
