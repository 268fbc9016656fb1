"""What must come before what: the shop's own order, and four facts of the trade above it.

Film is never laid before iron removal, iron is never removed before sensitive brakes are covered,
coating never comes before film, and edges are never heated before the rest is over, whatever a
template says (common practice, no source).
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, TypeAlias

from layflat.web.gates.models import Condition, Kind, Step, StepTemplate

Ordered: TypeAlias = Sequence[Step] | Sequence[StepTemplate]

AFTER: Final[Mapping[str, Kind]] = {
    Kind.LAY: Kind.IRON,
    Kind.IRON: Kind.COVER_BRAKES,
    Kind.COAT: Kind.LAY,
    Kind.EDGES: Kind.REST,
}
"""Kinds of step, and the kind that comes before each of them in every shop."""
WHY: Final[Mapping[str, str]] = {
    Kind.LAY: "Film is laid after iron removal; afterwards nobody can get at the paint",
    Kind.IRON: "Iron is removed after sensitive brakes are covered; the remover attacks them",
    Kind.COAT: "Coating goes on top of film, never under it",
    Kind.EDGES: "Edges are heated after a rest, when film has settled",
}
"""What is said when somebody wants it otherwise."""
NEVER_LEFT_OUT: Final = frozenset(
    {Kind.COVER_BRAKES, Kind.IRON, Kind.LAY, Kind.INSPECT, Kind.HAND_BACK}
)
"""Kinds that stay in a plan whatever somebody gives as a reason."""
_MUST_EXIST: Final = frozenset({Kind.IRON, Kind.LAY})
_COUNTS_LEFT_OUT: Final = frozenset({Kind.IRON, Kind.LAY, Kind.REST})
_ALWAYS: Final = (Kind.IRON, Kind.LAY, Kind.INSPECT, Kind.HAND_BACK)


def is_left_out(step: Step | StepTemplate) -> bool:
    """Whether a car's step was left out, or a template is retired."""
    return step.state == Step.State.LEFT_OUT if isinstance(step, Step) else step.is_retired


def missing_before(steps: Ordered, kind: str) -> Kind | None:
    """The kind that a fact of the trade wants before *kind* and that no step has; usually None."""
    needed = AFTER.get(kind)
    if needed not in _MUST_EXIST or any(step.kind == needed for step in steps):
        return None
    return needed


def direct_needs(steps: Ordered) -> dict[str, tuple[str, ...]]:
    """For each step, the keys of those that must be done right before it.

    What a step needs that is left out stands for what that one needs. The facts of the trade are
    among it; they hold also where a step that they name was left out.
    """
    by_key: dict[str, Step | StepTemplate] = {step.key: step for step in steps}
    found = {}
    for step in steps:
        keys: dict[str, None] = {}
        _collect(step.needs, by_key, keys, seen={step.key})
        before = AFTER.get(step.kind)
        for other in steps:
            counts = not is_left_out(other) or other.kind in _COUNTS_LEFT_OUT
            if other.kind == before and counts and other.key != step.key:
                keys.setdefault(other.key)
        found[step.key] = tuple(keys)
    return found


def _collect(
    needs: Iterable[str],
    by_key: Mapping[str, Step | StepTemplate],
    keys: dict[str, None],
    *,
    seen: set[str],
) -> None:
    for key in needs:
        step = by_key.get(key)
        if step is None or key in seen:
            continue
        seen.add(key)
        if is_left_out(step):
            _collect(step.needs, by_key, keys, seen=seen)
        else:
            keys.setdefault(key)


def all_needs(direct: Mapping[str, Iterable[str]]) -> dict[str, frozenset[str]]:
    """For each step, the keys of all that must be done at some time before it.

    A step that needs itself, through others, is among its own.
    """
    found: dict[str, frozenset[str]] = {}
    for key in direct:
        reached: set[str] = set()
        ahead = list(direct[key])
        while ahead:
            other = ahead.pop()
            if other not in reached:
                reached.add(other)
                ahead.extend(direct.get(other, ()))
        found[key] = frozenset(reached)
    return found


def what_is_wrong(templates: Sequence[StepTemplate]) -> str:
    """Why these templates make no order of work, in a sentence; "" when they do."""
    used = [template for template in templates if not template.is_retired]
    keys = {template.key: template for template in templates}
    for template in used:
        for key in template.needs:
            if key not in keys:
                return f"“{template.title}” needs a step “{key}”, which there is not."
    reached = all_needs(direct_needs(used))
    for template in used:
        if template.key in reached[template.key]:
            others = [o.title for o in used if template.key in reached[o.key] and o != template]
            with_whom = f" and “{others[0]}” wait" if others else " waits"
            for_whom = "each other" if others else "itself"
            return f"“{template.title}”{with_whom} for {for_whom}; neither could ever begin."
    return _broken_fact(used) or _broken_condition(used) or _out_of_order(used)


def _out_of_order(used: Sequence[StepTemplate]) -> str:
    """A step that is listed before one that it needs; the sentence, or ""."""
    place = {template.key: template.position for template in used}
    titles = {template.key: template.title for template in used}
    for template in used:
        for key in template.needs:
            if place.get(key, 0) > template.position:
                return (
                    f"“{template.title}” needs “{titles[key]}”, which is listed after it; move "
                    "one of them first."
                )
    return ""


def _broken_fact(used: Sequence[StepTemplate]) -> str:
    """A fact of the trade that the shop's own needs leave open; the sentence, or ""."""
    by_key: dict[str, StepTemplate] = {template.key: template for template in used}
    own: dict[str, list[str]] = {}
    for template in used:
        keys: dict[str, None] = {}
        _collect(template.needs, {**by_key}, keys, seen={template.key})
        own[template.key] = list(keys)
    reached = all_needs(own)

    lays = {step.key for step in used if step.kind == Kind.LAY}
    rests = [step for step in used if step.kind == Kind.REST]
    for rest in rests:
        if rest.rest_s == 0 or not lays <= reached[rest.key]:
            return f"{WHY[Kind.EDGES]}. Let “{rest.title}” need laying, and say how long it lasts."
    for template in used:
        before = AFTER.get(template.kind)
        if template.kind == Kind.EDGES:
            has_own = template.rest_s > 0 and lays <= reached[template.key]
            rested = any(
                rest.key in reached[template.key]
                and rest.condition in (Condition.ALWAYS, template.condition)
                for rest in rests
            )
            if not (has_own or rested):
                return (
                    f"{WHY[Kind.EDGES]}. Let “{template.title}” need a rest that comes after film "
                    "is laid and belongs to the same jobs, or give it a rest of its own."
                )
        elif before is not None:
            missing = _not_needed(template, before, used, reached)
            if missing:
                return f"{WHY[template.kind]}. {missing}"
    return ""


def _not_needed(
    template: StepTemplate,
    before: Kind,
    used: Sequence[StepTemplate],
    reached: Mapping[str, frozenset[str]],
) -> str:
    """What a step does not need though it comes after *before*, in a sentence; or ""."""
    if missing_before(used, template.kind):
        return f"Keep a step that is “{before.label}”."
    for other in used:
        if other.kind == before and other.key not in reached[template.key]:
            return f"Let “{template.title}” need “{other.title}”."
    return ""


def _broken_condition(used: Sequence[StepTemplate]) -> str:
    """A step that must be there always or only sometimes, and is not so; the sentence, or ""."""
    for kind in _ALWAYS:
        if not any(step.kind == kind and step.condition == Condition.ALWAYS for step in used):
            return f"Every job has “{kind.label}”; keep a step of it that belongs to every job."
    brakes = [step for step in used if step.kind == Kind.COVER_BRAKES]
    if not any(b.condition in (Condition.ALWAYS, Condition.SENSITIVE_BRAKES) for b in brakes):
        return f"{WHY[Kind.IRON]}. Keep a step that covers them."
    for step in used:
        if step.kind == Kind.COAT and step.condition != Condition.COATING:
            return f"“{step.title}” belongs only to jobs with “{Condition.COATING.label}”."
    return ""
