"""What is tapped of steps, dwell times and tools."""

from collections.abc import Iterable

from layflat.web.gates import doing, dwells, tools
from layflat.web.gates.models import Step, Tool
from layflat.web.people.models import Role
from layflat.web.taps.acts import EVERYBODY, Call, act, job_of
from layflat.web.taps.models import Tap
from layflat.web.taps.naming import Named, by_row, name_fields, parts_of

_STEPS = (Role.INSTALLER, Role.COUNTER)


def _steps(taps: Iterable[Tap], field: str) -> dict[tuple[int, str], str]:
    taps = list(taps)
    jobs = {tap.job_id for tap in taps if tap.fields.get(field)}
    rows = Step.objects.filter(job__in=jobs).values_list("job", "key", "title")
    titles: dict[tuple[int | None, str], str] = {(job, key): title for job, key, title in rows}
    asked = ((tap, part) for tap in taps for part in parts_of(tap, field))
    return {
        (tap.pk, part): titles[(tap.job_id, part)]
        for tap, part in asked
        if (tap.job_id, part) in titles
    }


def _tools(keys: set[int]) -> Iterable[tuple[int, str]]:
    return Tool.objects.filter(pk__in=keys).values_list("pk", "name")


name_fields(
    step=Named("Step", _steps),
    tool=Named("Tool", by_row(_tools)),
    where=Named("Where"),
    other=Named("Where"),
    because=Named("Why"),
)


def _step(call: Call) -> str:
    return call.fields.get("step", "")


@act("gates.begin", roles=_STEPS)
def begin(call: Call) -> str:
    """Begin a step."""
    step = doing.begin(job_of(call), _step(call), who=call.who, at=call.at)
    return f"“{step.title}” has begun."


@act("gates.done", roles=_STEPS)
def done(call: Call) -> str:
    """End a step."""
    step = doing.done(job_of(call), _step(call), who=call.who, at=call.at)
    return f"“{step.title}” is done."


@act("gates.undo", roles=_STEPS)
def undo(call: Call) -> str:
    """Take a step back."""
    step = doing.undo(job_of(call), _step(call), who=call.who, at=call.at)
    return f"“{step.title}” is to do again."


@act("gates.leave-out", roles=_STEPS)
def leave_out(call: Call) -> str:
    """Leave a step out."""
    because = call.fields.get("because", "")
    step = doing.left_out(job_of(call), _step(call), because, who=call.who, at=call.at)
    return f"“{step.title}” is left out."


@act("gates.dwell", roles=_STEPS)
def dwell(call: Call) -> str:
    """Put something on a part of the car that works for a time."""
    made = dwells.put_on(job_of(call), _step(call), _where(call), who=call.who, at=call.at)
    return f"It works on {made.where or 'the whole car'} now."


@act("gates.rinsed", roles=_STEPS)
def rinsed(call: Call) -> str:
    """Rinse a part of the car."""
    ended = dwells.rinsed(job_of(call), _step(call), _where(call), who=call.who, at=call.at)
    return dwells.what_came_of(ended)


def _where(call: Call) -> str:
    # Words of one's own go before the part that is chosen.
    return call.fields.get("other", "").strip() or call.fields.get("where", "")


@act("gates.take-tool", roles=_STEPS)
def take_tool(call: Call) -> str:
    """Take a tool for a step."""
    tool = tools.locked_tool(call.fields.get("tool", ""))
    use = tools.take(job_of(call), _step(call), tool, who=call.who, at=call.at)
    return f"{tool.name} is taken for “{use.step.title}”."


@act("gates.dropped", roles=EVERYBODY, needs_job=False)
def dropped(call: Call) -> str:
    """Say that a tool fell on the floor."""
    tool = tools.locked_tool(call.fields.get("tool", ""))
    tools.dropped(tool, job=call.job, who=call.who, at=call.at)
    return f"{tool.name} is out of use until it is laundered."


@act("gates.laundered", roles=EVERYBODY, needs_job=False)
def laundered(call: Call) -> str:
    """Say that a tool was laundered."""
    tool = tools.locked_tool(call.fields.get("tool", ""))
    tools.laundered(tool, job=call.job, who=call.who)
    return f"{tool.name} is in use again."
