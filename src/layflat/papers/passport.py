"""The passport that goes with the vehicle: every piece of film, and who laid and checked it."""

import base64
import io
from dataclasses import dataclass
from typing import Final

from PIL import Image

from layflat.base import CheckError, InputError
from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values

_MOST_PICTURES: Final = 24


@dataclass(frozen=True, kw_only=True)
class PassportPiece:
    """One piece of film on the vehicle, in words.

    Attributes:
        number, title: as on the layout.
        film: its name, lot and roll.
        pattern: the beginning of its pattern's hash, or "".
        laid, checked: by whom and when; further lines for what was done to it later.
    """

    number: str
    title: str
    film: str
    pattern: str
    laid: tuple[str, ...]
    checked: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PassportFlag:
    """One fault that inspection found, in words.

    Attributes:
        number: of the flag.
        what: its piece, kind and size.
        found, mended, ended: how, by whom and when; "" for not.
    """

    number: str
    what: str
    found: str
    mended: str
    ended: str


@dataclass(frozen=True, kw_only=True)
class PassportSheet:
    """One version of a passport.

    Attributes:
        head: what stands on every sheet.
        version: its number.
        because: why this version was made.
        sha256, hash_in_short: of the content, whole and for people to compare.
        contact: how the workshop is reached, or "".
        facts: names with what is known.
        covered, free, over, expect: panels' titles with sentences, as in the offer.
        pieces, flags: see there.
        history: pieces that were made anew, a sentence each.
        steps: titles with how they ended.
        acknowledged: what was known before work began, a sentence each.
        visits: follow-up visits, a sentence each.
        pictures: JPEG bytes with a caption each, which may be "".
        care: titles with sentences.
        cautions: a sentence each.
        proof: what the hash shows, and what not.
        address, qr: of the private page, and the same as SVG; "" for none.
    """

    head: Head
    version: int
    because: str
    sha256: str
    hash_in_short: str
    facts: tuple[tuple[str, str], ...]
    covered: tuple[tuple[str, str], ...]
    free: tuple[tuple[str, str], ...]
    over: tuple[tuple[str, str], ...]
    expect: tuple[tuple[str, str], ...]
    pieces: tuple[PassportPiece, ...]
    flags: tuple[PassportFlag, ...]
    history: tuple[str, ...]
    steps: tuple[tuple[str, str], ...]
    acknowledged: tuple[str, ...]
    visits: tuple[str, ...]
    pictures: tuple[tuple[bytes, str], ...]
    care: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    proof: str
    contact: str = ""
    address: str = ""
    qr: str = ""

    def __post_init__(self) -> None:
        if not self.pieces:
            raise InputError("A passport names every piece of film on the vehicle; there is none.")
        if len(self.pictures) > _MOST_PICTURES:
            raise InputError(f"A passport has at most {_MOST_PICTURES} pictures.")


def passport_sheet(sheet: PassportSheet) -> bytes:
    """The passport as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return passport_document(sheet).pdf()


def passport_document(sheet: PassportSheet) -> Document:
    """The passport before it is set."""
    pictures = {
        f"picture-{place}.svg": _drawn(data)
        for place, (data, _) in enumerate(sheet.pictures, start=1)
    }
    if sheet.qr:
        pictures["qr.svg"] = sheet.qr.encode()
    texts = {
        "because": sheet.because,
        "contact": sheet.contact,
        "facts": list(sheet.facts),
        "covered": list(sheet.covered),
        "free": list(sheet.free),
        "over": list(sheet.over),
        "expect": list(sheet.expect),
        "pieces": [
            {
                "number": piece.number,
                "title": piece.title,
                "film": piece.film,
                "pattern": piece.pattern,
                "laid": list(piece.laid),
                "checked": list(piece.checked),
            }
            for piece in sheet.pieces
        ],
        "flags": [
            {
                "number": flag.number,
                "what": flag.what,
                "found": flag.found,
                "mended": flag.mended,
                "ended": flag.ended,
            }
            for flag in sheet.flags
        ],
        "history": list(sheet.history),
        "steps": list(sheet.steps),
        "acknowledged": list(sheet.acknowledged),
        "visits": list(sheet.visits),
        "captions": [caption for _, caption in sheet.pictures],
        "care": list(sheet.care),
        "cautions": list(sheet.cautions),
        "proof": sheet.proof,
    }
    values = {
        **sheet_values(
            sheet.head,
            sheet=f"Passport {sheet.version}, {sheet.hash_in_short}",
            title=f"Passport: {sheet.head.vehicle}",
        ),
        **all_written(texts),
        "version": str(sheet.version),
        "vehicle": all_written(sheet.head.vehicle),
        "sha256": sheet.sha256,
        "address": sheet.address,
        "has_qr": bool(sheet.qr),
    }
    return Document(
        template="passport.typ", values=values, pictures=pictures, dated=sheet.head.dated
    )


def _drawn(jpeg: bytes) -> bytes:
    """The picture in an SVG of the same shape, which the typesetter takes as text."""
    try:
        with Image.open(io.BytesIO(jpeg), formats=("JPEG",)) as found:
            width, height = found.size
    except (OSError, ValueError) as error:
        raise CheckError("A picture of the finished vehicle cannot be read.") from error
    data = base64.b64encode(jpeg).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}"><image width="{width}" height="{height}" '
        f'href="data:image/jpeg;base64,{data}"/></svg>'
    ).encode("ascii")
