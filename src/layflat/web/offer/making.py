"""Making a version: what may go in, the draft with its paper, and keeping it once."""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from layflat.base import InputError
from layflat.web.cover.models import Cover, Outcome
from layflat.web.cover.outcomes import is_current, take_over
from layflat.web.cover.price import priced
from layflat.web.files.store import keep
from layflat.web.jobs.kinds import kind_named
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.offer.canonical import sha256_of
from layflat.web.offer.content import Choice, Terms, build, costs
from layflat.web.offer.models import Offer
from layflat.web.offer.money import OwnLine
from layflat.web.offer.paper import offer_pdf
from layflat.web.offer.standing import today
from layflat.web.people.models import Person, Shop

VALID_DAYS: Final = 30
"""How long an offer is valid, where nobody says otherwise."""
MOST_VALID_DAYS: Final = 365
_MOST_PDF: Final = 30_000_000
MAY_OFFER: Final = (Stage.COVER, Stage.OFFERED)
"""Stages at which a version can be made."""


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A cover as far as it can go into an offer.

    Attributes:
        cover: which.
        outcome: its newest, or None.
        waits_for: why it cannot go in yet, in a sentence; "" when it can.
    """

    cover: Cover
    outcome: Outcome | None
    waits_for: str = ""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What a person wants in the next version.

    Attributes:
        covers: keys of the covers, in the order that the customer reads them.
        own: lines that were added.
        valid_days: for how many days from today it can be accepted.
        message: to the customer.
    """

    covers: tuple[int, ...]
    own: tuple[OwnLine, ...] = ()
    valid_days: int = VALID_DAYS
    message: str = ""


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A version before it is kept.

    Attributes:
        content: what the customer will read.
        sha256: of it.
        costs: for the owner, in the order of the alternatives.
        choices: that it was made from.
        valid_until: as in the content.
    """

    content: dict[str, Any]
    sha256: str
    costs: list[dict[str, str]]
    choices: tuple[Choice, ...] = field(repr=False)
    valid_until: datetime.date


def newest_outcomes(job: Job) -> dict[int, Outcome]:
    """The newest outcome of each of a job's covers, by the cover's key; two queries.

    What was computed while nobody looked is taken over first.
    """
    take_over(job)
    rows = (
        Outcome.objects.filter(cover__job=job)
        .select_related("cover", "computation", "shown", "lines", "picture")
        .order_by("number")
    )
    return {outcome.cover_id: outcome for outcome in rows}


def covers_of(job: Job) -> list[Cover]:
    """A job's covers with their bodies; one query."""
    return list(
        job.covers.select_related("body__light", "body__panels", "body__scan", "body__preparation")
    )


def ready_covers(
    covers: Sequence[Cover], newest: Mapping[int, Outcome], shop: Shop
) -> tuple[Ready, ...]:
    """Covers that are not dropped, with what each waits for."""
    return tuple(
        Ready(
            cover=cover,
            outcome=newest.get(cover.pk),
            waits_for=_waits(cover, newest.get(cover.pk), shop),
        )
        for cover in covers
        if not cover.is_dropped
    )


def _waits(cover: Cover, outcome: Outcome | None, shop: Shop) -> str:
    if outcome is None:
        return f"“{cover.title}” has not been computed yet."
    if not is_current(cover, outcome, shop=shop):
        return f"“{cover.title}” was changed after it was computed; compute it again."
    return ""


def out_of_date(offer: Offer, ready: Sequence[Ready], shop: Shop) -> list[str]:
    """What has changed on the shop's side since an offer was made, in sentences.

    Args:
        offer: the newest.
        ready: the job's covers.
        shop: whose roll counts.
    """
    by_key = {item.cover.pk: item for item in ready}
    found = []
    for item in offer.content["alternatives"]:
        now = by_key.get(item["cover"])
        if now is None:
            found.append(f"“{item['title']}” is no longer among the job's covers.")
        elif now.waits_for or now.outcome is None or now.outcome.pk != item["outcome"]:
            found.append(f"“{item['title']}” was changed or computed anew since.")
        elif now.cover.title != item["title"]:
            found.append(f"“{item['title']}” is now called “{now.cover.title}”.")
    if offer.content["currency"] != shop.currency:
        found.append("The shop's currency is another one now.")
    return found


def open_warnings(faults: Sequence[Fault]) -> list[str]:
    """What the customer has still to acknowledge, in sentences."""
    return [
        f"The customer has not acknowledged fault {fault.number}, "
        f"{kind_named(fault.kind).word.lower()}{', ' + fault.where if fault.where else ''}."
        for fault in faults
        if fault.is_open_warning
    ]


def no_rates(shop: Shop) -> list[str]:
    """What the shop has to say before anything has a price, in sentences."""
    if shop.film_per_metre or shop.rate_per_hour:
        return []
    return ["Film and work have no price yet; the owner writes them down under “Shop”."]


def draft(job: Job, wanted: Wanted, *, shop: Shop, version: int) -> Draft:
    """The next version, as it would be made now.

    Args:
        job: with its vehicle and customer.
        wanted: what goes in.
        shop: whose rates count.
        version: its number.

    Raises:
        InputError: something is missing, in a sentence each.
    """
    if job.stage not in MAY_OFFER:
        raise InputError(
            f"The job stands at “{Stage(job.stage).label}”; an offer is made at the cover."
        )
    faults = list(job.faults.all())
    listed = ready_covers(covers_of(job), newest_outcomes(job), shop)
    ready = {item.cover.pk: item for item in listed}
    if not wanted.covers:
        raise InputError("Choose what the customer can choose from: one cover or more.")
    waits = [
        ready[key].waits_for if key in ready else "A chosen cover is no longer among the job's."
        for key in wanted.covers
    ]
    refused = [sentence for sentence in waits if sentence] + open_warnings(faults) + no_rates(shop)
    if refused:
        raise InputError(" ".join(dict.fromkeys(refused)))
    if not 1 <= wanted.valid_days <= MOST_VALID_DAYS:
        raise InputError(f"An offer is valid for 1 to {MOST_VALID_DAYS} days.")
    day = today(shop)
    terms = Terms(
        version=version,
        dated=day,
        valid_until=day + datetime.timedelta(days=wanted.valid_days),
        message=wanted.message,
        own=wanted.own,
    )
    choices = tuple(_choice(ready[key], shop) for key in dict.fromkeys(wanted.covers))
    content = build(job, choices, terms, shop=shop, faults=faults)
    return Draft(
        content=content,
        sha256=sha256_of(content),
        costs=costs(content, choices, shop),
        choices=choices,
        valid_until=terms.valid_until,
    )


def _choice(ready: Ready, shop: Shop) -> Choice:
    outcome = ready.outcome
    if outcome is None:
        raise InputError(ready.waits_for)
    return Choice(
        outcome=outcome,
        pieces=tuple(outcome.pieces.select_related("map")),
        price=priced(outcome.film_mm, outcome.minutes, shop),
    )


def last_version(job: Job) -> int:
    """The number of a job's newest version; 0 before the first."""
    number = job.offers.order_by("-version").values_list("version", flat=True).first()
    return number or 0


def keep_version(
    job: Job, wanted: Wanted, made: Draft, pdf: bytes, *, shop: Shop, who: Person | None
) -> Offer:
    """Keep a version as it was drafted: its row, its paper, the job's stage and the event.

    Args:
        job: locked, in a transaction; nothing is kept when that fails.
        wanted: what was drafted.
        made: the draft.
        pdf: its paper, see `offer_pdf`.
        shop: as it was for the draft.
        who: makes it.

    Raises:
        InputError: something changed while the paper was set, or another version was made.
        OutputError: the paper cannot be kept.
    """
    version = made.content["version"]
    if last_version(job) != version - 1:
        raise InputError(
            f"Somebody else made version {last_version(job)} meanwhile; look at it below first. "
            "What you entered is still here."
        )
    if draft(job, wanted, shop=shop, version=version).sha256 != made.sha256:
        raise InputError("Something was changed meanwhile; look at the preview again.")
    stored = keep(
        [pdf],
        name=f"{job.number}-offer-{version}.pdf",
        media_type="application/pdf",
        most_bytes=_MOST_PDF,
        who=who,
    )
    offer = Offer.objects.create(
        job=job,
        version=version,
        content=made.content,
        sha256=made.sha256,
        costs=made.costs,
        pdf=stored,
        valid_until=made.valid_until,
        made_by=who,
    )
    offer.outcomes.set([choice.outcome for choice in made.choices])
    titles = ", ".join(f"“{item['title']}”" for item in made.content["alternatives"])
    move(
        job,
        Stage.OFFERED,
        who=who,
        kind="offer.made",
        sentence=f"Version {version} of the offer was made: {titles}.",
    )
    return offer


def paper_of(made: Draft, *, shop: Shop) -> bytes:
    """The paper of a draft; it takes a moment, so set it before the job is locked."""
    return offer_pdf(made.content, made.sha256, shop=shop)
