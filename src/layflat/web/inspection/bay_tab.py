"""The tab "Check" of a job's page in the bay: panel by panel, flags, and what is missing."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.urls import reverse

from layflat.base import InputError
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind
from layflat.web.inspection.flags import film_of
from layflat.web.inspection.flat_map import FlatMap, flat_map_of
from layflat.web.inspection.kinds import KINDS, kind_named
from layflat.web.inspection.kinds import Kind as FaultKind
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.inspection.open import checks_of, flags_of
from layflat.web.inspection.who_may import who_may, why_not_oneself
from layflat.web.jobs.models import Job
from layflat.web.laying.film_on_car import Film, FilmOnCar, in_bay
from layflat.web.laying.steps import why_not_now
from layflat.web.people.models import Person

HOW_TO_LOOK: Final = (
    "Search close up, under strong light from the side: every edge, every corner.",
    "Whether a fault matters is judged in daylight from about 1 to 1.5 m, square to the panel.",
    "Haze and small water pockets in the first weeks are noted, not counted.",
    "A seam or relief that was agreed is no fault.",
)
_PENNANT_SHARE: Final = 1 / 420
"""How many map units one unit of a pennant is, as a share of the map's width."""


@dataclass(frozen=True, kw_only=True)
class Pennant:
    """A flag on a map.

    Attributes:
        flag: the row.
        x, y: its foot, in the map's units.
    """

    flag: Flag
    x: float
    y: float

    @property
    def is_open(self) -> bool:
        """Whether it is filled."""
        return self.flag.state == Flag.State.OPEN


@dataclass(frozen=True, kw_only=True)
class Row:
    """A piece as it is looked at.

    Attributes:
        film: piece and film.
        map: its flat picture, or None where it has none to tap.
        pennants: flags that are not ended, where their place is known.
        pen: units of the map for one of a pennant.
        flags: those not ended.
        check: that stands, or None.
        shape, word: of its state.
    """

    film: Film
    map: FlatMap | None
    pennants: tuple[Pennant, ...]
    pen: float
    flags: tuple[Flag, ...]
    check: Check | None
    shape: str
    word: str

    @property
    def next_words(self) -> str:
        """What happens next with a piece that is not on the car, in a phrase."""
        cut = self.film.cut
        if cut is None:
            anew = "anew " if self.flags else ""
            return f"it is laid out and cut {anew}on the tab “Film”, then laid on the tab “Lay”"
        if cut.state == Cut.State.PLACED:
            return "its film is to be cut on the tab “Film”, then laid on the tab “Lay”"
        if cut.state == Cut.State.CUT:
            return "its film is to be weeded on the tab “Film”, then laid on the tab “Lay”"
        return "its film is weeded; it is laid on the tab “Lay”"

    @property
    def to_map(self) -> str:
        """The map's six numbers, for the script."""
        return " ".join(f"{value!r}" for value in self.map.to_map) if self.map else ""

    @property
    def places(self) -> str:
        """Its flags' places in the flat as JSON, for the script that shows the vehicle."""
        return json.dumps(
            [
                {
                    "label": str(one.flag.number),
                    "kind": "" if one.is_open else "mended",
                    "x": one.flag.x_mm,
                    "y": one.flag.y_mm,
                }
                for one in self.pennants
            ]
        )


@dataclass(frozen=True, kw_only=True)
class FlagRow:
    """A flag as its line says it.

    Attributes:
        flag: the row.
        kind: of fault.
        is_off: whether its film came off and the new one is not laid.
    """

    flag: Flag
    kind: FaultKind
    is_off: bool

    @property
    def is_open(self) -> bool:
        """Whether something is to be done."""
        return self.flag.state == Flag.State.OPEN

    @property
    def is_mended(self) -> bool:
        """Whether a second person is to look."""
        return self.flag.state == Flag.State.MENDED

    @property
    def waits(self) -> bool:
        """Whether it is left to clear."""
        return self.is_open and self.flag.remedy == Flag.Remedy.WAIT

    @property
    def is_to_mend(self) -> bool:
        """Whether it is pressed down or laid again."""
        by_hand = (Flag.Remedy.PRESS, Flag.Remedy.RELAY)
        return self.is_open and not self.is_off and self.flag.remedy in by_hand

    @property
    def remedies(self) -> tuple[Flag.Remedy, ...]:
        """What may be done about it."""
        return tuple(one for one in Flag.Remedy if one != Flag.Remedy.WAIT or self.kind.may_wait)


def read(job: Job, who: Person) -> dict[str, Any]:
    """What the tab shows, by its names in "inspection/bay_tab.html"; three queries of its own."""
    try:
        shared = in_bay(job)
    except InputError as error:
        return {"check_missing": str(error)}
    film, flags, checks = shared.film, flags_of(job), checks_of(job)
    rounds = list(job.rounds.select_related("inspector"))
    going_on = next((one for one in reversed(rounds) if one.ended_at is None), None)
    rows = [_row(one, flags, checks) for one in film.pieces]
    why_not = why_not_oneself(shared, who)
    is_mine = going_on is not None and going_on.inspector == who
    return {
        "check_rows": rows,
        "check_done": sum(row.check is not None for row in rows),
        "check_flags": [_flag_row(flag) for flag in flags if flag.state != Flag.State.ENDED],
        "check_ended": [flag for flag in flags if flag.state == Flag.State.ENDED],
        "check_round": going_on,
        "check_rounds": rounds,
        "check_mine": is_mine,
        "check_inspects": is_mine and _may(going_on, why_not),
        "check_why_not": why_not,
        "check_who_may": who_may(shared) if why_not else "",
        "check_not_now": _not_now(film, why_not_now(job, Kind.INSPECT, shared.steps)),
        "check_left": missing(rows, flags),
        "check_kinds": KINDS,
        "check_remedies": Flag.Remedy,
        "check_how": HOW_TO_LOOK,
        "check_others": shared.others(who),
        "check_body": _body(job, film),
        "check_forms": " ".join(_forms(rows)),
    }


def _may(going_on: Round | None, why_not: str) -> bool:
    return going_on is not None and (not why_not or bool(going_on.own_work_because))


def _not_now(film: FilmOnCar, step: str) -> str:
    left = len(film.pieces) - film.laid
    if left:
        verb = "is" if left == 1 else "are"
        return (
            f"Inspection begins when all film is laid; {left} of {len(film.pieces)} pieces {verb} "
            "not laid yet."
        )
    return step


def missing(rows: Sequence[Row], flags: Iterable[Flag]) -> tuple[str, ...]:
    """What is missing before the inspection can end, in phrases."""
    not_laid = sum(not row.film.is_laid for row in rows)
    unseen = sum(row.film.is_laid and row.check is None for row in rows)
    held = sum(flag.state != Flag.State.ENDED for flag in flags)
    found = (
        (not_laid, "piece is not laid", "pieces are not laid"),
        (unseen, "piece is to be looked at", "pieces are to be looked at"),
        (held, "flag is not ended", "flags are not ended"),
    )
    return tuple(f"{count} {one if count == 1 else more}" for count, one, more in found if count)


def _row(film: Film, flags: Sequence[Flag], checks: dict[int, Check]) -> Row:
    cut = film.cut
    of_it = tuple(
        flag
        for flag in flags
        if flag.state != Flag.State.ENDED and film_of(flag).piece_id == film.piece.pk
    )
    check = checks.get(cut.pk) if cut else None
    flat = flat_map_of(film.piece)
    pennants = []
    for flag in of_it:
        on_this = cut is not None and flag.cut_id == cut.pk
        if flat and on_this and flag.x_mm is not None and flag.y_mm is not None:
            x, y = flat.at(flag.x_mm, flag.y_mm)
            pennants.append(Pennant(flag=flag, x=round(x, 1), y=round(y, 1)))
    shape, word = _state(film, of_it, check)
    return Row(
        film=film,
        map=flat,
        pennants=tuple(pennants),
        pen=round(max(flat.width, flat.height * 1.6) * _PENNANT_SHARE, 4) if flat else 1.0,
        flags=of_it,
        check=check,
        shape=shape,
        word=word,
    )


def _state(film: Film, flags: Sequence[Flag], check: Check | None) -> tuple[str, str]:
    count = f"{len(flags)} flag{'s' if len(flags) != 1 else ''}"
    if not film.is_laid:
        return "waiting", f"not laid, {count}" if flags else "not laid"
    if check is not None:
        seen = f"checked by {check.round.inspector.shown}"
        return ("late", f"{seen}, {count}") if flags else ("done", seen)
    return ("late", f"to be looked at, {count}") if flags else ("", "to be looked at")


def _flag_row(flag: Flag) -> FlagRow:
    is_off = film_of(flag).state == "lost"
    return FlagRow(flag=flag, kind=kind_named(flag.kind), is_off=is_off)


def _body(job: Job, film: FilmOnCar) -> dict[str, str]:
    """Addresses of the vehicle with its film in 3D; none where every piece is a kept pattern."""
    if film.outcome.shown_id is None:
        return {}
    values = [job.number, film.outcome.cover.number, film.outcome.number]
    return {
        "glb": reverse("fit:vehicle", args=values),
        "lines": reverse("fit:lines", args=values),
    }


def _forms(rows: Sequence[Row]) -> list[str]:
    """The forms that an inspection opens as soon as it has begun."""
    unseen = [row.film.cut.pk for row in rows if row.film.cut and row.check is None]
    return [f"check-{key}" for key in unseen] + ["inspect-finish"]
