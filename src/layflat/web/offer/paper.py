"""An offer's paper, made from its content alone and the pictures that it names."""

import datetime
from typing import Any, Final

from layflat.papers import Head, LengthUnit, OfferedCover, OfferLine, OfferSheet, Paper, offer_sheet
from layflat.web.files.store import path_of
from layflat.web.offer.canonical import in_short
from layflat.web.offer.shown import said_of
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day

_MOST_FLATS: Final = 12
"""Pieces of an alternative that are drawn on paper; its page shows all."""


def offer_pdf(content: dict[str, Any], sha256: str, *, shop: Shop) -> bytes:
    """The paper of one version; the same content gives the same bytes.

    Args:
        content: see `content`.
        sha256: of it.
        shop: writes days; where it has inches, the paper is US letter, else A4.

    Raises:
        CheckError: the sheet could not be set.
    """
    return offer_sheet(sheet_of(content, sha256, shop=shop))


def sheet_of(content: dict[str, Any], sha256: str, *, shop: Shop) -> OfferSheet:
    """The sheet of one version before it is set."""
    head = Head(
        workshop=content["shop"]["name"],
        job="Film for your vehicle",
        number=content["job"],
        vehicle=content["vehicle"],
        dated=datetime.date.fromisoformat(content["dated"]),
        customer=content["customer"],
        paper=Paper.LETTER if shop.inches else Paper.A4,
        unit=LengthUnit.INCH if shop.inches else LengthUnit.MM,
    )
    return OfferSheet(
        head=head,
        version=content["version"],
        sha256=sha256,
        hash_in_short=in_short(sha256),
        contact=content["shop"]["contact"],
        message=content["message"],
        currency=content["currency"],
        tax_name=f"Tax, {content['tax_per_cent']} %",
        valid_until=_day(content["valid_until"], shop),
        covers=tuple(_cover(item) for item in content["alternatives"]),
        acknowledged=tuple(
            f"Fault {item['fault']}, {item['text']}: acknowledged by {item['by']}, "
            f"{_day(item['on'], shop)}."
            for item in content["acknowledged"]
        ),
        cautions=tuple(content["cautions"]),
        notes=tuple(content["notes"]),
    )


def _cover(item: dict[str, Any]) -> OfferedCover:
    return OfferedCover(
        title=item["title"],
        picture=_picture(item["files"].get("picture", "")),
        flats=tuple(
            (flat["title"], svg)
            for flat in item.get("flats", [])[:_MOST_FLATS]
            if (svg := _picture(flat["map"])) is not None
        ),
        covered=tuple(said_of(item, "extent", "edges")),
        free=tuple(said_of(item, "free")),
        over=tuple(said_of(item, "film_over")),
        expect=tuple(said_of(item, "expect")),
        lines=tuple(
            OfferLine(
                text=line["text"],
                quantity=line["quantity"],
                rate=line["rate"],
                amount=line["amount"],
                parts=tuple(f"{part['text']}, {part['quantity']}" for part in line["parts"]),
            )
            for line in item["lines"]
        ),
        net=item["net"],
        tax=item["tax"],
        gross=item["gross"],
        stay=f"about {item['days']} working days",
    )


def _picture(sha256: str) -> bytes | None:
    """A kept picture; an offer is made without one where there is none, or its file is gone."""
    if not sha256:
        return None
    try:
        return path_of(sha256).read_bytes()
    except OSError:
        return None


def _day(iso: str, shop: Shop) -> str:
    return shown_day(datetime.date.fromisoformat(iso), shop)
