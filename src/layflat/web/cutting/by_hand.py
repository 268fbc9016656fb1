"""Layouts that a person arranges on the roll: read from the page, judged, and made a layout anew.

What is kept or searched on is a new layout; the one that it came from is dropped in the same step.
"""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from django.conf import settings

from layflat.base import InputError, LayflatError
from layflat.nest import Layout as Laid
from layflat.nest import Placement, Request, Stretch, judge_hand, least_length_mm
from layflat.pattern import Pattern
from layflat.web.cover.order import MAX_SECTION_MM, SEED
from layflat.web.cutting import keeping
from layflat.web.cutting.along import stretches
from layflat.web.cutting.models import Layout, Member, Section, next_number
from layflat.web.cutting.patterns import read_patterns, titled, told_apart
from layflat.web.cutting.reserved import available_for
from layflat.web.cutting.search import TASK
from layflat.web.cutting.sharing import (
    jobs_of,
    lock_all,
    members_of,
    pattern_files_of,
    tell,
    usual_turns,
)
from layflat.web.cutting.standing import standing_of
from layflat.web.cutting.starting import SECONDS, why_not
from layflat.web.cutting.stored import layout_json, layout_of
from layflat.web.cutting.turns import turns_json, turns_of
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.stock.amounts import film_length
from layflat.web.stock.rolls import locked_roll
from layflat.web.work.tasks import ask

_MOST_CHARACTERS: Final = 200_000
_FARTHEST_MM: Final = 1e6
_FIELDS: Final = 5
_UNREADABLE: Final = "The arrangement could not be read; open the page anew and send it again."


@dataclass(frozen=True)
class Lie:
    """Where a piece was put.

    Attributes:
        piece: its number.
        turn_deg, x_mm, y_mm: as in every layout.
        is_pinned: whether a search leaves it there.
    """

    piece: int
    turn_deg: float
    x_mm: float
    y_mm: float
    is_pinned: bool


@dataclass(frozen=True, kw_only=True)
class Hand:
    """An arrangement that can be cut.

    Attributes:
        data: as layouts are stored.
        pinned: numbers of the pieces that were pinned.
        moved: how many pieces lie or are turned otherwise than before.
        files: of the pieces' patterns.
    """

    data: dict[str, Any]
    pinned: tuple[int, ...]
    moved: int
    files: dict[str, str]


def why_not_by_hand(layout: Layout, sections: Sequence[Section]) -> str:
    """Why the pieces of a layout are not arranged by hand now, or ""."""
    if sentence := why_not(layout.job):
        return sentence
    for one in members_of(layout):
        if one.left_because:
            return (
                f"Job {one.job.number} has no use for its pieces any more: {one.left_because}. "
                "Drop this layout and lay out anew what the other jobs need."
            )
        if sentence := why_not(one.job):
            why = f"{sentence[:1].lower()}{sentence[1:]}"
            return f"Job {one.job.number} shares this layout, and {why}"
    name = standing_of(layout, sections).name
    if name == "dropped":
        return f"Layout {layout.number} is not used any more."
    if name in ("begun", "cut", "spoiled"):
        return f"A section of layout {layout.number} was cut, so its pieces stay where they are."
    if name == "making":
        return "Its programs are being made; wait until they are there."
    if layout.found is None and layout.so_far is None:
        return "No layout is found yet; wait a moment."
    return ""


def read_lies(text: str, numbers: Sequence[int]) -> list[Lie]:
    """An arrangement as the page sends it.

    Args:
        text: JSON, a list of `[piece, turn, x, y, is pinned]`.
        numbers: of the pieces, each of which is there once.

    Raises:
        InputError: it is not that, or not of these pieces.
    """
    if len(text) > _MOST_CHARACTERS:
        raise InputError(_UNREADABLE)
    try:
        rows = json.loads(text)
        lies = [_lie(row) for row in rows]
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        raise InputError(_UNREADABLE) from error
    if sorted(lie.piece for lie in lies) != sorted(numbers):
        raise InputError(
            "The arrangement is not of this layout's pieces; open the page anew and arrange them "
            "again."
        )
    return lies


def _lie(row: Any) -> Lie:
    if not isinstance(row, list) or len(row) != _FIELDS:
        raise TypeError("not five values")
    piece, *places, is_pinned = row
    if type(piece) is not int or type(is_pinned) is not bool:
        raise TypeError("no number, or not said whether it is pinned")
    if any(type(one) not in (int, float) for one in places):
        raise TypeError("no numbers")
    turn, x, y = (float(one) for one in places)
    if not all(math.isfinite(one) and abs(one) <= _FARTHEST_MM for one in (turn, x, y)):
        raise ValueError("far out")
    return Lie(piece, turn % 360.0, x, y, is_pinned)


def keep_by_hand(layout: Layout, text: str, *, version: int, who: Person | None) -> Layout:
    """Keep an arrangement: a new layout, whose programs are made.

    Call it in a transaction, on a locked job; the others that share the layout are locked here.

    Args:
        layout: that it was made from; it is dropped.
        text: the arrangement, see `read_lies`.
        version: of *layout* when the page was opened.
        who: arranged it.

    Raises:
        LayflatError: the layout was changed meanwhile, or it cannot be cut like this; nothing is
            changed.
    """
    new, hand = _arranged(layout, text, version=version, who=who)
    if hand.moved == 0 and layout.found is not None:
        raise InputError(f"Nothing was moved: layout {layout.number} stays as it is.")
    was_mm = (layout.found or layout.so_far or {})["length_mm"]
    shop = the_shop()
    tell(
        "cutting.by-hand",
        f"Layout {new.number} was arranged by hand from layout {layout.number}: {hand.moved} "
        f"piece{'' if hand.moved == 1 else 's'} moved or turned, "
        f"{film_length(math.ceil(hand.data['length_mm']), shop)} of film instead of "
        f"{film_length(math.ceil(was_mm), shop)}.",
        new,
        who=who,
        after={"layout": new.pk, "from": layout.pk, "moved": hand.moved},
    )
    keeping.keep(new, who=who)
    return new


def search_around(
    layout: Layout, text: str, *, version: int, seconds: int, who: Person | None
) -> Layout:
    """Search on from an arrangement: a new layout, in which pinned pieces stay.

    Call it in a transaction, on a locked job.

    Args:
        layout, text, version, who: see `keep_by_hand`.
        seconds: how long the search may last, one of `SECONDS`.

    Raises:
        LayflatError: see `keep_by_hand`; or every piece is pinned.
    """
    if seconds not in SECONDS:
        raise InputError("Choose how long to search.")
    new, hand = _arranged(layout, text, version=version, who=who)
    if len(hand.pinned) == len(new.pieces):
        raise InputError("Every piece is pinned, so there is nothing to search; unpin some.")
    inputs: dict[str, Any] = {
        "layout": new.pk,
        "pieces": hand.files,
        "stock": hand.data["stock"],
        "gap_mm": hand.data["gap_mm"],
        "max_section_mm": MAX_SECTION_MM,
        "seconds": float(seconds) if settings.LAYOUT_S is None else settings.LAYOUT_S,
        "seed": SEED,
        "lay": hand.data.get("lay") or usual_turns(new),
        "hand": hand.data,
        "pinned": list(hand.pinned),
    }
    new.computation = ask(TASK, inputs, who=who)
    new.save(update_fields=["computation"])
    count = len(hand.pinned)
    tell(
        "cutting.around",
        f"Layout {new.number}: the search goes on from layout {layout.number} as it was arranged "
        f"by hand, around {count or 'no'} pinned piece{'' if count == 1 else 's'}.",
        new,
        who=who,
        after={"layout": new.pk, "from": layout.pk, "pinned": list(hand.pinned)},
    )
    return new


def _arranged(
    layout: Layout, text: str, *, version: int, who: Person | None
) -> tuple[Layout, Hand]:
    """A new layout of an arrangement, instead of the one that it came from."""
    lock_all(layout, layout.job)
    layout.refresh_from_db()
    if layout.version != version:
        raise InputError(
            f"Somebody changed layout {layout.number} meanwhile. Your arrangement is still on this "
            "page; look at the layout before you send it again."
        )
    if sentence := why_not_by_hand(layout, list(layout.sections.all())):
        raise InputError(sentence)
    job, roll, members = layout.job, locked_roll(layout.roll_id), members_of(layout)
    keeping.drop(layout, who=who)
    free_mm = available_for(roll, jobs_of(layout))
    faults = stretches(roll, length_mm=free_mm, instead_of=layout)
    hand = judged(layout, text, free_mm=free_mm, faults=faults)
    new = Layout.objects.create(
        job=job,
        number=next_number(job),
        outcome_id=layout.outcome_id,
        roll=roll,
        pieces=layout.pieces,
        shapes_id=layout.shapes_id,
        # What lies behind it stays where it is, but for what this one is shorter or longer.
        queue_place=layout.queue_place,
        so_far=hand.data,
        made_by=who,
    )
    Member.objects.bulk_create(
        Member(
            layout=new,
            job=one.job,
            outcome=one.outcome,
            letter=one.letter,
            pieces=one.pieces,
        )
        for one in members
    )
    return new, hand


def judged(layout: Layout, text: str, *, free_mm: int, faults: tuple[Stretch, ...]) -> Hand:
    """An arrangement of a layout's pieces, judged by the geometry of the check.

    Args:
        layout: whose pieces they are.
        text: see `read_lies`.
        free_mm, faults: of the roll, for it.

    Raises:
        InputError: it cannot be read.
        CheckError: it cannot be cut like this; the sentence says why.
    """
    files = pattern_files_of(layout)
    read = read_patterns(files)
    patterns = told_apart(read)
    lies = read_lies(text, list(patterns))
    data = layout.found or layout.so_far or {}
    before, turns = layout_of(data, patterns), turns_of(data)
    was = {item.number: (item.turn_deg, item.x_mm, item.y_mm) for item in before.placements}
    stock = replace(before.stock, length_mm=float(free_mm), faults=faults)
    requests = tuple(
        Request(pattern=one, turns_deg=turns[number]) for number, one in patterns.items()
    )
    put = replace(_laid(before, lies, patterns), stock=stock, requests=requests)
    try:
        laid = judge_hand(put, max_section_mm=MAX_SECTION_MM).require_cuttable()
        # Faults may have come or gone since the layout before was found.
        least_mm = least_length_mm(
            requests, stock, gap_mm=before.gap_mm, max_section_mm=MAX_SECTION_MM
        )
    except LayflatError as error:
        raise type(error)(titled(str(error), read)) from error
    numbers = {pattern.name: number for number, pattern in patterns.items()}
    told_on = {"lay": data["lay"]} if "lay" in data else {}
    laid = replace(
        laid,
        # A hand may use what the check lets pass of a gap.
        lower_bound_mm=min(least_mm, laid.length_mm),
        notes=(f"Arranged by hand from layout {layout.number}.",),
    )
    return Hand(
        data=layout_json(laid, numbers) | told_on | {"turns_deg": turns_json(turns)},
        pinned=tuple(sorted(lie.piece for lie in lies if lie.is_pinned)),
        moved=sum(was[lie.piece] != (lie.turn_deg, lie.x_mm, lie.y_mm) for lie in lies),
        files=files,
    )


def _laid(before: Laid, lies: Sequence[Lie], patterns: dict[int, Pattern]) -> Laid:
    return replace(
        before,
        placements=tuple(
            Placement(
                pattern=patterns[lie.piece],
                number=lie.piece,
                copy=1,
                section=0,
                turn_deg=lie.turn_deg,
                x_mm=lie.x_mm,
                y_mm=lie.y_mm,
            )
            for lie in lies
        ),
    )
