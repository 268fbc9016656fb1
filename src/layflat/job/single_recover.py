"""The work of `layflat recover`: after a stop, what is whole, and what is cut again where."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from layflat.base import Progress, Report, SettingError, counted, part_of, read_bytes, silent
from layflat.cut import (
    NO_WISHES,
    CutProgram,
    Drift,
    Laying,
    Machine,
    Recovery,
    State,
    Wishes,
    judge_drift,
    piece_strokes,
    plain_text,
    program,
    program_from_text,
    read_marks,
    recover,
    straightened,
    told_whole,
    witnessed,
)
from layflat.job.done import Done
from layflat.job.single_calibrate import machine_of
from layflat.nest import layout_drawing, layout_report, parse_turns
from layflat.pattern import Drawing, dxf_text, read_drawing, svg_text

_MAX_BYTES = 64_000_000


@dataclass(frozen=True, kw_only=True)
class StoppedAt:
    """Where a program stopped, as a person knows it.

    Attributes:
        section: its number, or None if the piece says it or there is one only.
        piece: the piece that was under the knife, its name or its number; or None.
        whole, begun: strokes of the section that are whole, and that may have been begun; or None
            if the piece says it.
    """

    section: int | None = None
    piece: str | None = None
    whole: int | None = None
    begun: int | None = None


def recover_files(
    layout_path: Path,
    program_path: Path,
    *,
    machine_path: Path | None = None,
    stopped: StoppedAt,
    laying: Laying,
    turns: str = "0,180",
    seen_whole: Sequence[str] = (),
    seen_lost: Sequence[str] = (),
    in_place: bool = False,
    marks_path: Path | None = None,
    wishes: Wishes = NO_WISHES,
    progress: Progress = silent,
) -> Done:
    """What is whole, lost and doubtful after a stop, with a new layout and its program.

    Args:
        layout_path: the layout that was being cut (DXF or SVG).
        program_path: its program (HP-GL), of all sections or of the one that was being cut.
        machine_path: the machine file, or None for the generic plotter.
        stopped: where it stopped.
        laying: how to lay out anew; its turns are those of *turns*.
        turns: which turns are allowed from how the pieces lay; see `layflat.nest.parse_turns`.
        seen_whole, seen_lost: pieces, by name or number, that a person has looked at.
        in_place: the head still knows where it stands; the old program goes on.
        marks_path: what was read off the section's witness marks (TOML), or None; the new
            program is bent against a drift that can be corrected.
        wishes: what the old program was made with; the new one is made so, too.
        progress: told of search and path.

    Returns:
        The new layout as .dxf and .svg and its program as .plt, with the report; no texts if
        nothing is cut again.

    Raises:
        InputError: a file or what was said of the stop cannot be used; says why.
        CheckError: the new layout or program failed its check.
    """
    defaults: dict[str, Any] = {}
    inputs = Report.hashes(layout_path, program_path)
    machine = machine_of(machine_path, defaults, inputs)
    drawing = read_drawing(layout_path)
    text = read_bytes(program_path, max_bytes=_MAX_BYTES).decode("ascii", errors="replace")
    text = plain_text(text, machine)
    number = stopped.section
    names = [pattern.name for pattern in drawing.patterns]
    at = None if stopped.piece is None else _named(stopped.piece, names)
    old = program_from_text(text, drawing, machine, number=number)
    number, whole, begun = _stop(old, drawing, machine, stopped, at)
    looked: dict[str, State] = {_named(name, names): "whole" for name in seen_whole}
    for name in seen_lost:
        if looked.setdefault(_named(name, names), "lost") != "lost":
            raise SettingError(f"“{name}” is said to be both whole and lost.")
    drift = None
    if marks_path is not None:
        inputs |= Report.hashes(marks_path)
        made = program(drawing, machine, wishes=wishes)
        drift = _drift(marks_path, text, made, drawing, machine, number)
    found = recover(
        old,
        drawing,
        machine,
        number=number,
        whole=whole,
        begun=begun,
        laying=laying_with(laying, turns),
        in_place=in_place,
        drift=drift,
        looked=looked,
        progress=part_of(progress, start=0.0, end=0.7),
    )
    texts: dict[str, str] = {}
    if found.again is not None:
        anew = layout_drawing(found.again)
        made = program(
            anew,
            machine,
            wishes=_anew(wishes, anew, found),
            progress=part_of(progress, start=0.7, end=1.0),
        )
        if drift is not None and drift.verdict == "correct":
            made = straightened(made, replace(drift, number=0), anew, machine)
        told = told_whole(made, machine)
        texts = {
            ".dxf": dxf_text(anew),
            ".svg": svg_text(anew),
            ".plt": told,
            ".hpgl": told,
        }
    return Done(
        texts=texts,
        report=Report(
            kind="recovery",
            inputs=inputs,
            results=recovery_results(found, drift),
            seed=laying.seed,
            defaults=defaults,
            warnings=(*drawing.notes, *found.notes),
        ),
        sentence=_sentence(found),
        lines=(
            *((drift.sentence,) if drift else ()),
            *(f"{piece.state:>9}  {piece.name}: {piece.why}" for piece in found.pieces),
        ),
    )


def laying_with(laying: Laying, turns: str) -> Laying:
    """How to lay out anew, with turns as they are written."""
    return Laying(**{**vars(laying), "turns_deg": parse_turns(turns)})


def _anew(wishes: Wishes, anew: Drawing, found: Recovery) -> Wishes:
    """The wishes for the new program, its pieces called by their new numbers."""
    names = [pattern.name for pattern in anew.patterns]
    now = {was: name for name in names for was in found.was[int(name.split(" ", 1)[0]) - 1 :][:1]}
    return replace(wishes, first=tuple(now[name] for name in wishes.first if name in now))


def _drift(
    path: Path, text: str, made: CutProgram, drawing: Drawing, machine: Machine, number: int
) -> Drift:
    """What the marks of a section say that were read into the file at *path*."""
    marks = read_marks(path)
    made = witnessed(made, drawing, machine, every_mm=marks.every_mm)
    if text not in (made.hpgl, *(section.hpgl for section in made.sections)):
        raise SettingError(
            f"{path}: the program is not this layout's with marks every {marks.every_mm:g} mm; "
            "name the machine file, the interval and the wishes that it was made with."
        )
    return judge_drift(
        made,
        marks.readings,
        drawing,
        machine,
        number=number,
        tolerance_mm=marks.tolerance_mm,
        reading_mm=marks.reading_mm,
        sure=marks.sure,
    )


def recovery_results(found: Recovery, drift: Drift | None = None) -> dict[str, Any]:
    """A recovery, and the drift if marks were read, for a report's `results`."""
    booked = found.booked
    return {
        "section": found.number,
        "pieces": {
            state: list(found.names(state)) for state in ("whole", "lost", "doubtful", "to cut")
        },
        "harmed": [
            {"start_mm": stretch.start_mm, "end_mm": stretch.end_mm} for stretch in found.harmed
        ],
        "film": {
            "length_in_mm": booked.length_in_mm,
            "whole_mm": booked.whole_mm,
            "spoiled_mm": booked.spoiled_mm,
            "waste_mm": booked.waste_mm,
            "left_mm": booked.left_mm,
        },
        "resume_at_stroke": None if found.resume_at is None else found.resume_at + 1,
        "again": None if found.again is None else layout_report(found.again),
        "was": {str(i + 1): name for i, name in enumerate(found.was)},
        "drift": None
        if drift is None
        else {
            "verdict": drift.verdict,
            "grows_with": drift.by,
            "along": float(drift.rate[0]),
            "across": float(drift.rate[1]),
            "error_95": drift.rate_error,
            "would_lose": list(drift.would_lose),
        },
    }


def _named(piece: str, names: Sequence[str]) -> str:
    """The piece's name, from itself or the number before it."""
    found = [name for name in names if name == piece or name.split(" ", 1)[0] == piece]
    if len(found) != 1:
        raise SettingError(
            f"“{piece}” is {'no piece' if not found else 'more than one piece'} of the layout; "
            f"they are {', '.join(names)}."
        )
    return found[0]


def _stop(
    old: CutProgram, drawing: Drawing, machine: Machine, stopped: StoppedAt, at: str | None
) -> tuple[int, int, int]:
    """The section, and the strokes that are whole and that may have been begun."""
    known: Mapping[int, Mapping[str, tuple[int, int]]] = {
        section.number: piece_strokes(section, drawing, machine)
        for section in old.sections
        if section.hpgl
    }
    if at is not None:
        if stopped.whole is not None or stopped.begun is not None:
            raise SettingError("Say where it stopped by a piece or by strokes, not by both.")
        number = next((number for number, pieces in known.items() if at in pieces), None)
        if number is None or stopped.section not in (None, number):
            raise SettingError(f"“{at}” is not cut in the section that the program is of.")
        first, last = known[number][at]
        return number, first, last + 1
    number = stopped.section if stopped.section is not None else next(iter(known))
    if stopped.section is None and len(known) > 1:
        raise SettingError("Say in which section it stopped (--section), or at which piece (--at).")
    if stopped.whole is None:
        raise SettingError(
            "Say where it stopped: at which piece (--at), or how many strokes are whole (--whole)."
        )
    return number, stopped.whole, stopped.whole if stopped.begun is None else stopped.begun


def _sentence(found: Recovery) -> str:
    counts = ", ".join(
        f"{len(found.names(state))} {state}" for state in ("whole", "lost", "doubtful", "to cut")
    )
    booked = found.booked
    words = (
        f"section {found.number}: {counts}. Film: {booked.length_in_mm:.0f} mm in = "
        f"{booked.whole_mm:.0f} whole + {booked.spoiled_mm:.0f} spoiled + "
        f"{booked.waste_mm:.0f} waste + {booked.left_mm:.0f} left."
    )
    if found.again is None:
        return f"{words} Nothing is cut again."
    return f"{words} {counted(len(found.again.placements), 'piece')} to be cut on the new layout."
