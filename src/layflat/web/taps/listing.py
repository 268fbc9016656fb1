"""Taps that did not go in, and how people saw to them."""

from dataclasses import dataclass
from typing import Final

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.http import Http404
from django.utils import timezone

from layflat.base import InputError
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.taps.acts import title_of
from layflat.web.taps.models import Tap
from layflat.web.taps.naming import in_words

MOST_SHOWN: Final = 100
_MOST_WORDS: Final = 200
SHORT: Final = ("Not needed any more", "Done anew since")
"""How most are settled, each by one tap."""


@dataclass(frozen=True)
class Refused:
    """A tap that did not go in, as people read it.

    Attributes:
        tap: its row.
        wish: who wanted to do what, in a sentence.
        entered: names and texts of what was entered, without what was left empty.
    """

    tap: Tap
    wish: str
    entered: tuple[tuple[str, str], ...]


def count_unsettled() -> int:
    """How many did not go in and nobody has seen to."""
    return _unsettled().count()


def unsettled_of_job() -> Coalesce:
    """How many of each job, as a column of a query for jobs."""
    of_job = _unsettled().order_by().filter(job=OuterRef("pk")).values("job")
    return Coalesce(Subquery(of_job.annotate(count=Count("pk")).values("count")), 0)


def unsettled() -> list[Refused]:
    """Those that nobody has seen to, the oldest first; at most `MOST_SHOWN`."""
    return _shown(_unsettled())


def settled() -> list[Refused]:
    """Those that somebody has seen to, the last settled first; at most `MOST_SHOWN`."""
    rows = Tap.objects.filter(state=Tap.State.REFUSED, settled_at__isnull=False)
    return _shown(rows.order_by("-settled_at", "-id"))


def settle_tap(pk: int, *, how: str, who: Person | None) -> Tap:
    """Note how somebody saw to a tap that did not go in; call it in a transaction.

    Raises:
        Http404: there is no such tap.
        InputError: without words, or somebody was quicker.
    """
    row = Tap.objects.select_for_update().filter(pk=pk, state=Tap.State.REFUSED).first()
    if row is None:
        raise Http404("There is no such tap.")
    if row.settled_at is not None:
        raise InputError(
            f"{row.settled_by or 'Somebody'} has settled that already: “{row.settled_how}”."
        )
    how = " ".join(how.split())
    if not how:
        raise InputError("Say how it was settled: done anew, not needed, or what else.")
    row.settled_at, row.settled_by, row.settled_how = timezone.now(), who, how[:_MOST_WORDS]
    row.save(update_fields=["settled_at", "settled_by", "settled_how"])
    write_event(
        "taps.settled",
        f"Settled what did not go in ({title_of(row.act).lower()}): {how}",
        who=who,
        job=row.job,
        after={"tap": row.key},
    )
    return row


def _unsettled() -> "QuerySet[Tap]":
    return Tap.objects.filter(state=Tap.State.REFUSED, settled_at=None)


def _shown(rows: "QuerySet[Tap]") -> list[Refused]:
    found = list(rows.select_related("who", "job__vehicle", "settled_by")[:MOST_SHOWN])
    entered = in_words(found)
    return [Refused(row, _wish(row), entered[row.pk]) for row in found]


def _wish(row: Tap) -> str:
    title = title_of(row.act)
    return f"{row.who.shown} wanted to {title[:1].lower()}{title[1:]}"
