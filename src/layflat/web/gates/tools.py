"""Tools, cloths and mitts: each belongs to a zone; what fell down is out of use until laundered."""

import datetime
from typing import Final

from layflat.base import InputError
from layflat.web.gates.doing import Work
from layflat.web.gates.models import Step, Tool, ToolUse, Zone
from layflat.web.gates.standing import refusal
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.record.models import write_event

FELL: Final = "fell on the floor"
_MOST_NAME: Final = 60


def locked_tool(key: str) -> Tool:
    """The tool with a key, as text; nobody else changes it until the transaction ends.

    Raises:
        InputError: there is none.
    """
    number = int(key) if key.isdecimal() and len(key) < 10 else 0
    found = Tool.objects.select_for_update().filter(pk=number).first()
    if found is None:
        raise InputError("There is no such tool; open the page anew.")
    return found


def take(job: Job, key: str, tool: Tool, *, who: Person, at: datetime.datetime) -> ToolUse:
    """Take a tool for a step, once.

    Args:
        job: locked.
        key: of the step.
        tool: locked.
        who, at: who takes it, and when.

    Raises:
        InputError: it belongs to another zone, is out of use, or the step is not worked on now.
    """
    work = Work(job, at)
    item = work.of(key)
    if not item.is_open:
        raise InputError(refusal(item))
    why = why_not(tool, item.step)
    if why:
        raise InputError(why)
    use, is_new = ToolUse.objects.get_or_create(
        step=item.step, tool=tool, defaults={"at": work.at, "who": who}
    )
    if is_new:
        write_event(
            "gates.tool-taken",
            f"{tool.name} was taken for: {item.step.title}.",
            who=who,
            job=job,
            after={"step": key, "tool": tool.pk},
        )
    return use


def why_not(tool: Tool, step: Step) -> str:
    """Why a tool does not touch what a step works on, in a sentence; "" when it may."""
    if tool.is_retired:
        return f"{tool.name} is no longer in use."
    if tool.out_because:
        since = f" ({shown_moment(tool.out_at, the_shop())})" if tool.out_at else ""
        return f"{tool.name} {tool.out_because}{since}; it is out of use until it is laundered."
    zones = {tool.zone, step.zone} - {Zone.ANY}
    if len(zones) > 1:
        return (
            f"{tool.name} belongs to {Zone(tool.zone).label}; “{step.title}” works on "
            f"{Zone(step.zone).label}. Take another: what it picked up there makes scratches."
        )
    return ""


def dropped(tool: Tool, *, job: Job | None, who: Person, at: datetime.datetime) -> None:
    """A tool fell on the floor: out of use until laundered; nothing when it is out already."""
    if tool.out_because:
        return
    tool.out_because, tool.out_at = FELL, at
    _keep(tool, "gates.tool-dropped", f"{tool.name} fell on the floor; out of use.", who, job)


def laundered(tool: Tool, *, job: Job | None, who: Person) -> None:
    """A tool is clean again; nothing when it was in use all along."""
    if not tool.out_because:
        return
    tool.out_because, tool.out_at = "", None
    _keep(tool, "gates.tool-laundered", f"{tool.name} was laundered; in use again.", who, job)


def add_tool(name: str, zone: str, *, who: Person) -> Tool:
    """A new tool of the shop.

    Raises:
        InputError: without a name or a zone, or when there is one of that name.
    """
    name = " ".join(name.split())[:_MOST_NAME]
    if not name:
        raise InputError("Give the tool a name that is written on it, such as “blue mitt 2”.")
    if zone not in Zone.values:
        raise InputError(f"Say which zone {name} belongs to.")
    if Tool.objects.filter(name__iexact=name).exists():
        raise InputError(f"There is a tool “{name}” already; number them.")
    made = Tool.objects.create(name=name, zone=zone)
    write_event(
        "gates.tool-added",
        f"{name} was added for {Zone(zone).label}.",
        who=who,
        after={"tool": made.pk},
    )
    return made


def retire_tool(tool: Tool, *, retired: bool, who: Person) -> None:
    """Have a tool no longer, or again, in use."""
    if tool.is_retired == retired:
        return
    tool.is_retired = retired
    words = "is no longer in use" if retired else "is in use again"
    _keep(tool, "gates.tool-retired", f"{tool.name} {words}.", who, None)


def _keep(tool: Tool, kind: str, sentence: str, who: Person, job: Job | None) -> None:
    tool.version += 1
    tool.save()
    write_event(kind, sentence, who=who, job=job, after={"tool": tool.pk, "version": tool.version})
