"""The offer for the customer: alternatives with their pictures, prices and what stays free."""

import io
from dataclasses import dataclass

from PIL import Image

from layflat.base import CheckError, InputError
from layflat.papers.canvas import Canvas
from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.lettering import one_line
from layflat.papers.price_sheet import grouped

_MOST_COVERS = 9
_PICTURE_MM = 100.0


@dataclass(frozen=True, kw_only=True)
class OfferLine:
    """One line of an alternative's price.

    Attributes:
        text: what it is for.
        parts: what it sums up, e.g. "Cutting, 22 min"; () for a line by itself.
        quantity, rate: with their units; "" for a lump.
        amount: without tax, e.g. "1234.50".
    """

    text: str
    quantity: str
    rate: str
    amount: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class OfferedCover:
    """One alternative.

    Attributes:
        title: as the customer knows it.
        picture: PNG of the vehicle with the film on it, or None.
        flats: titles of pieces, and SVG of each in the flat, where there is no such picture.
        covered, free, over, expect: panels' titles with sentences: where film lies and how it
            ends, what stays free of it, what usually does and is covered with a reason, and what
            will be seen.
        lines: of the price.
        net, tax, gross: the sums, e.g. "1234.50".
        stay: how long the vehicle stays, in words.
    """

    title: str
    picture: bytes | None
    flats: tuple[tuple[str, bytes], ...] = ()
    covered: tuple[tuple[str, str], ...]
    free: tuple[tuple[str, str], ...]
    over: tuple[tuple[str, str], ...]
    expect: tuple[tuple[str, str], ...]
    lines: tuple[OfferLine, ...]
    net: str
    tax: str
    gross: str
    stay: str


@dataclass(frozen=True, kw_only=True)
class OfferSheet:
    """One version of an offer, as it goes to the customer.

    Attributes:
        head: what stands on every sheet.
        version: its number.
        sha256: of what is offered, in hexadecimal; it goes on the sheet.
        hash_in_short: its beginning, as people compare it.
        contact: how the workshop is reached, or "".
        message: to the customer, or "".
        currency, tax_name: as they stand at the sums.
        valid_until: a day in words.
        covers: one alternative or more.
        acknowledged: warnings that the customer has acknowledged, a sentence each.
        cautions, notes: what is to be read before accepting, and how numbers were made.
    """

    head: Head
    version: int
    sha256: str
    hash_in_short: str
    currency: str
    tax_name: str
    valid_until: str
    covers: tuple[OfferedCover, ...]
    contact: str = ""
    message: str = ""
    acknowledged: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not 1 <= len(self.covers) <= _MOST_COVERS:
            raise InputError(f"An offer has 1 to {_MOST_COVERS} alternatives.")


def offer_sheet(sheet: OfferSheet) -> bytes:
    """The offer as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return offer_document(sheet).pdf()


def offer_document(sheet: OfferSheet) -> Document:
    """The offer before it is set."""
    head = sheet.head
    pictures = {
        f"cover-{place}.svg": _drawn(cover.picture)
        for place, cover in enumerate(sheet.covers, start=1)
        if cover.picture is not None
    } | {
        _flat_name(place, i): svg
        for place, cover in enumerate(sheet.covers, start=1)
        for i, (_, svg) in enumerate(cover.flats, start=1)
    }
    texts = {
        "version": str(sheet.version),
        "for_whom": head.customer,
        "vehicle": head.vehicle,
        "contact": sheet.contact,
        "message": sheet.message,
        "currency": sheet.currency,
        "tax_name": sheet.tax_name,
        "valid_until": sheet.valid_until,
        "covers": [_cover(cover, sheet) for cover in sheet.covers],
        "acknowledged": list(sheet.acknowledged),
        "cautions": list(sheet.cautions),
        "notes": list(sheet.notes),
    }
    written = all_written(texts)
    for place, cover in enumerate(written["covers"], start=1):
        name = f"cover-{place}.svg"
        cover["picture"] = name if name in pictures else ""
        for i, flat in enumerate(cover["flats"], start=1):
            flat["file"] = _flat_name(place, i)
    values = {
        **sheet_values(
            head,
            sheet=f"Offer {sheet.version}, {sheet.hash_in_short}",
            title=f"Offer {sheet.version}: {head.vehicle}",
        ),
        **written,
        "sha256": sheet.sha256,
    }
    return Document(template="offer.typ", values=values, pictures=pictures, dated=head.dated)


def _flat_name(place: int, number: int) -> str:
    return f"cover-{place}-flat-{number}.svg"


def _cover(cover: OfferedCover, sheet: OfferSheet) -> dict[str, object]:
    return {
        "title": one_line(cover.title, most=80),
        "flats": [{"title": one_line(title, most=80)} for title, _ in cover.flats],
        "covered": list(cover.covered),
        "free": list(cover.free),
        "over": list(cover.over),
        "expect": list(cover.expect),
        "lines": [
            {
                "text": line.text,
                "parts": list(line.parts),
                "quantity": line.quantity,
                "rate": line.rate,
                "amount": grouped(line.amount),
            }
            for line in cover.lines
        ],
        "net": grouped(cover.net),
        "tax": grouped(cover.tax),
        "gross": f"{sheet.currency} {grouped(cover.gross)}",
        "stay": cover.stay,
    }


def _drawn(png: bytes) -> bytes:
    """The picture in an SVG of the same shape, which the typesetter takes as text."""
    try:
        with Image.open(io.BytesIO(png), formats=("PNG",)) as found:
            width, height = found.size
    except (OSError, ValueError) as error:
        raise CheckError("The picture of a cover cannot be read.") from error
    height_mm = _PICTURE_MM * height / width
    canvas = Canvas(_PICTURE_MM, height_mm)
    canvas.picture(png, 0.0, 0.0, _PICTURE_MM, height_mm)
    return canvas.svg().encode()
