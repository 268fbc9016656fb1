"""A passport's paper, made from its content alone and the pictures that it names."""

import datetime
import io
from typing import Any, Final

from PIL import Image

from layflat.papers import (
    CARE,
    PASSPORT,
    CareSheet,
    Head,
    LengthUnit,
    Paper,
    PassportSheet,
    care_sheet,
    passport_sheet,
    qr_svg,
)
from layflat.web.files.store import path_of
from layflat.web.handback import words
from layflat.web.jobs.models import Job
from layflat.web.offer.canonical import in_short
from layflat.web.offer.content import vehicle_words
from layflat.web.offer.shown import said_of
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day

_SIDE_PX: Final = 1100
"""Longer side of a picture on paper: some 300 dots an inch at the width that it has there."""


def passport_pdf(content: dict[str, Any], sha256: str, *, shop: Shop, address: str) -> bytes:
    """The paper of one version; the same content and address give the same bytes.

    Args:
        content: see `content`.
        sha256: of it.
        shop: writes days; where it has inches, the paper is US letter, else A4.
        address: of the private page, for the QR code; "" for none.

    Raises:
        CheckError: the sheet could not be set.
    """
    cover = content["cover"]
    return passport_sheet(
        PassportSheet(
            head=_head(
                content["shop"]["name"],
                content["job"],
                content["vehicle"]["words"],
                cover["title"],
                datetime.date.fromisoformat(content["dated"]),
                shop,
            ),
            version=content["version"],
            because=content["because"],
            sha256=sha256,
            hash_in_short=in_short(sha256),
            contact=content["shop"]["contact"],
            facts=words.facts(content, shop),
            covered=tuple(said_of(cover, "extent", "edges")),
            free=tuple(said_of(cover, "free")),
            over=tuple(said_of(cover, "film_over")),
            expect=tuple(said_of(cover, "expect")),
            pieces=words.pieces(content, shop),
            flags=words.flags(content, shop),
            history=words.history(content, shop),
            steps=words.steps(content, shop),
            acknowledged=words.acknowledged(content, shop),
            visits=words.visits(content, shop),
            pictures=tuple(
                (_small(item["sha256"]), item["caption"]) for item in content["pictures"]
            ),
            care=tuple((title, said) for title, said in content["care"]),
            cautions=tuple(content["cautions"]),
            proof=content["proof"],
            address=address,
            qr=qr_svg(address) if address else "",
        )
    )


def care_pdf(
    job: Job, panels: tuple[str, ...], *, shop: Shop, visit: str, day: datetime.date
) -> bytes:
    """The care sheet of a job, dated *day*.

    Raises:
        CheckError: the sheet could not be set.
    """
    head = _head(shop.name, job.number, vehicle_words(job), "Care of the film", day, shop)
    return care_sheet(
        CareSheet(
            head=head,
            covered=panels,
            care=CARE,
            cautions=(PASSPORT[0], PASSPORT[2]),
            contact=shop.contact,
            visit=visit,
        )
    )


def _head(
    workshop: str, number: str, vehicle: str, title: str, day: datetime.date, shop: Shop
) -> Head:
    return Head(
        workshop=workshop,
        job=title,
        number=number,
        vehicle=vehicle,
        dated=day,
        paper=Paper.LETTER if shop.inches else Paper.A4,
        unit=LengthUnit.INCH if shop.inches else LengthUnit.MM,
    )


def _small(sha256: str) -> bytes:
    """A kept picture as small as paper needs it.

    Raises:
        OSError: it is no longer in the data folder.
    """
    with Image.open(io.BytesIO(path_of(sha256).read_bytes()), formats=("JPEG",)) as image:
        image.draft("RGB", (_SIDE_PX, _SIDE_PX))
        small = image.convert("RGB")
        small.thumbnail((_SIDE_PX, _SIDE_PX), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        small.save(out, "JPEG", quality=80, optimize=True)
    return out.getvalue()


def visit_words(day: datetime.date, shop: Shop) -> str:
    """When the car is seen again, as the care sheet says it."""
    return f"{shown_day(day, shop)}, at {shop.name}; it takes about half an hour."
