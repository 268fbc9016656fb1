"""The laying sheet: what to do, in which order, with which piece, and who checks it."""

from dataclasses import dataclass
from typing import Any

from PIL import Image

from layflat.fit import HEAT_CAUTION, STROKES, PiecePlan
from layflat.papers import cautions
from layflat.papers.canvas import photo
from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.lettering import one_line
from layflat.papers.pictures import pattern_picture
from layflat.papers.plan_picture import plan_picture
from layflat.papers.strain import Effort
from layflat.pattern import Pattern

_EFFORT_WORDS = {
    Effort.UNKNOWN: "stretch unknown: try it on waste film",
    Effort.EASY: "easy",
    Effort.CARE: "needs care",
    Effort.HARD: "hard: warm it, pull slowly",
}


@dataclass(frozen=True, eq=False, kw_only=True)
class LayingPiece:
    """One piece on the laying sheet.

    Attributes:
        number: the piece's number, as in the piece map.
        name: its name.
        pattern: its flat shape.
        effort: what laying it asks of the film.
        place: a picture of its place on the car.
        advice: sentences for this piece: where to anchor, what to wrap, what to leave free.
        plan: how it is laid, step by step, on a page of its own; None for no such page.
    """

    number: int
    name: str
    pattern: Pattern
    effort: Effort
    place: Image.Image | None = None
    advice: tuple[str, ...] = ()
    plan: PiecePlan | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class LayingSheet:
    """A job's laying, as it goes on paper.

    Attributes:
        head: what stands on every sheet.
        film: the film's name.
        pieces: in the order of laying.
        order: a sentence on the order of the pieces.
        climate, slip, tack: the shop's own values, or common practice.
    """

    head: Head
    film: str
    pieces: tuple[LayingPiece, ...]
    order: str = ""
    climate: str = cautions.CLIMATE
    slip: str = cautions.SLIP
    tack: str = cautions.TACK


def laying_sheet(sheet: LayingSheet) -> bytes:
    """The laying sheet as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return laying_document(sheet).pdf()


def laying_document(sheet: LayingSheet) -> Document:
    """The laying sheet before it is set."""
    pictures: dict[str, bytes] = {}
    count = len(sheet.pieces)
    texts = {
        "job": one_line(sheet.head.job, most=140),
        "summary": f"{count} {'piece' if count == 1 else 'pieces'} of {sheet.film} on "
        f"{sheet.head.vehicle}",
        "steps": _steps(cautions.ORDER),
        "order": sheet.order,
        "after": _steps(cautions.AFTER),
        "inspect": cautions.INSPECT,
        "climate": sheet.climate,
        "slip": sheet.slip,
        "tack": sheet.tack,
        "cautions": list(cautions.LAYING),
        "heat": HEAT_CAUTION,
        "strokes": STROKES,
        "pieces": [_piece(i, piece, pictures) for i, piece in enumerate(sheet.pieces)],
    }
    values = {
        **sheet_values(
            sheet.head, sheet="Laying sheet", title=f"Laying: {sheet.head.job}", bay=True
        ),
        **all_written(texts),
    }
    return Document(template="laying.typ", values=values, pictures=pictures, dated=sheet.head.dated)


def _steps(steps: tuple[tuple[str, str], ...]) -> list[dict[str, str]]:
    return [{"title": title, "text": text} for title, text in steps]


def _piece(index: int, piece: LayingPiece, pictures: dict[str, bytes]) -> dict[str, Any]:
    shape = f"shape-{index}.svg"
    pictures[shape] = pattern_picture(piece.pattern, width_mm=56, height_mm=36).encode()
    place = None
    if piece.place is not None:
        place = f"place-{index}.svg"
        pictures[place] = photo(piece.place)
    return {
        "number": str(piece.number),
        "name": piece.name,
        "shape": shape,
        "shape_alt": f"The flat shape of piece {piece.number}.",
        "place": place,
        "place_alt": f"Where piece {piece.number} goes on the vehicle.",
        "openings": bool(piece.pattern.cut_outs),
        "effort": piece.effort.value,
        "effort_word": _EFFORT_WORDS[piece.effort],
        "advice": list(piece.advice),
        **_planned(index, piece, pictures),
    }


def _planned(index: int, piece: LayingPiece, pictures: dict[str, bytes]) -> dict[str, Any]:
    """What the piece's own page shows."""
    if piece.plan is None:
        return {"plan": None, "plan_alt": "", "wipes": [], "tapes": [], "heats": [], "hold": []}
    name = f"plan-{index}.svg"
    pictures[name] = plan_picture(piece.pattern, piece.plan).encode()
    plan = piece.plan
    heats = [(f"H{i}", heat.sentence) for i, heat in enumerate(plan.heats, start=1)]
    return {
        "plan": name,
        "plan_alt": f"How piece {piece.number} is laid: its anchor O, its sweeps by number.",
        "hold": list(plan.hold),
        "tapes": [
            (
                f"{tape.letters[0]} – {tape.letters[1]}",
                f"{tape.liner_mm:.0f}",
                f"{tape.car_mm:.0f}",
                f"{tape.where[0]} – {tape.where[1]}",
            )
            for tape in plan.tapes
        ],
        "wipes": list(plan.wipes),
        "heats": heats,
    }
