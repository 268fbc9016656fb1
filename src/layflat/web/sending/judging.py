"""After a sending: what became of each piece, and how much of the roll is gone."""

from typing import Any, Final

from layflat.base import InputError, LayflatError
from layflat.cut import CutProgram, Laying, recover
from layflat.cut import Machine as Values
from layflat.pattern import Drawing, pattern_area_mm2
from layflat.send import Account
from layflat.web.sending.prepared import piece_number

_SEARCH_S: Final = 0.1


def account_json(account: Account, *, least: int, most: int) -> dict[str, Any]:
    """What is cut for certain and what may be, as plain values."""
    return {
        "whole": account.whole,
        "begun": account.begun,
        "count": account.count,
        "whole_strokes": account.whole_strokes,
        "begun_strokes": account.begun_strokes,
        "least": least,
        "most": most,
        "sentence": account.sentence,
    }


def judged(
    program: CutProgram,
    drawing: Drawing | None,
    machine: Values,
    *,
    number: int,
    whole: int,
    begun: int,
) -> dict[str, Any]:
    """What became of a section's pieces, as plain values.

    Args:
        program, drawing, machine: of the whole layout; the drawing None where it cannot be read,
            so that nobody but a person can tell.
        number: of the section.
        whole, begun: lowerings of the knife that are whole for certain, and that may be begun.

    Returns:
        `pieces`, each with `number`, `state` (“whole”, “lost”, “doubtful” or “to cut”), `why` and
        `area_mm2`; `used_mm`, how far from the section's start something has cut.
    """
    patterns = () if drawing is None else drawing.patterns
    own = {piece_number(p.name): pattern_area_mm2(p) for p in patterns}
    section = next(one for one in program.sections if one.number == number)
    numbers = [piece_number(name) for name in section.pieces]
    try:
        if drawing is None:
            raise InputError("its layout cannot be read")
        found = recover(
            program,
            drawing,
            machine,
            number=number,
            whole=whole,
            begun=begun,
            # Pieces go back to the pool and are laid out from there, by whoever chooses the roll.
            laying=Laying(seconds=_SEARCH_S),
            in_place=True,
        )
    except LayflatError as error:
        why = f"nobody can tell: {error}"
        pieces = [
            {"number": n, "state": "doubtful", "why": why, "area_mm2": own.get(n, 0.0)}
            for n in numbers
        ]
        return {"pieces": pieces, "used_mm": section.end_mm - section.start_mm}
    states = {piece_number(one.name): one for one in found.pieces}
    return {
        "pieces": [
            {
                "number": n,
                "state": states[n].state,
                "why": states[n].why,
                "area_mm2": own.get(n, 0.0),
            }
            for n in numbers
        ],
        "used_mm": max((stretch.end_mm for stretch in found.harmed), default=0.0),
    }
