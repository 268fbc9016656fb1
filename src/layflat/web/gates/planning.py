"""What the bay does with one car: conditions proposed, its steps in order, planned once."""

import datetime
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.gates.doing import Work, no_longer_needed, undo, why_not_left_out
from layflat.web.gates.models import BayPlan, Condition, Step, StepTemplate
from layflat.web.gates.order import AFTER, WHY, all_needs, direct_needs, what_is_wrong
from layflat.web.gates.usual import templates
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

ASKED: Final = tuple(one for one in Condition if one != Condition.ALWAYS)
"""What is asked of each car."""
_FROM_FAULTS: Final[Mapping[str, str]] = {
    Condition.REPAINT: "repaint",
    Condition.OLD_FILM: "old film",
}
QUESTIONS: Final[Mapping[str, str]] = {
    Condition.SENSITIVE_BRAKES: "Carbon-ceramic or bare discs, or wheels that iron remover attacks",
    Condition.COATING: "The customer ordered a coating; it goes on top of the film",
    Condition.REPAINT: "A panel was painted anew",
    Condition.OLD_FILM: "There is old film, or its glue, where new film goes",
}
_COPIED: Final = (
    "key",
    "title",
    "words",
    "caution",
    "kind",
    "zone",
    "condition",
    "rest_s",
    "dwell_least_s",
    "dwell_most_s",
)
_MOST_REASON: Final = 200

Planned = Callable[[Job, Person, datetime.datetime], object]
_WHEN_PLANNED: Final[dict[Planned, None]] = {}


def when_planned(act: Planned) -> None:
    """Have *act* told of each job whose bay was planned, in the same transaction.

    For parts above, which enter themselves when they start: what they know may be done already.
    """
    _WHEN_PLANNED.setdefault(act)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One condition, as it is asked of a car.

    Attributes:
        condition: which.
        question: what it means for this car.
        because: what is known of it, such as from the walk-round; "" when it is only asked.
        holds: what is proposed, or was planned.
    """

    condition: Condition
    question: str
    because: str
    holds: bool


def asked(job: Job, chosen: Collection[str] | None = None) -> list[Asked]:
    """What is asked of a job's car; where nobody chose yet, as the walk-round found it."""
    faults = list(Fault.objects.filter(job=job, is_withdrawn=False))
    found = []
    for condition in ASKED:
        because = _seen(faults, _FROM_FAULTS.get(condition, ""))
        holds = bool(because) if chosen is None else condition in chosen
        found.append(
            Asked(
                condition=condition,
                question=QUESTIONS[condition],
                because=because,
                holds=holds,
            )
        )
    return found


def _seen(faults: Iterable[Fault], kind: str) -> str:
    seen = [fault for fault in faults if kind and fault.kind == kind]
    if not seen:
        return ""
    where = ", ".join(
        f"{fault.number}{f' ({fault.where})' if fault.where else ''}" for fault in seen
    )
    return f"fault{'' if len(seen) == 1 else 's'} {where} of the walk-round"


def steps_for(conditions: Collection[str], *, job: Job | None = None) -> list[Step]:
    """The steps of a car with these conditions by the shop's templates; see `steps_from`."""
    return steps_from(templates(), conditions, job=job)


def steps_from(
    rows: Iterable[StepTemplate], conditions: Collection[str], *, job: Job | None = None
) -> list[Step]:
    """The steps of a car with these conditions, in order, as rows that are not saved.

    What a step needs and this car does not have stands for what that one needs in turn.

    Args:
        rows: the shop's templates; those that the car does not have are marked retired here.
        conditions: that hold for the car.
        job: that the steps are of.

    Raises:
        InputError: the templates make no order of work.
    """
    rows = list(rows)
    wrong = what_is_wrong(rows)
    if wrong:
        raise InputError(f"The shop's steps make no order of work. {wrong}")
    holds = {Condition.ALWAYS.value, *conditions}
    for template in rows:
        template.is_retired |= template.condition not in holds
    chosen = [template for template in rows if not template.is_retired]
    needs = direct_needs(rows)
    there = {template.key for template in chosen}
    return [
        _step(template, [key for key in needs[template.key] if key in there], job)
        for template in _in_order(chosen, needs)
    ]


def _step(template: StepTemplate, needs: Iterable[str], job: Job | None) -> Step:
    values = {name: getattr(template, name) for name in _COPIED}
    return Step(job=job, needs=list(needs), position=template.position, **values)


def _in_order(
    chosen: Sequence[StepTemplate], needs: Mapping[str, Iterable[str]]
) -> list[StepTemplate]:
    """By the shop's order, but nothing before what it needs."""
    by_key = {template.key: template for template in chosen}
    placed: dict[str, StepTemplate] = {}

    def place(template: StepTemplate) -> None:
        for key in needs[template.key]:
            if key in by_key and key not in placed:
                place(by_key[key])
        placed.setdefault(template.key, template)

    for template in chosen:
        place(template)
    return list(placed.values())


def plan(
    job: Job,
    conditions: Collection[str],
    *,
    left_out: Mapping[str, str],
    who: Person,
    at: datetime.datetime,
) -> BayPlan:
    """Plan the bay, once: the steps are copied from the templates and the job goes into the bay.

    Args:
        job: locked, accepted.
        conditions: values of `Condition` that hold for this car.
        left_out: by the keys of steps that are left out, why.
        who: plans it.
        at: now, UTC.

    Raises:
        InputError: it is planned already or not accepted yet, a condition is unknown, a step is
            left out without a reason or may not be left out.
    """
    if BayPlan.objects.filter(job=job).exists() and job.stage != Stage.ACCEPTED:
        raise InputError(f"The bay is planned for job {job} already.")
    if job.stage != Stage.ACCEPTED:
        raise InputError(
            f"Job {job} stands at “{Stage(job.stage).label}”; the bay is planned once the customer "
            "has accepted the offer."
        )
    chosen = _known(conditions)
    before = BayPlan.objects.filter(job=job).first()
    if before is not None:
        return _planned_again(job, before, chosen, who=who, at=at)
    steps = steps_for(chosen, job=job)
    for place, step in enumerate(steps, start=1):
        step.position = place
    _leave_out(steps, left_out, who=who, at=at)
    Step.objects.bulk_create(steps)
    made = BayPlan.objects.create(job=job, conditions=chosen, planned_by=who)
    out = [step for step in steps if step.state == Step.State.LEFT_OUT]
    move(
        job,
        Stage.BAY,
        who=who,
        kind="gates.planned",
        sentence=f"The bay was planned: {_counted(len(steps) - len(out))}"
        + "".join(f"; left out: {step.title}, {step.left_out_because}" for step in out)
        + ".",
    )
    for act in _WHEN_PLANNED:
        act(job, who, at)
    return made


def _planned_again(
    job: Job, before: BayPlan, chosen: list[str], *, who: Person, at: datetime.datetime
) -> BayPlan:
    """A job that was opened again after it had been in the bay: what was done there stays."""
    move(job, Stage.BAY, who=who, kind="gates.planned", sentence="Back into the bay as planned.")
    if set(chosen) != set(before.conditions):
        because = "as planned again"
        change_conditions(
            job, chosen, because=because, seen=sorted(before.conditions), who=who, at=at
        )
    before.refresh_from_db()
    return before


def _counted(count: int) -> str:
    return "1 step" if count == 1 else f"{count} steps"


def _known(conditions: Collection[str]) -> list[str]:
    unknown = sorted(set(conditions) - set(ASKED))
    if unknown:
        raise InputError(f"There is no condition “{unknown[0]}”; open the page anew.")
    return [one.value for one in ASKED if one in set(conditions)]


def _leave_out(
    steps: Sequence[Step], left_out: Mapping[str, str], *, who: Person, at: datetime.datetime
) -> None:
    by_key = {step.key: step for step in steps}
    for key, reason in left_out.items():
        step, because = by_key.get(key), reason.strip()[:_MOST_REASON]
        if step is None:
            continue  # a condition that was taken away took its step along
        if not because:
            raise InputError(f"Say why “{step.title}” is left out; the reason stays on record.")
        step.state, step.left_out_because = Step.State.LEFT_OUT, because
        step.ended_at, step.ended_by = at, who
    for step in steps:
        why = why_not_left_out(step, steps) if step.state == Step.State.LEFT_OUT else ""
        if why:
            raise InputError(why)


def change_conditions(
    job: Job,
    conditions: Collection[str],
    *,
    because: str,
    seen: Collection[str],
    who: Person,
    at: datetime.datetime,
) -> list[str]:
    """What is known of the car has changed: its steps come in or are left out.

    Args:
        job: locked, in the bay.
        conditions: that hold now.
        because: why, in words; stays in the record.
        seen: the conditions that the person saw, so that a second editor is told.
        who: changes it.
        at: now, UTC.

    Returns:
        What was done, a sentence each.

    Raises:
        InputError: without a reason; somebody changed them meanwhile; a step that would come in
            belongs before one that has begun, or one that would go has begun.
    """
    found = BayPlan.objects.filter(job=job).first()
    if found is None:
        raise InputError(f"The bay is not planned for job {job} yet.")
    if sorted(seen) != sorted(found.conditions):
        raise InputError("Somebody changed what is known of the car meanwhile; look at it again.")
    chosen, before = _known(conditions), list(found.conditions)
    if chosen == before:
        return []
    because = because.strip()[:_MOST_REASON]
    if not because:
        raise InputError("Say why it has changed; the reason stays in the job's history.")
    found.conditions = chosen
    found.save(update_fields=["conditions"])
    said = [_words_of(one, "holds") for one in chosen if one not in before]
    said += [_words_of(one, "does not hold") for one in before if one not in chosen]
    write_event(
        "gates.conditions",
        f"{'; '.join(said)}: {because}"[:400],
        who=who,
        job=job,
        before={"conditions": before},
        after={"conditions": chosen},
    )
    for condition in chosen:
        if condition not in before:
            _bring_in(job, condition, chosen, who=who, at=at)
    for condition in before:
        if condition not in chosen:
            _take_out(job, condition, because, who=who, at=at)
    return said


def _words_of(condition: str, verb: str) -> str:
    return f"“{Condition(condition).label}” {verb}"


def _bring_in(
    job: Job, condition: str, chosen: Collection[str], *, who: Person, at: datetime.datetime
) -> None:
    """The steps of a condition, taken in again or copied from the templates as they are now."""
    work = Work(job, at)
    there = {step.key: step for step in work.steps}
    wanted = steps_for(chosen, job=job)
    for step in (step for step in wanted if step.condition == condition):
        if step.key in there:
            if there[step.key].state == Step.State.LEFT_OUT:
                undo(job, step.key, who=who, at=at)
            continue
        late = _too_late_for(step, work.steps)
        if late is not None:
            raise InputError(
                f"{WHY[late.kind]}. “{late.title}” has begun already, so “{step.title}” comes too "
                "late; say in the job's history what was done instead."
            )
        step.needs = [key for key in step.needs if key in there]
        _let_others_need(step, wanted, work.steps)
        step.position = _place_of(step, wanted, there)
        step.save()
        write_event(
            "gates.added", f"Added: {step.title}.", who=who, job=job, after={"step": step.key}
        )


def _too_late_for(step: Step, there: Iterable[Step]) -> Step | None:
    """A step that has begun though a fact of the trade puts *step* before it; or None."""
    for other in there:
        is_begun = other.state in (Step.State.BEGUN, Step.State.DONE)
        if is_begun and AFTER.get(other.kind) == step.kind:
            return other
    return None


def _let_others_need(step: Step, wanted: Sequence[Step], there: Iterable[Step]) -> None:
    """Have the job's steps that have not begun need the new one where the templates say so."""
    needing = {other.key for other in wanted if step.key in other.needs}
    before = all_needs(direct_needs([*there, step]))[step.key]
    for other in there:
        is_ahead = other.state in (Step.State.OPEN, Step.State.LEFT_OUT)
        if other.key in needing and is_ahead and other.key not in before:
            other.needs = [*other.needs, step.key]
            other.save(update_fields=["needs"])


def _place_of(step: Step, wanted: Sequence[Step], there: Mapping[str, Step]) -> int:
    """The place of the last step before it that the job has."""
    keys = [other.key for other in wanted]
    earlier = [there[key].position for key in keys[: keys.index(step.key)] if key in there]
    return max(earlier, default=0)


def _take_out(
    job: Job, condition: str, because: str, *, who: Person, at: datetime.datetime
) -> None:
    for step in Step.objects.filter(job=job, condition=condition):
        if step.state in (Step.State.BEGUN, Step.State.DONE):
            raise InputError(
                f"“{step.title}” has begun; take that back first, or leave the car as it is known."
            )
        if step.state == Step.State.OPEN:
            no_longer_needed(job, step.key, because, who=who, at=at)
