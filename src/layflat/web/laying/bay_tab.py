"""The tab "Lay" of a job's page in the bay: the list, piece by piece, in the order of laying."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.base import InputError
from layflat.fit import STROKES
from layflat.papers import panel_title
from layflat.web.cutting.models import Cut
from layflat.web.fit.words import EFFORTS
from layflat.web.gates.elsewhere import Elsewhere
from layflat.web.gates.models import Kind
from layflat.web.gates.standing import Standing
from layflat.web.jobs.models import Job
from layflat.web.laying.done import time_of
from layflat.web.laying.film_on_car import Film, InBay, in_bay
from layflat.web.laying.mixes import SLIP_CAUTIONS, TACK_CAUTIONS
from layflat.web.laying.models import Laying
from layflat.web.laying.steps import why_not_now
from layflat.web.laying.words import names
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import shown_duration, shown_fine_length, the_shop

TOP_DOWN: Final = (
    "In the order of laying: from top to bottom, so that slip runs down over what is not laid yet; "
    "of equally high panels the larger first. Common practice; change it where the car asks for it."
)
AS_CUT: Final = (
    "In the order of cutting: this cover was computed before the order of laying was kept. Common "
    "practice is from top to bottom, the larger panel first."
)
_TWO_PEOPLE_MM2: Final = 1.0e6
"""A piece of a square metre and more is laid by two (common practice, no source)."""
_READY: Final = {
    Cut.State.PLACED: ("waiting", "to be cut"),
    Cut.State.CUT: ("waiting", "cut, to be weeded"),
    Cut.State.WEEDED: ("", "ready to lay"),
    Cut.State.LAID: ("done", "laid"),
}


@dataclass(frozen=True, kw_only=True)
class Row:
    """A piece as its card says it.

    Attributes:
        film: piece, film and what was done.
        shape, word: of its state.
        effort: its word.
        says: its effort in a sentence.
        ends: how film ends at its edges, in phrases.
        free: what stays free on it.
        over: keep-outs under film, with the reason.
        wants_two: whether two people lay it.
        by: who laid it or has it in hand.
        time: how long it took, in words, or "".
        hard: what was hard, or "".
        photo: of it, or None.
        is_next: whether its notes lie open: it is in hand, or the first that is not laid.
        can_begin, can_end: whether it may be begun, or ended, before or after the forms above it.
    """

    film: Film
    shape: str
    word: str
    effort: str
    says: str
    ends: tuple[str, ...]
    free: tuple[str, ...]
    over: tuple[str, ...]
    wants_two: bool
    by: str
    time: str
    hard: str
    photo: Laying | None
    is_next: bool
    can_begin: bool
    can_end: bool

    @property
    def is_laid(self) -> bool:
        """Whether it lies on the car."""
        return self.film.is_laid

    @property
    def began_at(self) -> datetime.datetime | None:
        """Since when it is in hand, or None."""
        return self.film.in_hand.began_at if self.film.in_hand else None


def read(job: Job, who: Person) -> dict[str, Any]:
    """What the tab shows, by its names in "laying/bay_tab.html"."""
    try:
        shared = in_bay(job)
    except InputError as error:
        return {"lay_missing": str(error)}
    found, shop = shared.film, the_shop()
    waits = _waits(shared.steps)
    ahead = next((one for one in found.pieces if not one.is_laid and not one.in_hand), None)
    return {
        "lay_rows": [
            _row(film, shared, shop, is_next=film is ahead, waits=waits) for film in found.pieces
        ],
        "lay_laid": found.laid,
        "lay_order": TOP_DOWN if found.order_is_known else AS_CUT,
        "lay_not_now": why_not_now(job, Kind.LAY, shared.steps),
        "lay_others": shared.others(who),
        "lay_may": _may_lay(who),
        "stroke_words": STROKES,
        "slip_cautions": SLIP_CAUTIONS,
        "tack_cautions": TACK_CAUTIONS,
    }


def where_laid(job: Job, who: Person) -> Elsewhere | None:
    """Where the step of laying is done; None once all film is laid and its end is missing."""
    try:
        film = in_bay(job).film
    except InputError:
        return None
    if film.is_all_laid:
        return None
    return Elsewhere(
        says="Piece by piece on the tab “Lay”; it is done by itself with the last piece.",
        action="To the pieces" if _may_lay(who) else "Look at the pieces",
        address="#lay",
    )


def _may_lay(who: Person) -> bool:
    return who.role in (Role.INSTALLER, Role.OWNER)


def _waits(steps: Sequence[Standing]) -> str:
    """What laying waits for, as a gate says it; "" when nothing is in its way."""
    of_kind = [item for item in steps if item.step.kind == Kind.LAY]
    if any(item.is_open or item.is_over for item in of_kind):
        return ""
    return of_kind[0].waits if of_kind else ""


def _row(film: Film, shared: InBay, shop: Shop, *, is_next: bool, waits: str) -> Row:
    piece, cut, hand = film.piece, film.cut, film.in_hand
    shape, word = _READY[Cut.State(cut.state)] if cut else ("none", "to be laid out")
    if cut and cut.state == Cut.State.WEEDED and waits:
        shape, word = "waiting", f"weeded, waits for {waits}"
    if hand is not None:
        shape, word = "today", "in hand"
    effort, says = EFFORTS[piece.effort]
    ended = [laying for laying in film.layings if laying.ended_at is not None]
    # A piece that took no whole minute was tapped late; nothing is said of its time.
    minutes = round(time_of(ended).total_seconds() / 60)
    return Row(
        film=film,
        shape=shape,
        word=word,
        effort=effort,
        says=says,
        ends=tuple(_ends(piece.details, shop)),
        free=tuple(_free(piece.details)),
        over=tuple(f"{one['name']}: {one['reason']}" for one in piece.details.get("film_over", ())),
        wants_two=piece.area_mm2 >= _TWO_PEOPLE_MM2,
        by=_by(film, hand, shared),
        time=shown_duration(minutes) if minutes else "",
        hard="; ".join(laying.hard for laying in film.layings if laying.hard),
        photo=next((one for one in reversed(film.layings) if one.photo_id), None),
        is_next=is_next or hand is not None,
        can_begin=cut is not None and cut.state in (Cut.State.CUT, Cut.State.WEEDED) and not hand,
        can_end=cut is not None and cut.state in (Cut.State.CUT, Cut.State.WEEDED),
    )


def _by(film: Film, hand: Laying | None, shared: InBay) -> str:
    if hand is not None:
        return names(shared.who_did(hand))
    if not film.is_laid:
        return ""
    return "; ".join(
        f"{laying.get_way_display()} by {names(shared.who_did(laying))}" for laying in film.layings
    )


def _ends(details: dict[str, Any], shop: Shop) -> list[str]:
    """Edges by how film ends there: "Wrapped 8 mm: front"."""
    found: dict[str, list[str]] = {}
    for edge in details.get("edges", ()):
        distance = shown_fine_length(edge.get("distance_mm") or 0.0, shop)
        how = {"wrap": f"Wrapped {distance}", "short": f"{distance} short"}
        name = panel_title(edge["name"]) if edge.get("name") else "unnamed"
        found.setdefault(how.get(edge["finish"], "On the line"), []).append(name.lower())
    order = sorted(found, key=lambda how: (not how.startswith("Wrapped"), how))
    return [f"{how}: {', '.join(dict.fromkeys(found[how]))}" for how in order]


def _free(details: dict[str, Any]) -> list[str]:
    return [
        one["word"] if one["name"] in one["word"] else f"{one['name']}: {one['word']}"
        for one in details.get("free", ())
    ]
