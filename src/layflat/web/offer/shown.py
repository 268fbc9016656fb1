"""An offer as pages show it: its content with addresses, differences, and how it stands."""

import re
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
        glb, lines, picture: addresses, which lead nowhere where `has_files` is not so.
        flats: titles and addresses of its pieces in the flat, where `has_files` is not so.
        selected: names of its panels, for the viewer.
    """

    place: int
    item: dict[str, Any]
    glb: str
    lines: str
    picture: str
    flats: tuple[tuple[str, str], ...]
    selected: str

    @property
    def has_files(self) -> bool:
        """Whether the vehicle can be shown with its film; not where every piece is a pattern."""
        return bool(self.item["files"])

    @property
    def covered(self) -> list[tuple[str, str]]:
        """Where film lies, and how it ends."""
        return said_of(self.item, "extent", "edges")

    @property
    def free(self) -> list[tuple[str, str]]:
        """What stays free of film."""
        return said_of(self.item, "free")

    @property
    def over(self) -> list[tuple[str, str]]:
        """What usually stays free and is covered all the same, with the reason."""
        return said_of(self.item, "film_over")

    @property
    def expect(self) -> list[tuple[str, str]]:
        """What will be seen."""
        return said_of(self.item, "expect")

    @property
    def parts(self) -> list[dict[str, str]]:
        """The steps that lines of the price sum up."""
        return [part for line in self.item["lines"] for part in line["parts"]]


def said_of(item: dict[str, Any], *names: str) -> list[tuple[str, str]]:
    """What an alternative says of its panels: their titles, and the words.

    Panels of which the same is said stand together, in the place of the first.

    Args:
        item: an alternative of a content.
        names: of the panels' sentences that are wanted.
    """
    found: dict[str, list[str]] = {}
    for panel in item["panels"]:
        parts = [panel[name] for name in names]
        sentences = [said for part in parts for said in ([part] if isinstance(part, str) else part)]
        if sentences:
            found.setdefault(" ".join(sentences), []).append(panel["title"])
    return [(" · ".join(titles), said) for said, titles in found.items()]


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
            flats=tuple(
                (flat["title"], address(place, f"flat-{flat['piece']}.svg"))
                for flat in item.get("flats", ())
            ),
            selected=" ".join(panel["panel"] for panel in item["panels"]),
        )
        for place, item in enumerate(content["alternatives"], start=1)
        if only in (None, place)
    )


def piece_of(what: str) -> int:
    """The number of the piece whose flat picture an address ends with; 0 for another file."""
    found = re.fullmatch(r"flat-([1-9]\d{0,3})\.svg", what, re.ASCII)
    return int(found[1]) if found else 0


def sha256_of(item: dict[str, Any], what: str) -> str:
    """The file of an alternative that an address ends with; "" where it has none."""
    number = piece_of(what)
    if number:
        flats = item.get("flats", ())
        return next((flat["map"] for flat in flats if flat["piece"] == number), "")
    return str(item["files"].get(FILES.get(what, ""), ""))


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
        sentences=tuple(difference(base.offer.content, shown.offer.content, shop=shown.shop)),
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
