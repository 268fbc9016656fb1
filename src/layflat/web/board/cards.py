"""What stands on the board: a card for every open job, by stage."""

import datetime
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Final

from django.db.models import Count, Exists, F, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from layflat.web.gates.models import Step as BayStep
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import next_step
from layflat.web.offer.on_job import MAKE, computed_covers
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day

COMES_HERE: dict[str, str] = {
    Stage.ENQUIRY: "Somebody asked for film; nobody has seen the vehicle yet.",
    Stage.INTAKE: "Vehicles that are being looked over with their owners.",
    Stage.COVER: "Faults are on record; cover and price are being settled.",
    Stage.OFFERED: "Offers that the customer has, without an answer yet.",
    Stage.ACCEPTED: "Accepted, and not yet in the bay.",
    Stage.BAY: "Being washed, cut, laid, checked or mended.",
    Stage.CHECKED: "Checked, without an open flag; the customer may come.",
    Stage.HANDED: "Handed back; to be seen once more.",
}
"""What each open stage's column is for, said while it is empty."""

_NONE: Final[Mapping[int, str]] = MappingProxyType({})
_WORKSHOP: Final = (Stage.ACCEPTED, Stage.BAY, Stage.CHECKED, Stage.HANDED)


class Due(Enum):
    """How near the promised day is; the value is the shape in the look."""

    LATE = "late"
    TODAY = "today"
    AHEAD = "waiting"
    NONE = "none"


@dataclass(frozen=True, kw_only=True)
class Card:
    """One open job, in words.

    Attributes:
        key, address: of the job and of its page.
        number, plate, vehicle, customer: which it is.
        stage: a value of `Stage`.
        next_step: what is to be done, and `who` has it, or "".
        due, due_words, day: how near the promised day is, and the day as the shop writes it.
        wanted: the day that the customer would like, as the shop writes it, or "".
        blocked_by: what it waits for, or "".
        flags: how many flags have not ended.
        concern: what is wrong with its place in the calendar, or "".
    """

    key: int
    address: str
    number: str
    plate: str
    vehicle: str
    customer: str
    stage: str
    next_step: str
    who: str
    due: Due
    due_words: str
    day: str
    wanted: str
    blocked_by: str
    flags: int
    concern: str


@dataclass(frozen=True, kw_only=True)
class Column:
    """One stage of the board: its cards, the soonest promise first."""

    stage: Stage
    cards: tuple[Card, ...]

    @property
    def comes_here(self) -> str:
        """What the column is for."""
        return COMES_HERE[self.stage]


def open_cards(
    *,
    today: datetime.date,
    shop: Shop,
    who: int | None = None,
    late: bool = False,
    concerns: Mapping[int, str] = _NONE,
) -> tuple[Card, ...]:
    """Cards of the open jobs, the soonest promise first; one query.

    Args:
        today: in the shop's time zone.
        shop: writes the days.
        who: only the jobs that the person with this key has.
        late: only jobs whose promised day has passed.
        concerns: what is wrong in the calendar, by the jobs' keys.
    """
    jobs = Job.objects.filter(stage__in=COMES_HERE)
    if who is not None:
        jobs = jobs.filter(assigned=who)
    if late:
        jobs = jobs.filter(promised__lt=today).exclude(stage=Stage.HANDED)
    is_computed = Exists(computed_covers().filter(cover__job=OuterRef("pk")))
    rows = jobs.order_by(F("promised").asc(nulls_last=True), "id").values_list(
        "pk",
        "number",
        "vehicle__plate",
        "vehicle__described",
        "vehicle__body__body__maker",
        "vehicle__body__body__name",
        "vehicle__customer__name",
        "stage",
        "assigned__shown",
        "promised",
        "wanted",
        "blocked_by",
        is_computed,
        _step_now(),
        _flags(),
    )
    return tuple(
        Card(
            key=key,
            address=reverse("jobs:job", args=[number]),
            number=number,
            plate=plate,
            vehicle=f"{maker} {name}" if maker else described,
            customer=customer,
            stage=stage,
            next_step=_next(stage, computed, step_now),
            who=shown or "",
            due=Due.NONE if stage == Stage.HANDED else due_of(promised, today),
            due_words=_due_words(stage, promised, today),
            day=shown_day(promised, shop) if promised else "",
            wanted=shown_day(wanted, shop) if wanted else "",
            blocked_by=blocked_by,
            flags=flags,
            concern=concerns.get(key, ""),
        )
        for (
            key,
            number,
            plate,
            described,
            maker,
            name,
            customer,
            stage,
            shown,
            promised,
            wanted,
            blocked_by,
            computed,
            step_now,
            flags,
        ) in rows
    )


def _step_now() -> Subquery:
    """The first step in the bay that is still to be done."""
    left = BayStep.objects.filter(
        job=OuterRef("pk"), state__in=(BayStep.State.OPEN, BayStep.State.BEGUN)
    )
    return Subquery(left.order_by("position", "id").values("title")[:1])


def _flags() -> Coalesce:
    found = Flag.objects.filter(job=OuterRef("pk")).exclude(state=Flag.State.ENDED)
    counted = found.order_by().values("job").annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(counted), 0)


def _next(stage: str, is_computed: bool, step_now: str | None) -> str:
    if stage == Stage.BAY and step_now:
        return step_now
    return (MAKE if is_computed and stage == Stage.COVER else next_step(stage)).in_short


def _due_words(stage: str, promised: datetime.date | None, today: datetime.date) -> str:
    return "back with its owner" if stage == Stage.HANDED else due_words(promised, today)


def columns(cards: Iterable[Card], *, workshop_first: bool = False) -> tuple[Column, ...]:
    """The cards by stage, every open stage with a column.

    Args:
        cards: of open jobs.
        workshop_first: whether what stands in the workshop comes before the counter's.
    """
    by_stage: dict[str, list[Card]] = {stage: [] for stage in COMES_HERE}
    for card in cards:
        by_stage[card.stage].append(card)
    found = [Column(stage=Stage(stage), cards=tuple(of)) for stage, of in by_stage.items()]
    if workshop_first:
        found.sort(key=lambda column: column.stage not in _WORKSHOP)
    return tuple(found)


def due_of(promised: datetime.date | None, today: datetime.date) -> Due:
    """How near a promised day is."""
    if promised is None:
        return Due.NONE
    if promised == today:
        return Due.TODAY
    return Due.LATE if promised < today else Due.AHEAD


def due_words(promised: datetime.date | None, today: datetime.date) -> str:
    """How near a promised day is, as people say it."""
    if promised is None:
        return "no day promised"
    days = (promised - today).days
    if days in (0, 1):
        return ("today", "tomorrow")[days]
    count = "1 day" if abs(days) == 1 else f"{abs(days)} days"
    return f"in {count}" if days > 0 else f"late by {count}"


def summary(cards: Sequence[Card]) -> str:
    """How many jobs are open, late and blocked, in a line."""
    late = sum(card.due is Due.LATE for card in cards)
    blocked = sum(bool(card.blocked_by) for card in cards)
    jobs = "1 open job" if len(cards) == 1 else f"{len(cards)} open jobs"
    return f"{jobs}, {late or 'none'} late, {blocked or 'none'} blocked"


def stamp(*parts: object) -> str:
    """An entity tag: the same as long as all *parts* read the same."""
    digest = hashlib.sha256("\x00".join(map(repr, parts)).encode())
    return f'"{digest.hexdigest()[:32]}"'
