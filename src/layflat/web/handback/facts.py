"""All rows that a passport is made from, asked for once."""

import datetime
from dataclasses import dataclass
from typing import Any

from layflat.base import InputError
from layflat.web.corrections.reading import stretch_said
from layflat.web.cutting.film import cuts_of
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind, Step
from layflat.web.handback.models import FinalPicture, FollowUp
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.inspection.open import checks_of, flags_of
from layflat.web.jobs.models import Fault, Job
from layflat.web.laying.done import layings_of
from layflat.web.laying.models import Laying
from layflat.web.offer.accepted import newest_acceptance
from layflat.web.offer.models import Acceptance
from layflat.web.people.models import Shop


@dataclass(frozen=True, kw_only=True)
class Given:
    """How the car was, or is being, given back.

    Attributes:
        name: of whoever takes it, as typed.
        signature: SHA-256 of the picture of the signature, or "" when it is on paper.
        on_paper_because: why it is on paper, or "".
        by: of the shop.
        at: when, UTC.
    """

    name: str
    signature: str
    on_paper_because: str
    by: str
    at: datetime.datetime


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is known of a finished job.

    Attributes:
        job: with its vehicle, customer and body.
        shop: whose record it is.
        acceptance: with its offer.
        cuts: every piece of film, lost ones too, in the order of laying.
        layings: all that was done with them, in order.
        checks: the one that stands for each piece of film, by its key.
        rounds, flags, steps, faults: of the job, in their order; `given` stands for the last step.
        pictures: of the finished car, without withdrawn ones.
        visits: that took place.
        given: how it was given back.
        stretch: what fit notes say of stretch, by the key of a piece of film, in a sentence; of
            those from kept patterns that were cut by a revision from notes.
    """

    job: Job
    shop: Shop
    acceptance: Acceptance
    cuts: list[Cut]
    layings: list[Laying]
    checks: dict[int, Check]
    rounds: list[Round]
    flags: list[Flag]
    steps: list[Step]
    faults: list[Fault]
    pictures: list[FinalPicture]
    visits: list[FollowUp]
    given: Given
    stretch: dict[int, str]

    @property
    def chosen(self) -> dict[str, Any]:
        """The alternative that the customer accepted, as its offer's content has it."""
        alternatives = self.acceptance.offer.content["alternatives"]
        found: dict[str, Any] = alternatives[self.acceptance.alternative - 1]
        return found


def facts_of(job: Job, given: Given, *, shop: Shop) -> Facts:
    """What is known of a job now.

    Args:
        job: with its vehicle.
        given: how it was given back.
        shop: whose record it is.

    Raises:
        InputError: nothing was accepted.
    """
    acceptance = newest_acceptance(job)
    if acceptance is None:
        raise InputError(
            "The customer has accepted no offer; there is nothing to give a record of."
        )
    cuts = cuts_of(job)
    return Facts(
        job=job,
        shop=shop,
        acceptance=acceptance,
        cuts=cuts,
        layings=list(layings_of(job)),
        checks=checks_of(job),
        rounds=list(job.rounds.select_related("inspector")),
        flags=flags_of(job),
        steps=list(job.steps.select_related("ended_by").exclude(kind=Kind.HAND_BACK)),
        faults=list(job.faults.all()),
        pictures=standing_pictures(job),
        visits=list(job.follow_ups.select_related("who").filter(came_at__isnull=False)),
        given=given,
        stretch=stretch_by_cut(cuts),
    )


def stretch_by_cut(cuts: list[Cut]) -> dict[int, str]:
    """See `Facts.stretch`; queries for pieces from kept patterns only."""
    pieces = {cut.pk: cut.piece for cut in cuts if "kept" in cut.piece.details}
    said = {
        key: stretch_said(piece.outcome.cover.body.body_id, piece.panel, piece.details)
        for key, piece in pieces.items()
    }
    return {key: words for key, words in said.items() if words}


def standing_pictures(job: Job) -> list[FinalPicture]:
    """The pictures of the finished car that were not withdrawn; one query."""
    return list(job.final_pictures.select_related("photo", "thumb").filter(is_withdrawn=False))
