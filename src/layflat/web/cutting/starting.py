"""Beginning a search for a layout of pieces on a roll."""

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from django.conf import settings

from layflat.base import InputError
from layflat.nest import Stock
from layflat.web.cover.models import Piece
from layflat.web.cover.order import (
    EDGE_MARGIN_MM,
    END_MARGIN_MM,
    GAP_MM,
    MAX_SECTION_MM,
    SEED,
)
from layflat.web.cutting.along import stretches
from layflat.web.cutting.film import laying_turn
from layflat.web.cutting.lots import lot_for
from layflat.web.cutting.models import Layout, next_number
from layflat.web.cutting.patterns import pattern_files
from layflat.web.cutting.pool import being_laid_out, to_lay_out
from layflat.web.cutting.reserved import available_mm
from layflat.web.cutting.search import TASK
from layflat.web.cutting.stored import stock_json
from layflat.web.cutting.turns import turns_for
from layflat.web.jobs.models import Job, Stage
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event
from layflat.web.stock.amounts import film_length
from layflat.web.stock.rolls import locked_roll
from layflat.web.work.tasks import ask

OPEN_AT: Final = (Stage.ACCEPTED, Stage.BAY)
"""Stages at which film is laid out and cut."""
SECONDS: Final = (20, 60, 180)
"""How long a search may last; it can be stopped at any moment."""
_LEAST_MM: Final = 100
_MOST_TYPED: Final = 2000


def why_not(job: Job) -> str:
    """Why nothing is laid out for a job now, or ""."""
    if job.stage in OPEN_AT:
        return ""
    if job.stage in (Stage.CHECKED, Stage.HANDED, Stage.CLOSED):
        return f"The job stands at “{Stage(job.stage).label}”; no film is cut for it any more."
    return "Film is cut once the customer has accepted the offer."


def read_first(text: str) -> list[int]:
    """Numbers of pieces as somebody types them, "3, 5" or "3 5", each once.

    Raises:
        InputError: something else than numbers is typed.
    """
    words = re.split(r"[\s,;.]+", text[:_MOST_TYPED].strip())
    words = [word for word in words if word]
    if wrong := [word for word in words if not re.fullmatch(r"[0-9]{1,6}", word)]:
        raise InputError(
            f"What is cut first is told by the pieces' numbers, such as 3, 5; “{wrong[0][:30]}” is "
            "none."
        )
    return list(dict.fromkeys(int(word) for word in words))


def _turns(pieces: Mapping[int, Piece], first: Sequence[int]) -> dict[str, int]:
    """Turns in cutting by number: those that are wanted first, then as they are laid."""
    wanted = {number: place for place, number in enumerate(first, start=1)}
    return {
        str(number): wanted.get(number, len(first) + laying_turn(piece))
        for number, piece in pieces.items()
    }


def begin(
    job: Job,
    *,
    roll: int,
    numbers: Sequence[int],
    seconds: int,
    who: Person | None,
    first: Sequence[int] = (),
) -> Layout:
    """Begin to lay pieces out on a roll; the search goes on by itself.

    In film that shows its direction they get the one that the job's pieces have in it already. Call
    it in a transaction, on a locked job.

    Args:
        job: whose pieces.
        roll: key of the roll.
        numbers: of pieces; none for all that need film and are not being laid out.
        seconds: how long the search may last, one of `SECONDS`.
        who: begins it.
        first: numbers of pieces whose sections are cut before the others, as far as whole sections
            can; the others follow in the order of laying.

    Raises:
        InputError: nothing needs film, a piece has film or is being laid out already, or nothing
            of the roll is free; or a piece that is to be cut first is not among the pieces.
    """
    if sentence := why_not(job):
        raise InputError(sentence)
    if seconds not in SECONDS:
        raise InputError("Choose how long to search.")
    outcome = accepted_outcome(job)
    taken = being_laid_out(job)
    pool = {piece.number: piece for piece in to_lay_out(job) if piece.number not in taken}
    wanted = sorted(set(numbers) or pool)
    if not wanted:
        raise InputError("Every piece has film or is being laid out; there is nothing to do.")
    for number in wanted:
        if number not in pool:
            raise InputError(f"Piece {number} has film or is being laid out already; look again.")
    for number in first:
        if number not in wanted:
            raise InputError(
                f"Piece {number} is to be cut first, but is not among the pieces that are laid out."
            )
    stock = locked_roll(roll)
    length_mm = available_mm(stock, job)
    if stock.is_finished or length_mm < _LEAST_MM:
        raise InputError(f"Nothing is free of {stock}; take another roll.")
    faults = stretches(stock, length_mm=length_mm)
    turns, lot = turns_for(job, stock.film), lot_for(job, stock.film)
    layout = Layout.objects.create(
        job=job,
        number=next_number(job),
        outcome=outcome,
        roll=stock,
        pieces=wanted,
        made_by=who,
    )
    inputs: dict[str, Any] = {
        "layout": layout.pk,
        "pieces": pattern_files(pool[number] for number in wanted),
        "stock": stock_json(
            Stock(
                width_mm=float(stock.width_mm),
                edge_margin_mm=EDGE_MARGIN_MM,
                end_margin_mm=END_MARGIN_MM,
                length_mm=float(length_mm),
                faults=faults,
            )
        ),
        "gap_mm": GAP_MM,
        "max_section_mm": MAX_SECTION_MM,
        "turns_deg": list(turns),
        "lay": _turns({number: pool[number] for number in wanted}, first),
        "seconds": float(seconds) if settings.LAYOUT_S is None else settings.LAYOUT_S,
        "seed": SEED,
    }
    layout.computation = ask(TASK, inputs, who=who)
    layout.save(update_fields=["computation"])
    count = len(wanted)
    write_event(
        "cutting.search",
        f"Layout {layout.number}: {count} piece{'' if count == 1 else 's'} on {stock}, lot "
        f"{stock.lot}, of which {film_length(length_mm, the_shop())} may be used"
        + (f", {len(faults)} fault{'' if len(faults) == 1 else 's'} left out." if faults else ".")
        + (f" Cut first: {', '.join(map(str, first))}." if first else "")
        + (
            f" Turned by {turns[0]:g}°, as what the job has of this film: it shows its direction."
            if len(turns) == 1
            else ""
        )
        + (f" The job's other pieces are of lot {lot}." if lot not in (None, stock.lot) else ""),
        who=who,
        job=job,
        after={"layout": layout.pk, "roll": stock.pk, "pieces": wanted},
    )
    return layout
