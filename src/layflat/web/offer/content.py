"""What the customer reads, as one value that is frozen: from the job, its covers and the shop.

The content is JSON of texts and whole numbers only (see `canonical`); amounts are texts with the
currency's decimals, days are ISO 8601. It reads::

    {"form": 1, "job": "2031-0042", "version": 1, "dated": "2031-05-24",
     "valid_until": "2031-06-23",
     "shop": {"name", "contact"}, "customer": "…", "vehicle": "…", "message": "…",
     "currency": "EUR", "tax_per_cent": "20",
     "alternatives": [
        {"cover": 7, "title": "Nose only", "outcome": 12,
         "files": {"shown": sha256, "lines": sha256, "picture": sha256}, none of them where every
         piece is a kept pattern; then "flats": [{"piece": 1, "title", "map": sha256}],
         "panels": [{"panel", "title", "extent", "edges": [], "free": [], "film_over": [],
                     "expect": []}],
         "lines": [{"kind", "text", "quantity", "rate", "amount", "parts": [{"text", "quantity",
                    "amount"}]}],
         "net", "tax", "gross", "days": 3}],
     "acknowledged": [{"fault": 1, "text", "by", "on"}],
     "cautions": […], "notes": […]}
"""

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from layflat.base import InputError
from layflat.papers import CUSTOMER, DEFER
from layflat.plan import Price
from layflat.web.cover.models import Outcome, Piece
from layflat.web.jobs.kinds import kind_named
from layflat.web.jobs.models import Fault, Job
from layflat.web.offer.money import OwnLine, costs_of, lines_of, sums
from layflat.web.offer.words import panel_words
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time

FORM: Final = 1
"""Of the content's JSON; another form gets another number."""
MOST_ALTERNATIVES: Final = 4
MOST_OWN: Final = 8
_DAY_MINUTES: Final = 480
"""A working day of one person: assumption of this program."""
_AFTER_REST: Final = frozenset({"edges", "inspect", "hand-back"})
_ROUNDED: Final = (
    "Work is charged by whole minutes, step by step. Each step and each line is rounded once to "
    "the smallest coin, half a coin upwards; tax is rounded once, on the sum of the lines."
)
_STAY: Final = "Film rests overnight before its edges are finished and a second person inspects it."


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One alternative before it is written down.

    Attributes:
        outcome: that it is made from; its cover gives the title.
        pieces: of the outcome.
        price: of the outcome by the shop's present rates.
    """

    outcome: Outcome
    pieces: Sequence[Piece]
    price: Price


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What a person decides for a version.

    Attributes:
        version: its number.
        dated, valid_until: days by the shop's clock.
        message: to the customer, or "".
        own: lines that were added.
    """

    version: int
    dated: datetime.date
    valid_until: datetime.date
    message: str = ""
    own: tuple[OwnLine, ...] = ()


def build(
    job: Job, choices: Sequence[Choice], terms: Terms, *, shop: Shop, faults: Sequence[Fault]
) -> dict[str, Any]:
    """The content of one version.

    Args:
        job: with its vehicle and customer.
        choices: one to four alternatives, in the order that the customer reads them.
        terms: what was decided.
        shop: whose offer it is.
        faults: of the walk-round.

    Raises:
        InputError: there are too few or too many alternatives or lines, or discounts are more than
            what is charged.
    """
    if not 1 <= len(choices) <= MOST_ALTERNATIVES:
        raise InputError(f"Choose one to {MOST_ALTERNATIVES} alternatives for the offer.")
    if len(terms.own) > MOST_OWN:
        raise InputError(f"An offer has at most {MOST_OWN} lines of your own.")
    vehicle = job.vehicle
    return {
        "form": FORM,
        "job": job.number,
        "version": terms.version,
        "dated": terms.dated.isoformat(),
        "valid_until": terms.valid_until.isoformat(),
        "shop": {"name": shop.name, "contact": shop.contact},
        "customer": vehicle.customer.name,
        "vehicle": vehicle_words(job),
        "message": terms.message,
        "currency": shop.currency,
        "tax_per_cent": f"{(100 * Decimal(shop.tax_rate)).normalize():f}",
        "alternatives": [_alternative(choice, terms, shop) for choice in choices],
        "acknowledged": _acknowledged(faults, shop),
        "cautions": [*CUSTOMER, DEFER.replace("this sheet", "this offer")],
        "notes": [_STAY, _ROUNDED],
    }


def vehicle_words(job: Job) -> str:
    """A job's vehicle as the customer knows it."""
    vehicle = job.vehicle
    name = str(vehicle.body.body) if vehicle.body else vehicle.described
    return ", ".join(part for part in (name, vehicle.plate) if part) or "the vehicle"


def _alternative(choice: Choice, terms: Terms, shop: Shop) -> dict[str, Any]:
    outcome, cover = choice.outcome, choice.outcome.cover
    own = [line for line in terms.own if line.cover in (None, cover.pk)]
    lines = lines_of(choice.price, own, in_feet=shop.inches)
    by_panel: dict[str, list[Piece]] = {}
    for piece in choice.pieces:
        by_panel.setdefault(piece.panel_name, []).append(piece)
    rates = choice.price.rates
    return {
        "cover": cover.pk,
        "title": cover.title,
        "outcome": outcome.pk,
        "files": {
            key: stored.sha256
            for key, stored in (
                ("shown", outcome.shown),
                ("lines", outcome.lines),
                ("picture", outcome.picture),
            )
            if stored is not None
        },
        **({} if outcome.picture else {"flats": _flats(choice.pieces)}),
        "panels": [panel_words(by_panel[name], shop) for name in sorted(by_panel)],
        "lines": lines,
        **sums(lines, tax=rates.tax, decimals=rates.decimals),
        "days": days_of(outcome.minutes),
    }


def _flats(pieces: Sequence[Piece]) -> list[dict[str, Any]]:
    """Pieces as they lie in the flat, where there is no vehicle to show them on."""
    return [
        {"piece": piece.number, "title": piece.title, "map": piece.map.sha256}
        for piece in sorted(pieces, key=lambda piece: piece.number)
    ]


def days_of(minutes: dict[str, Any]) -> int:
    """About how many working days a vehicle stays.

    One person works eight hours a day until the film lies; then it rests overnight, and edges,
    inspection and handing back take the next day. Assumption of this program.

    Args:
        minutes: as an outcome's.
    """
    before = sum(
        float(step["minutes"]) for name, step in minutes.items() if name not in _AFTER_REST
    )
    return max(1, math.ceil(before / _DAY_MINUTES)) + 1


def _acknowledged(faults: Sequence[Fault], shop: Shop) -> list[dict[str, Any]]:
    return [
        {
            "fault": fault.number,
            "text": f"{kind_named(fault.kind).word}{', ' + fault.where if fault.where else ''}",
            "by": fault.acknowledged_by,
            "on": shop_time(fault.acknowledged_at, shop).date().isoformat(),
        }
        for fault in faults
        if fault.is_warning and not fault.is_withdrawn and fault.acknowledged_at is not None
    ]


def costs(content: dict[str, Any], choices: Sequence[Choice], shop: Shop) -> list[dict[str, str]]:
    """What each alternative costs the shop, in the content's order; for the owner only.

    Never part of the content: nobody but owners reads it.
    """
    return [
        costs_of(
            metres=sum(
                (line.quantity for line in choice.price.lines if line.unit == "m"), Decimal(0)
            ),
            minutes=sum(
                (line.quantity for line in choice.price.lines if line.unit == "min"), Decimal(0)
            ),
            net=Decimal(alternative["net"]),
            film=Decimal(shop.film_cost_per_metre),
            hour=Decimal(shop.hour_cost),
            other=Decimal(shop.consumables_cost),
        )
        for alternative, choice in zip(content["alternatives"], choices, strict=True)
    ]
