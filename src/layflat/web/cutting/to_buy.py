"""Which film is to be ordered, and by when: from what is there, promised, and usually used.

All lengths are of the shop's usual roll width, so that rolls of other widths count by their area.
"""

import datetime
import math
from collections import defaultdict
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Exists, OuterRef, Q, Sum
from django.utils import timezone

from layflat.plan import Reorder, Usual, reorder, usual_of
from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut, Layout
from layflat.web.cutting.starting import OPEN_AT
from layflat.web.offer.models import Acceptance
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time, the_shop
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.rolls import reserved_of, with_reserved

DAYS: Final = 90
"""What was used on so many days, days without any included, is what is usual."""
_LEAST_DAYS: Final = 14
"""A film that came yesterday has no usual use yet: it is spread over so many days at least."""
LEAD_DAYS: Final = (3.0, 5.0, 8.0)
"""How long an order takes: assumed, since nobody writes down when film was ordered."""
_SOON_DAYS: Final = 14
_ROLL_M: Final = 15.2
_Kind = Movement.Kind
_USING: Final = (_Kind.CUT, _Kind.SPOILED, _Kind.DISCARDED)


@dataclass(frozen=True, kw_only=True)
class Buy:
    """What is to be bought of one film.

    Attributes:
        film: its name.
        plan: when and how much, in metres.
        there_m, promised_m: in the shop, and reserved or needed by accepted jobs.
        week_m: usually used in a week.
        by: the last day on which it is ordered in time; None for now, or not within a fortnight.
        is_usual: whether jobs that no film was chosen for yet are counted for it.
    """

    film: str
    plan: Reorder
    there_m: float
    promised_m: float
    week_m: float
    by: datetime.date | None
    is_usual: bool


def read() -> dict[str, Any]:
    """What `cutting/to_buy.html` shows on the page of the stock."""
    found = to_buy(the_shop())
    due = [one.film for one in found if one.plan.is_due or one.by is not None]
    return {
        "to_buy": found,
        "list_alert": f"Film to order: {', '.join(due)}" if due else "",
        "usual_days": DAYS,
        "lead_days": [round(day) for day in (LEAD_DAYS[0], LEAD_DAYS[-1])],
    }


def to_buy(shop: Shop, *, at: datetime.datetime | None = None) -> list[Buy]:
    """What is to be bought, what is due first before the others; five queries."""
    now = at or timezone.now()
    there, reserved = _there(shop)
    used, began, rolls = _used(shop, now)
    waiting = _waiting(shop)
    films = set(there) | set(used)
    if not films:
        return []
    usual = max(sorted(films), key=lambda film: (sum(used[film].values()), there[film]))
    promised: dict[str, float] = defaultdict(float, reserved)
    for film, metres in waiting:
        promised[film if film in films else usual] += metres
    found = []
    for film in sorted(films):
        lead = _usual(used[film], began.get(film), now)
        plan = reorder(
            lead,
            there_m=there[film],
            promised_m=promised[film],
            roll_m=rolls.get(film, _ROLL_M),
        )
        if lead.per_day_m <= 0 and promised[film] <= there[film]:
            continue
        found.append(
            Buy(
                film=film,
                plan=plan,
                there_m=there[film],
                promised_m=promised[film],
                week_m=7 * lead.per_day_m,
                by=_by(plan, shop, now),
                is_usual=film == usual and bool(waiting),
            )
        )
    return sorted(found, key=lambda one: one.plan.days_left)


def _by(plan: Reorder, shop: Shop, now: datetime.datetime) -> datetime.date | None:
    if plan.is_due or plan.days_left > _SOON_DAYS:
        return None
    return shop_time(now, shop).date() + datetime.timedelta(days=math.floor(plan.days_left))


def _there(shop: Shop) -> tuple[dict[str, float], dict[str, float]]:
    """What is on rolls, and what jobs have reserved of it; offcuts are no film to count on."""
    there: dict[str, float] = defaultdict(float)
    reserved: dict[str, float] = defaultdict(float)
    rolls = Roll.objects.filter(is_finished=False, cut_from=None)
    for roll in with_reserved(rolls):
        there[roll.film] += _metres(roll.left_mm, roll.width_mm, shop)
        reserved[roll.film] += _metres(reserved_of(roll), roll.width_mm, shop)
    return there, reserved


def _used(
    shop: Shop, now: datetime.datetime
) -> tuple[dict[str, dict[datetime.date, float]], dict[str, datetime.date], dict[str, float]]:
    """Metres of each film by day; the day on which each came first; how long its rolls come."""
    used: dict[str, dict[datetime.date, float]] = defaultdict(lambda: defaultdict(float))
    began: dict[str, datetime.date] = {}
    rolls: dict[str, float] = {}
    since = now - datetime.timedelta(days=DAYS)
    taking = Q(kind__in=_USING) | Q(gives_back__kind__in=_USING)
    moves = Movement.objects.filter(Q(kind=_Kind.RECEIVED) | taking & Q(at__gte=since))
    fields = (
        "kind",
        "roll__film",
        "roll__width_mm",
        "roll__received_on",
        "delta_mm",
        "at",
        "gives_back__at",
    )
    for kind, film, width_mm, came, delta_mm, moved, given in moves.values_list(*fields):
        if kind == _Kind.RECEIVED:
            began[film] = min(came, began.get(film, came))
            rolls[film] = delta_mm / 1e3
        elif delta_mm:
            day = shop_time(given or moved, shop).date()
            used[film][day] -= _metres(delta_mm, width_mm, shop)
    return used, began, rolls


def _usual(
    used: dict[datetime.date, float], began: datetime.date | None, now: datetime.datetime
) -> Usual:
    days = DAYS if began is None else (now.date() - began).days + 1
    days = min(DAYS, max(_LEAST_DAYS, days))
    # What a tick gave back on a later day than it was taken counts for neither.
    daily = [max(0.0, metres) for metres in used.values()]
    return usual_of([*daily, *[0.0] * max(0, days - len(daily))], LEAD_DAYS)


def _waiting(shop: Shop) -> list[tuple[str, float]]:
    """What accepted jobs need and no layout has; each with the film of the job's last, or ""."""
    rows = Acceptance.objects.filter(offer__job__stage__in=OPEN_AT, outcome__isnull=False)
    fields = ("offer__job", "outcome", "outcome__film_mm", "outcome__roll_width_mm")
    # The newest of a job is the last.
    jobs = {row[0]: row[1:] for row in rows.order_by("pk").values_list(*fields)}
    if not jobs:
        return []
    good = Cut.objects.filter(piece=OuterRef("pk")).exclude(state=Cut.State.LOST)
    areas = (
        Piece.objects.filter(outcome__in=[outcome for outcome, _, _ in jobs.values()])
        .order_by()
        .values("outcome")
        .annotate(all=Sum("area_mm2"), bare=Sum("area_mm2", filter=~Exists(good)))
    )
    share = {row["outcome"]: row["bare"] / row["all"] for row in areas if row["bare"]}
    if not share:
        return []
    layouts = Layout.objects.exclude(state=Layout.State.DROPPED).filter(
        Q(job__in=jobs) | Q(members__job__in=jobs)
    )
    # Where jobs share a layout all of them are its members, its own job too.
    shared = layouts.order_by("pk").values_list("job", "members__job", "roll__film")
    films = {member or job: film for job, member, film in shared}
    return [
        (films.get(job, ""), _metres(film_mm * share[outcome], width_mm, shop))
        for job, (outcome, film_mm, width_mm) in jobs.items()
        if outcome in share
    ]


def _metres(length_mm: float, width_mm: float, shop: Shop) -> float:
    return length_mm * width_mm / shop.roll_width_mm / 1e3
