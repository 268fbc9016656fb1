"""How the pieces of a layout may be turned, each by itself: film may show its direction.

In matt, tinted and coloured film the pieces of one job lie in one direction, and those of another
job that shares the film perhaps in another. Stored layouts say it under `turns_deg`: by the pieces'
numbers, or, those of before it was kept for each piece, in one list for all of them.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Q

from layflat.web.cover.order import TURNS_DEG
from layflat.web.cutting.film import film_of
from layflat.web.cutting.models import Cut, Layout, Member, apart, number_in_layout
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

    It is that of most pieces of the layouts that are not dropped, also of those that a search is
    still at; None where none of them says that this film shows a direction. Two queries.

    Args:
        job: whose.
        film: its name, as the stock has it.
    """
    used, _ = _directions(job, film)
    return _most(used)


def turns_on(job: Job, film: str) -> tuple[float, ...]:
    """How a job's pieces may be turned on a film that shows its direction, as somebody says.

    See `direction_of`. Pieces that were laid out before anybody said so lie as they lie: the others
    get the direction of most of those that are not lost.
    """
    direction = direction_of(job, film)
    return _turns(_most([_as_they_lie(job, film)]) if direction is None else direction)


def turns_for(job: Job, film: str) -> tuple[float, ...]:
    """How a job's pieces may be turned on a film whose kind nobody says.

    They lie as those that the job has of it. Where each of its layouts was dropped, they lie as in
    the last one: nothing else knows any more that the film shows its direction.
    """
    used, dropped = _directions(job, film)
    return _turns(_most(used or dropped[-1:]))


def _turns(direction: float | None) -> tuple[float, ...]:
    return TURNS_DEG if direction is None else (direction,)


def _as_they_lie(job: Job, film: str) -> Counter[float]:
    """How many of a job's pieces of a film, to be cut or on hand, lie in which direction."""
    cuts = film_of(job).filter(section__layout__roll__film=film).exclude(state=Cut.State.LOST)
    held = {
        (layout, number_in_layout(letter, number))
        for layout, letter, number in cuts.values_list("section__layout", "letter", "number")
    }
    layouts = Layout.objects.filter(pk__in={layout for layout, _ in held})
    return Counter(
        item["turn_deg"] % 360.0
        for key, found in layouts.values_list("pk", "found")
        for item in (found or {"placements": ()})["placements"]
        if (key, item["piece"]) in held
    )


def _directions(job: Job, film: str) -> tuple[list[Counter[float]], list[Counter[float]]]:
    """How many of a job's pieces lie in which direction in each of its layouts of a film.

    Returns:
        Those of the layouts that are used, and of those that were dropped, the newest last.
    """
    members = Member.objects.filter(job=job, left_because="")
    letters = dict(members.values_list("layout", "letter"))
    rows = Layout.objects.filter(Q(job=job) | Q(pk__in=letters), roll__film=film)
    rows = rows.select_related("computation").only(
        "state", "pieces", "found", "so_far", "computation__inputs"
    )
    used: list[Counter[float]] = []
    dropped: list[Counter[float]] = []
    for layout in rows.order_by("pk"):
        letter = letters.get(layout.pk, "")
        own = Counter(
            values[0] % 360.0
            for number, values in _asked(layout).items()
            if len(values) == 1 and apart(number)[0] == letter
        )
        (dropped if layout.state == Layout.State.DROPPED else used).append(own)
    return used, dropped


def _asked(layout: Layout) -> Turns:
    """How a layout's pieces may be turned, also while nothing is found yet."""
    data = layout.found or layout.so_far
    if data is not None:
        return turns_of(data)
    made = layout.computation
    given = made.inputs.get("turns_deg", ()) if made is not None else ()
    return dict.fromkeys(layout.pieces, tuple(given))


def _most(counted: Iterable[Counter[float]]) -> float | None:
    found: Counter[float] = Counter()
    for one in counted:
        found.update(one)
    return min(found, key=lambda turn: (-found[turn], turn), default=None)
