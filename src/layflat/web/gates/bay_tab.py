"""What the bay's tab “Steps” shows: what is open first, then what waits, then what is over."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F, FilteredRelation, Q
from django.utils import timezone

from layflat.web.gates.doing import has_dwell, why_not_left_out
from layflat.web.gates.dwells import PLACES
from layflat.web.gates.elsewhere import Elsewhere, elsewhere
from layflat.web.gates.models import Step, Tool
from layflat.web.gates.order import direct_needs
from layflat.web.gates.standing import Standing, standing
from layflat.web.gates.tools import why_not
from layflat.web.jobs.models import Job
from layflat.web.jobs.shared import read_once
from layflat.web.people.models import Person


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A step in the bay.

    Attributes:
        item: how it stands.
        dwells: whether something works on the paint in it.
        places: parts of the car on which nothing of it works now.
        taken: tools that were taken for it and are in use.
        tools: tools that may be taken for it.
        stays: why it is never left out, or "".
        needs: the keys of the steps right before it that are not over.
        opens: the keys of the steps right after it.
        elsewhere: where it is done, for one that is not ended in this list; or None.
    """

    item: Standing
    dwells: bool
    places: tuple[str, ...]
    taken: tuple[Tool, ...]
    tools: tuple[Tool, ...]
    stays: str
    needs: tuple[str, ...]
    opens: tuple[str, ...]
    elsewhere: Elsewhere | None

    @property
    def step(self) -> Step:
        """Its row."""
        return self.item.step


def read(job: Job, who: Person | None) -> dict[str, Any]:
    """What `gates/bay_tab.html` shows of a job; a query and those of `standing`."""
    found = read_once(job, standing)
    steps = [item.step for item in found]
    tools, used = _tools(steps)
    needs = direct_needs(steps)
    over = {item.step.key for item in found if item.is_over}
    shown = [
        _shown(
            item,
            steps,
            tools,
            used.get(item.step.pk, []),
            needs=set(needs[item.step.key]) - over,
            opens=[key for key, before in needs.items() if item.step.key in before],
            place=elsewhere(item.step.kind, job, who),
        )
        for item in found
    ]
    left_out = Step.State.LEFT_OUT
    return {
        "gates_now": timezone.now(),
        "gates_planned": bool(found),
        "gates_open": [one for one in shown if one.item.is_open and not one.item.waits_for],
        "gates_waiting": [
            one
            for one in shown
            if not one.item.is_over
            and one.step.state != left_out
            and not (one.item.is_open and not one.item.waits_for)
        ],
        "gates_over": [one for one in shown if one.item.is_over or one.step.state == left_out],
        "gates_running": [(one, dwell) for one in shown for dwell in one.item.running],
        "gates_out": [tool for tool in tools if tool.out_because],
    }


def _tools(steps: Iterable[Step]) -> tuple[list[Tool], dict[int, list[Tool]]]:
    """The shop's tools by name, and which were taken for each step, in the order of taking."""
    of_steps = Q(uses__step__in=[step.pk for step in steps])
    # A row for each use of a tool, or one without.
    rows = Tool.objects.filter(is_retired=False).annotate(
        taken=FilteredRelation("uses", condition=of_steps),
        use=F("taken__pk"),
        step=F("taken__step_id"),
    )
    tools: dict[int, Tool] = {}
    uses: list[tuple[int, int, Tool]] = []
    for row in rows:
        tool = tools.setdefault(row.pk, row)
        if row.use is not None:
            uses.append((row.use, row.step, tool))
    used: dict[int, list[Tool]] = {}
    for _, step, tool in sorted(uses, key=lambda item: item[0]):
        used.setdefault(step, []).append(tool)
    return list(tools.values()), used


def _shown(
    item: Standing,
    steps: Sequence[Step],
    tools: Sequence[Tool],
    used: Sequence[Tool],
    *,
    needs: Collection[str],
    opens: Iterable[str],
    place: Elsewhere | None,
) -> Shown:
    running = {one.dwell.where for one in item.running}
    taken = tuple(tool for tool in used if not tool.out_because)
    return Shown(
        item=item,
        dwells=has_dwell(item.step),
        places=tuple(place for place in PLACES if place not in running),
        taken=taken,
        tools=tuple(tool for tool in tools if tool not in taken and not why_not(tool, item.step)),
        stays=why_not_left_out(item.step, steps),
        needs=tuple(sorted(needs)),
        opens=tuple(opens),
        elsewhere=place,
    )
