"""Versions of a passport: drafted with their paper, kept once, compared, seen to be whole."""

import datetime
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from layflat.base import InputError
from layflat.web.files.store import keep, path_of
from layflat.web.handback.content import build
from layflat.web.handback.facts import Given, facts_of
from layflat.web.handback.models import HandBack, Passport
from layflat.web.handback.paper import passport_pdf
from layflat.web.handback.words import difference
from layflat.web.jobs.models import Job
from layflat.web.offer.canonical import sha256_of
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shop_time
from layflat.web.record.models import write_event

MADE: Final = "handback.passport"
_MOST_PDF: Final = 60_000_000
_CHANGED: Final = (
    "Something was changed on this job while the passport was being set; nothing was done. Look at "
    "the page again and send it once more."
)


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A version before it is kept.

    Attributes:
        content: see `content`.
        sha256: of it.
        pdf: its paper.
        given: how the car was given back.
        because: why this version is made.
        at: when it was drafted, UTC; its day goes into the content.
    """

    content: dict[str, Any]
    sha256: str
    pdf: bytes
    given: Given
    because: str
    at: datetime.datetime


@dataclass(frozen=True, kw_only=True)
class Version:
    """One version as people see it.

    Attributes:
        passport: its row.
        is_whole: whether its content is still the one that its hash was made from.
        changes: what it says otherwise than the one before, in sentences; () for the first.
    """

    passport: Passport
    is_whole: bool
    changes: tuple[str, ...]


def last_version(job: Job) -> int:
    """The number of a job's newest version; 0 before the first."""
    return job.passports.order_by("-version").values_list("version", flat=True).first() or 0


def draft(
    job: Job, given: Given, *, because: str, shop: Shop, address: str, at: datetime.datetime
) -> Draft:
    """The next version with its paper, which takes a moment: set it before the job is locked.

    Args:
        job: with its vehicle.
        given: how the car was, or is being, given back.
        because: why it is made, a sentence.
        shop: whose record it is.
        address: of the private page, for the QR code on the paper.
        at: now.

    Raises:
        InputError: there is no piece of film to speak of, or a picture is no longer there.
        CheckError: the paper cannot be set.
    """
    content = _content(job, given, because=because, shop=shop, at=at)
    if not content["pieces"]:
        raise InputError("There is no film on the car; a passport speaks of every piece of it.")
    sha256 = sha256_of(content)
    try:
        pdf = passport_pdf(content, sha256, shop=shop, address=address)
    except OSError as error:
        raise InputError(
            "A picture of the finished car is no longer in the data folder; withdraw it and take "
            "it again."
        ) from error
    return Draft(content=content, sha256=sha256, pdf=pdf, given=given, because=because, at=at)


def _content(
    job: Job, given: Given, *, because: str, shop: Shop, at: datetime.datetime
) -> dict[str, Any]:
    return build(
        facts_of(job, given, shop=shop),
        version=last_version(job) + 1,
        because=because,
        dated=shop_time(at, shop).date(),
    )


def keep_version(job: Job, made: Draft, *, shop: Shop, who: Person | None) -> Passport:
    """Keep a version as it was drafted, on a locked job in a transaction.

    Raises:
        InputError: something was changed since.
        OutputError: the paper cannot be kept.
    """
    now = _content(job, made.given, because=made.because, shop=shop, at=made.at)
    if sha256_of(now) != made.sha256:
        raise InputError(_CHANGED)
    version = made.content["version"]
    stored = keep(
        [made.pdf],
        name=f"{job.number}-passport-{version}.pdf",
        media_type="application/pdf",
        most_bytes=_MOST_PDF,
        who=who,
    )
    found = Passport.objects.create(
        job=job,
        version=version,
        content=made.content,
        sha256=made.sha256,
        pdf=stored,
        made_by=who,
    )
    write_event(
        MADE,
        f"Version {version} of the passport was made. {made.because}",
        who=who,
        job=job,
        after={"passport": found.pk, "sha256": made.sha256},
    )
    return found


def is_whole(passport: Passport) -> bool:
    """Whether a passport's content is still the one that its hash was made from."""
    return sha256_of(passport.content) == passport.sha256


def versions_of(job: Job, shop: Shop) -> tuple[Version, ...]:
    """Every version of a job's passport, the newest first; one query."""
    rows = list(job.passports.select_related("pdf", "made_by").order_by("version"))
    found = [
        Version(
            passport=row,
            is_whole=is_whole(row),
            changes=()
            if place == 0
            else tuple(difference(rows[place - 1].content, row.content, shop)),
        )
        for place, row in enumerate(rows)
    ]
    return tuple(reversed(found))


def files_not_whole(passport: Passport) -> list[str]:
    """Pictures that a passport names and that are missing or not as they were, in sentences.

    Reads them all; some megabytes.
    """
    return [words for words, sha256 in _named(passport.content) if not _is_there(sha256)]


def _named(content: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for place, item in enumerate(content["pictures"], start=1):
        yield f"Picture {place} of the finished car is missing or was changed.", item["sha256"]
    for item in content["flags"]:
        if item["picture"]:
            yield (
                f"The picture of flag {item['number']} is missing or was changed.",
                item["picture"],
            )
    for item in content["pieces"]:
        for work in item["work"]:
            if work["picture"]:
                said = f"A picture of piece {item['number']} is missing or was changed."
                yield said, work["picture"]
    if content["handed"]["signature"]:
        yield "The signature is missing or was changed.", content["handed"]["signature"]


def _is_there(sha256: str) -> bool:
    try:
        return hashlib.sha256(path_of(sha256).read_bytes()).hexdigest() == sha256
    except OSError:
        return False


def given_of(found: HandBack) -> Given:
    """How a car was given back, as it was written down."""
    return Given(
        name=found.name,
        signature=found.signature.sha256 if found.signature else "",
        on_paper_because=found.on_paper_because,
        by=found.who.shown if found.who else "",
        at=found.at,
    )


def hand_back_of(job: Job) -> HandBack | None:
    """How a job was handed back, with who did it, or None; one query."""
    return HandBack.objects.select_related("signature", "who").filter(job=job).first()
