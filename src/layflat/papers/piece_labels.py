"""Labels for pieces of film: on plain paper, cut apart, laid with each piece on its liner."""

from dataclasses import dataclass
from typing import Any

from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.lettering import one_line


@dataclass(frozen=True, kw_only=True)
class PieceLabel:
    """One piece of film.

    Attributes:
        number: the piece's.
        panel: as people read it.
        section: that it is cut in.
        attempt: the first film of this piece is 1.
        letter: in front of the number, where several jobs share the layout.
        job: whose piece it is, if not the head's: number and plate.
    """

    number: int
    panel: str
    section: int
    attempt: int = 1
    letter: str = ""
    job: str = ""


@dataclass(frozen=True, kw_only=True)
class PieceLabels:
    """The labels of one layout.

    Attributes:
        head: what stands on every sheet.
        plate: of the vehicle, or "".
        film: its name.
        lot: the maker's lot number, or "".
        roll: the shop's own name for the roll.
        labels: in the order of cutting, at least one.
    """

    head: Head
    plate: str
    film: str
    lot: str
    roll: str
    labels: tuple[PieceLabel, ...]


def piece_labels(sheet: PieceLabels) -> bytes:
    """The labels as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return labels_document(sheet).pdf()


def labels_document(sheet: PieceLabels) -> Document:
    """The labels before they are set."""
    head = sheet.head
    count = len(sheet.labels)
    texts = {
        "title_words": f"{count} label{'' if count == 1 else 's'} for {sheet.roll}",
        "how": "Plain paper will do. Cut along the broken lines and lay each label with its piece, "
        "on the liner's back, before the waste comes off.",
        "labels": [_label(one, sheet) for one in sheet.labels],
    }
    values = {
        **sheet_values(head, sheet="Piece labels", title=f"Piece labels: {head.job}", bay=True),
        **all_written(texts),
    }
    return Document(template="labels.typ", values=values, pictures={}, dated=head.dated)


def _label(label: PieceLabel, sheet: PieceLabels) -> dict[str, Any]:
    lot = f"Lot {sheet.lot}" if sheet.lot else "No lot number"
    return {
        "number": f"{label.letter}{label.number}",
        "panel": one_line(label.panel, most=30),
        "again": f"Cut again, no. {label.attempt}" if label.attempt > 1 else "",
        "job": one_line(
            label.job or " · ".join(filter(None, (sheet.head.number, sheet.plate))), most=30
        ),
        "film": one_line(lot, most=30),
        "roll": one_line(f"{sheet.roll}, section {label.section}", most=30),
    }
