"""The label of a roll or offcut: on plain paper, cut out, stuck on; found again by its code."""

from dataclasses import dataclass

from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.lettering import one_line
from layflat.papers.qr import qr_svg


@dataclass(frozen=True, kw_only=True)
class RollLabel:
    """One roll or offcut, in words.

    Attributes:
        head: what stands on every sheet.
        roll: the shop's own number, the largest thing on the label.
        film, lot: of the maker.
        size: width and length, across and along the roll.
        origin: when it came, or what it was cut from.
        place: where it lies, or "".
        is_offcut: it has two cut ends, so an arrow tells which way runs along the roll.
        faults: stretches that no piece may lie on.
        address: that the code leads to.
    """

    head: Head
    roll: str
    film: str
    lot: str
    size: str
    origin: str
    address: str
    place: str = ""
    is_offcut: bool = False
    faults: tuple[str, ...] = ()


def roll_label(label: RollLabel) -> bytes:
    """The label as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return roll_label_document(label).pdf()


def roll_label_document(label: RollLabel) -> Document:
    """The label before it is set."""
    kind = "Offcut" if label.is_offcut else "Roll"
    how = "Plain paper will do. Cut along the broken line; a clear sleeve keeps it dry."
    along = " Stick it so that its arrow runs along the roll." if label.is_offcut else ""
    texts = {
        "kind": kind,
        "how": how + along,
        "roll": one_line(label.roll, most=12),
        "film": one_line(label.film, most=30),
        "lot": one_line(f"Lot {label.lot}", most=30),
        "size": one_line(label.size, most=48),
        "origin": one_line(label.origin, most=48),
        "place": one_line(label.place, most=40),
        "faults": [one_line(fault, most=60) for fault in label.faults[:2]],
        "more": f"and {len(label.faults) - 2} more" if len(label.faults) > 2 else "",
        "address": one_line(label.address, most=90),
    }
    values = {
        **sheet_values(label.head, sheet=f"{kind} label", title=f"{kind} {label.roll}", bay=True),
        **all_written(texts),
        "is_offcut": label.is_offcut,
    }
    values["head"]["subject"] = "Film"
    return Document(
        template="roll_label.typ",
        values=values,
        pictures={"qr.svg": qr_svg(label.address).encode("ascii")},
        dated=label.head.dated,
    )
