"""How the pieces of a layout may be turned, each by itself: film may show its direction.

In matt, tinted and coloured film the pieces of one job lie in one direction, and those of another
job that shares the film perhaps in another. Stored layouts say it under `turns_deg`: by the pieces'
numbers, or, those of before it was kept for each piece, in one list for all of them.
"""

from collections import Counter
from collections.abc import Mapping
from typing import Any

from django.db.models import Q

from layflat.web.cover.order import TURNS_DEG
from layflat.web.cutting.models import Layout, Member, apart
from layflat.web.jobs.models import Job

Turns = Mapping[int, tuple[float, ...]]
"""The turns that each piece may take, in degrees, by its number within the layout."""


def turns_of(data: Mapping[str, Any]) -> Turns:
    """How each piece of a stored layout may be turned.

    Where one list for all of them names what the pieces of several jobs took, each job's pieces
    keep what they have: nobody knows any more whose direction is which.

    Args:
        data: see `layflat.web.cutting.stored`.
    """
    given = data.get("turns_deg", TURNS_DEG)
    if isinstance(given, Mapping):
        return {int(number): tuple(turns) for number, turns in given.items()}
    placements = data["placements"]
    if len(given) == 1 or set(given) >= set(TURNS_DEG):
        return {item["piece"]: tuple(given) for item in placements}
    by_letter: dict[str, set[float]] = {}
    for item in placements:
        by_letter.setdefault(apart(item["piece"])[0], set()).add(item["turn_deg"])
    return {item["piece"]: tuple(sorted(by_letter[apart(item["piece"])[0]])) for item in placements}


def turns_json(turns: Turns) -> dict[str, list[float]]:
    """The same as a stored layout says it."""
    return {str(number): list(values) for number, values in turns.items()}


def shows_direction(turns: Turns) -> bool:
    """Whether no piece may be turned."""
    return all(len(values) == 1 for values in turns.values())


def direction_of(job: Job, film: str) -> float | None:
    """The turn at which a job's pieces lie in a film that shows its direction, in degrees.

    It is that of most pieces of the layouts that were chosen; None where none of them says that
    this film shows a direction. Two queries.

    Args:
        job: whose.
        film: its name, as the stock has it.
    """
    members = Member.objects.filter(job=job, left_because="")
    letters = dict(members.values_list("layout", "letter"))
    rows = Layout.objects.filter(
        Q(job=job) | Q(pk__in=letters),
        Q(state__in=(Layout.State.KEPT, Layout.State.CUT))
        | Q(state=Layout.State.SEARCHING, queue_place__isnull=False),
        roll__film=film,
        found__has_key="turns_deg",
    )
    found: Counter[float] = Counter()
    for layout in rows.only("found"):
        letter = letters.get(layout.pk, "")
        found.update(
            values[0] % 360.0
            for number, values in turns_of(layout.found or {}).items()
            if len(values) == 1 and apart(number)[0] == letter
        )
    return min(found, key=lambda turn: (-found[turn], turn), default=None)


def turns_for(job: Job, film: str) -> tuple[float, ...]:
    """How a job's pieces may be turned on a film whose kind nobody says; see `direction_of`."""
    direction = direction_of(job, film)
    return TURNS_DEG if direction is None else (direction,)
