"""The care sheet: what the customer takes home and keeps in the car."""

from dataclasses import dataclass

from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values


@dataclass(frozen=True, kw_only=True)
class CareSheet:
    """A care sheet.

    Attributes:
        head: what stands on every sheet.
        contact: how the workshop is reached, or "".
        covered: titles of the panels under film.
        care: titles with sentences.
        cautions: a sentence each.
        visit: the day of the follow-up visit in words, or "".
    """

    head: Head
    covered: tuple[str, ...]
    care: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    contact: str = ""
    visit: str = ""


def care_sheet(sheet: CareSheet) -> bytes:
    """The care sheet as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return care_document(sheet).pdf()


def care_document(sheet: CareSheet) -> Document:
    """The care sheet before it is set."""
    head = sheet.head
    texts = {
        "for_whom": head.customer,
        "vehicle": head.vehicle,
        "contact": sheet.contact,
        "covered": list(sheet.covered),
        "care": list(sheet.care),
        "cautions": list(sheet.cautions),
        "visit": sheet.visit,
    }
    values = {
        **sheet_values(head, sheet="Care", title=f"Care of the film: {head.vehicle}"),
        **all_written(texts),
    }
    return Document(template="care.typ", values=values, pictures={}, dated=head.dated)
