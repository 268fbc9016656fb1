"""After a stop: what is whole, what is lost, what a person must look at, and what is cut again.

A program counts its strokes with the knife down. Two numbers say where it stopped: how many
strokes are whole for certain, and how many may have been begun. A piece is whole when all of its
strokes are; to be cut when none may have been begun; in doubt when all were begun and nobody knows
whether the last one came to its end; else lost, for its outline is open and the film under it cut.
A drift moves pieces from whole to doubtful and lost.

What is in doubt is neither counted whole nor cut again until a person has looked and said so: that
is how nothing is cut twice and nothing is missing.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from layflat.base import FitError, Progress, SettingError, silent
from layflat.cut.drift import Drift
from layflat.cut.machine import Machine
from layflat.cut.owners import OwnedStroke, owned_strokes
from layflat.cut.records import CutProgram
from layflat.cut.sheet import Sheet, sheets_of
from layflat.nest import Layout, Request, Stock, Stretch, place
from layflat.pattern import Drawing, Pattern, bounds, pattern_area_mm2

State = Literal["whole", "lost", "doubtful", "to cut"]

_NUMBERED = re.compile(r"\d+ (?=\S)")


@dataclass(frozen=True, kw_only=True)
class PieceState:
    """What became of a piece.

    Attributes:
        name: as the program calls it.
        state: “whole”, “lost”, “doubtful” or “to cut”.
        why: the reason, in words.
    """

    name: str
    state: State
    why: str


@dataclass(frozen=True, kw_only=True)
class Booked:
    """The film from the section's start on, in mm of roll: what it has become.

    Attributes:
        length_in_mm: what there was.
        whole_mm: the area of whole pieces over the roll's width.
        spoiled_mm: that of pieces that are lost or in doubt.
        waste_mm: what lies around them in the stretches that were cut.
        left_mm: what nothing has cut.
    """

    length_in_mm: float
    whole_mm: float
    spoiled_mm: float
    waste_mm: float
    left_mm: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Recovery:
    """What there is to do after a stop.

    Attributes:
        number: the section that was being cut.
        pieces: of that section and of the ones behind it, in the program's order.
        harmed: stretches from the section's start that something has cut.
        booked: the film.
        resume_at: the stroke from which the old program may go on in its place, or None.
        again: what is laid out anew, x from the section's start; None if nothing is.
        was: for each piece of *again*, what the old program calls it.
        notes: sentences for a person.
    """

    number: int
    pieces: tuple[PieceState, ...]
    harmed: tuple[Stretch, ...]
    booked: Booked
    resume_at: int | None
    again: Layout | None
    was: tuple[str, ...]
    notes: tuple[str, ...]

    def names(self, state: State) -> tuple[str, ...]:
        """The pieces in a state."""
        return tuple(piece.name for piece in self.pieces if piece.state == state)


@dataclass(frozen=True, kw_only=True)
class Laying:
    """How pieces are laid out anew.

    Attributes:
        gap_mm, edge_margin_mm, end_margin_mm: distances, as for any layout.
        turns_deg: allowed turns from how they lay; None is any.
        max_section_mm: longest section; None is one.
        roll_mm: film from the section's start to the roll's end; None if it does not matter.
        seconds, seed: of the search.
    """

    gap_mm: float = 4.0
    edge_margin_mm: float = 20.0
    end_margin_mm: float = 5.0
    turns_deg: tuple[float, ...] | None = (0.0, 180.0)
    max_section_mm: float | None = None
    roll_mm: float | None = None
    seconds: float = 10.0
    seed: int = 1


def recover(
    program: CutProgram,
    drawing: Drawing,
    machine: Machine,
    *,
    number: int,
    whole: int,
    begun: int,
    laying: Laying,
    in_place: bool = False,
    drift: Drift | None = None,
    looked: Mapping[str, State] | None = None,
    progress: Progress = silent,
) -> Recovery:
    """What is whole, lost and doubtful after a stop, and a layout of what must be cut again.

    Args:
        program: that was being cut.
        drawing, machine: what it was made from and for.
        number: of the section that was being cut; the ones before it are done.
        whole: strokes of that section that are whole for certain.
        begun: strokes of it that may have been begun, the whole ones among them.
        laying: how to lay out anew.
        in_place: the head still knows where it stands, so that the old program goes on with what
            it has not begun; only what is lost is laid out anew, behind all sections. Otherwise
            everything that is still to be cut is laid out anew, on film that nothing has cut.
        drift: what the section's witness marks say, if they were read.
        looked: what a person has seen, by the piece's name: “whole” or “lost”.
        progress: told of the search.

    Raises:
        SettingError: there is no such section, the numbers cannot be, or a person names a piece
            that is not there or cannot be whole.
        FitError: the roll has no room for what must be cut again.
    """
    index = next((i for i, one in enumerate(program.sections) if one.number == number), None)
    if index is None:
        raise SettingError(f"The program has no section {number}.")
    section = program.sections[index]
    sheets = sheets_of(drawing, machine)
    sheet = sheets[index]
    strokes = owned_strokes(section, sheet, machine)
    if not 0 <= whole <= begun <= len(strokes):
        raise SettingError(
            f"Section {number} has {len(strokes)} strokes; {whole} whole and {begun} begun cannot "
            "be: whole ones are begun too."
        )
    states = _states(sheet, strokes, (whole, begun), drift)
    states = _as_seen(states, looked or {}, strokes, begun)
    behind = [pattern for later in sheets[index + 1 :] for pattern in later.patterns]
    harmed = _harmed(sheet, states, strokes[:begun], laying, drift)
    end = max(one.end_mm for one in program.sections) - section.start_mm
    length_in = end if laying.roll_mm is None else laying.roll_mm
    booked = _book(sheet, states, harmed, length_in)
    resume = _resume(states, strokes, begun) if in_place else None
    wanted = [p for p, s in zip(sheet.patterns, states, strict=True) if s.state == "lost"]
    if not in_place:
        wanted += [p for p, s in zip(sheet.patterns, states, strict=True) if s.state == "to cut"]
        wanted += behind
    taken = (Stretch(start_mm=0.0, end_mm=end, reason="laid out already"),) if in_place else harmed
    again = _lay(wanted, sheet.width_mm, taken, laying, progress) if wanted else None
    return Recovery(
        number=number,
        pieces=(
            *states,
            *(PieceState(name=p.name, state="to cut", why="its section is behind") for p in behind),
        ),
        harmed=harmed,
        booked=booked,
        resume_at=resume,
        again=again[0] if again else None,
        was=again[1] if again else (),
        notes=_notes(states, drift, in_place=in_place, again=again[0] if again else None),
    )


def _states(
    sheet: Sheet,
    strokes: Sequence[OwnedStroke],
    stop: tuple[int, int],
    drift: Drift | None,
) -> list[PieceState]:
    """What became of each piece of the section, in the order of its patterns."""
    whole, begun = stop
    found = []
    for i, pattern in enumerate(sheet.patterns):
        own = [k for k, stroke in enumerate(strokes) if stroke.piece == i]
        state: State
        if min(own) >= begun:
            state, why = "to cut", "nothing of it was begun"
        elif max(own) < whole:
            state, why = "whole", "all of it is cut"
        elif max(own) < begun:
            state, why = "doubtful", "its last cut may not have come to its end"
        else:
            state, why = "lost", "its cut was under way"
        if drift is not None and state == "whole":
            if pattern.name in drift.lost:
                state, why = "lost", "the film drifted too far while it was cut"
            elif pattern.name in drift.doubtful:
                state, why = "doubtful", "the film may have drifted too far while it was cut"
        found.append(PieceState(name=pattern.name, state=state, why=why))
    return found


def _as_seen(
    states: Sequence[PieceState],
    looked: Mapping[str, State],
    strokes: Sequence[OwnedStroke],
    begun: int,
) -> list[PieceState]:
    """The states with what a person has seen."""
    names = [state.name for state in states]
    for name, seen in looked.items():
        if name not in names:
            raise SettingError(
                f"“{name}” is no piece of the section; its pieces are {', '.join(names)}."
            )
        if seen not in ("whole", "lost"):
            raise SettingError(f"“{name}” must be seen to be whole or lost, not {seen!r}.")
        last = max(k for k, stroke in enumerate(strokes) if stroke.piece == names.index(name))
        if seen == "whole" and last >= begun:
            raise SettingError(
                f"“{name}” cannot be whole: stroke {last + 1} of the section is its last one, and "
                f"at most {begun} were begun. Look which piece it is."
            )
    return [
        replace(state, state=looked[state.name], why="seen by a person")
        if state.name in looked
        else state
        for state in states
    ]


def _harmed(
    sheet: Sheet,
    states: Sequence[PieceState],
    begun: Sequence[OwnedStroke],
    laying: Laying,
    drift: Drift | None,
) -> tuple[Stretch, ...]:
    """The stretches that something has cut or may have cut, with room for what drifted."""
    spans = [(float(s.tip_mm[:, 0].min()), float(s.tip_mm[:, 0].max())) for s in begun]
    spans += [
        (bounds(pattern.outline)[0], bounds(pattern.outline)[2])
        for pattern, state in zip(sheet.patterns, states, strict=True)
        if state.state != "to cut"
    ]
    if not spans:
        return ()
    slack = max(0.0, laying.gap_mm - laying.end_margin_mm)
    if drift is not None and begun:
        last = begun[-1]
        gone = last.fed_end_mm if drift.by == "fed" else last.travelled_end_mm
        slack += (float(np.hypot(*drift.rate)) + drift.rate_error) * gone
    merged: list[list[float]] = []
    for low, high in sorted((max(0.0, a - slack), b + slack) for a, b in spans):
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        else:
            merged.append([low, high])
    return tuple(Stretch(start_mm=a, end_mm=b, reason="cut already") for a, b in merged)


def _book(
    sheet: Sheet, states: Sequence[PieceState], harmed: Sequence[Stretch], length_in: float
) -> Booked:
    """The film from the section's start on."""
    area = {"whole": 0.0, "lost": 0.0, "doubtful": 0.0, "to cut": 0.0}
    for pattern, state in zip(sheet.patterns, states, strict=True):
        area[state.state] += pattern_area_mm2(pattern)
    cut = sum(stretch.end_mm - stretch.start_mm for stretch in harmed)
    if cut > length_in:
        raise SettingError(
            f"{cut:.0f} mm of film are cut, but only {length_in:.0f} mm are said to have been on "
            "the roll; measure the roll again."
        )
    whole = area["whole"] / sheet.width_mm
    spoiled = (area["lost"] + area["doubtful"]) / sheet.width_mm
    return Booked(
        length_in_mm=length_in,
        whole_mm=whole,
        spoiled_mm=spoiled,
        waste_mm=cut - whole - spoiled,
        left_mm=length_in - cut,
    )


def _resume(states: Sequence[PieceState], strokes: Sequence[OwnedStroke], begun: int) -> int | None:
    """The first stroke from which on only pieces are cut of which nothing was begun."""
    left = {i for i, state in enumerate(states) if state.state == "to cut"}
    return next((k for k in range(begun, len(strokes)) if strokes[k].piece in left), None)


def _lay(
    patterns: Sequence[Pattern],
    width_mm: float,
    taken: tuple[Stretch, ...],
    laying: Laying,
    progress: Progress,
) -> tuple[Layout, tuple[str, ...]]:
    """A layout of pieces on film that nothing has cut, and their old names."""
    numbered = all(_NUMBERED.match(pattern.name) for pattern in patterns)
    fresh = [
        replace(p, name=_NUMBERED.sub("", p.name, count=1)) if numbered else replace(p)
        for p in patterns
    ]
    try:
        layout = place(
            [Request(pattern=pattern, turns_deg=laying.turns_deg) for pattern in fresh],
            Stock(
                width_mm=width_mm,
                edge_margin_mm=laying.edge_margin_mm,
                end_margin_mm=laying.end_margin_mm,
                length_mm=laying.roll_mm,
                faults=taken,
            ),
            gap_mm=laying.gap_mm,
            seconds=laying.seconds,
            seed=laying.seed,
            max_section_mm=laying.max_section_mm,
            progress=progress,
        )
    except FitError as error:
        raise FitError(f"What must be cut again has no room: {error}") from error
    old = {id(new): pattern.name for new, pattern in zip(fresh, patterns, strict=True)}
    return layout, tuple(old[id(placement.pattern)] for placement in layout.placements)


def _notes(
    states: Sequence[PieceState], drift: Drift | None, *, in_place: bool, again: Layout | None
) -> tuple[str, ...]:
    """What a person must do before anything is cut."""
    notes = []
    doubtful = [state.name for state in states if state.state == "doubtful"]
    if doubtful:
        notes.append(
            f"Look at {', '.join(doubtful)} and say whether whole or lost: until then they count "
            "as neither and are not cut again."
        )
    if in_place and drift is None:
        notes.append(
            "The old program goes on only if the film has not moved: let the head return to a "
            "witness mark first."
        )
    if again is not None:
        # Rounded up: what was cut stays clear of the new program.
        begins = math.ceil(again.sections[0].start_mm - 1e-6)
        notes.append(
            f"The new program begins {begins} mm further along the roll than the section that was "
            "stopped: set the machine's origin there, measured from where that section began."
        )
    return tuple(notes)
