"""An offer as pages show it: its content with addresses, differences, and how it stands."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.jobs.models import Job, Stage
from layflat.web.offer.difference import difference
from layflat.web.offer.standing import State, Version, accepted_among, versions_of
from layflat.web.people.models import Shop

FILES: Final = {"vehicle.glb": "shown", "lines.json": "lines", "picture.png": "picture"}
"""Files of an alternative: as its address ends, and as its content names it."""
Addresser = Callable[[int, str], str]
"""Gives the address of a file of an alternative, by its place from 1."""


@dataclass(frozen=True, kw_only=True)
class ShownAlternative:
    """One alternative of a content.

    Attributes:
        place: from 1.
        item: as in the content.
        glb, lines, picture: addresses.
        covered: names of its panels, for the viewer.
    """

    place: int
    item: dict[str, Any]
    glb: str
    lines: str
    picture: str
    covered: str


def alternatives_of(
    content: dict[str, Any], address: Addresser, *, only: int | None = None
) -> tuple[ShownAlternative, ...]:
    """A content's alternatives with the addresses of their files; one of them where *only* says."""
    return tuple(
        ShownAlternative(
            place=place,
            item=item,
            glb=address(place, "vehicle.glb"),
            lines=address(place, "lines.json"),
            picture=address(place, "picture.png"),
            covered=" ".join(panel["panel"] for panel in item["panels"]),
        )
        for place, item in enumerate(content["alternatives"], start=1)
        if only in (None, place)
    )


@dataclass(frozen=True, kw_only=True)
class Changes:
    """What a version says otherwise than an earlier one.

    Attributes:
        since: number of the earlier one.
        was_accepted: whether the earlier one had been accepted.
        sentences: one each.
    """

    since: int
    was_accepted: bool
    sentences: tuple[str, ...]


def changes_of(versions: Sequence[Version], shown: Version) -> Changes | None:
    """What a version changes: against what was accepted before it, or else the one before.

    Args:
        versions: all of the job, the newest first.
        shown: one of them.
    """
    earlier = [item for item in versions if item.offer.version < shown.offer.version]
    if not earlier:
        return None
    base = accepted_among(earlier) or earlier[0]
    return Changes(
        since=base.offer.version,
        was_accepted=base.acceptance is not None,
        sentences=tuple(difference(base.offer.content, shown.offer.content)),
    )


@dataclass(frozen=True, kw_only=True)
class JobOffer:
    """A job's offer in a few words, for the job's page.

    Attributes:
        newest: the newest version, or None before the first.
        is_open: whether the customer can accept it.
        accepted: the newest that was accepted, or None.
        title: of the accepted alternative, or "".
        panels: titles of its panels.
    """

    newest: Version | None
    is_open: bool
    accepted: Version | None
    title: str = ""
    panels: tuple[str, ...] = ()


def job_offer(job: Job, shop: Shop) -> JobOffer:
    """How a job's offer stands; one query."""
    versions = versions_of(job, shop)
    newest = versions[0] if versions else None
    is_open = newest is not None and newest.state is State.OPEN and job.stage == Stage.OFFERED
    accepted = accepted_among(versions)
    if accepted is None or accepted.acceptance is None:
        return JobOffer(newest=newest, is_open=is_open, accepted=None)
    item = accepted.offer.content["alternatives"][accepted.acceptance.alternative - 1]
    return JobOffer(
        newest=newest,
        is_open=is_open,
        accepted=accepted,
        title=item["title"],
        panels=tuple(panel["title"] for panel in item["panels"]),
    )
