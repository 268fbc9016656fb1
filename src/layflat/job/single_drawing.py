"""The work of `layflat check` on a drawing, and answers to what a drawing asks."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from layflat.base import Report, SettingError, counted
from layflat.job.done import Done
from layflat.pattern import (
    Drawing,
    Question,
    Reading,
    bounds,
    inspect_drawing,
    pattern_area_mm2,
)


def parse_answers(texts: Sequence[str]) -> dict[str, str]:
    """Answers from texts "ID=CHOICE", such as "unit=mm"; "all=default" takes every default.

    Raises:
        SettingError: a text is not of this form, or two answer the same.
    """
    answers: dict[str, str] = {}
    for text in texts:
        name, sign, choice = text.rpartition("=")
        if not (name.strip() and sign and choice.strip()):
            raise SettingError(
                f"The answer {text!r} cannot be read; write the question's name and the choice, "
                "such as unit=mm."
            )
        if answers.setdefault(name.strip(), choice.strip()) != choice.strip():
            raise SettingError(f"“{name.strip()}” is answered in two ways.")
    return answers


def check_drawing(path: Path, *, answers: Sequence[str] = ()) -> Done:
    """Say what the drawing at *path* holds, what was mended in it and what it asks.

    Raises:
        InputError: it cannot be read; says why.
    """
    reading = inspect_drawing(path, answers=parse_answers(answers))
    lines = [
        *_holds(path.name, reading),
        *(f"mended: {item.sentence}" for item in reading.mended),
        *(line for question in reading.questions for line in _asked(question)),
    ]
    count = len(reading.open_questions)
    if count:
        open_ones = counted(count, "question is", "questions are")
        lines.append(f"{open_ones} open: give --answer for each, or all=default.")
    elif reading.drawing is not None:
        lines.append("It can be used as it is.")
    return Done(
        texts={},
        report=Report(
            kind="check",
            inputs=Report.hashes(path),
            results=_results(reading),
            warnings=() if reading.drawing is None else _plain_notes(reading),
        ),
        sentence=lines[-1],
        lines=tuple(lines),
    )


def _plain_notes(reading: Reading) -> tuple[str, ...]:
    """The notes that are no mendings."""
    mended = {item.sentence for item in reading.mended}
    notes = () if reading.drawing is None else reading.drawing.notes
    return tuple(note for note in notes if note not in mended)


def _holds(name: str, reading: Reading) -> list[str]:
    if reading.drawing is None:
        return [reading.refusal]
    patterns = reading.drawing.patterns
    largest = max(patterns, key=pattern_area_mm2)
    x0, y0, x1, y1 = bounds(largest.outline)
    holes = sum(len(pattern.cut_outs) for pattern in patterns)
    what = f"{counted(len(patterns), 'piece')} with "
    what += counted(holes, "cut-out") if holes else "no cut-out"
    size = f"{x1 - x0:.1f} × {y1 - y0:.1f} mm"
    return [f"{name}: {what}; the largest, “{largest.name}”, is {size}."]


def _asked(question: Question) -> list[str]:
    """A question with its choices, a line each."""
    lines = [f"asked: {question.sentence}"]
    for choice in question.choices:
        state = ""
        if question.answer == choice.name:
            state = " (your answer)"
        elif question.answer is None and question.default == choice.name:
            state = " (likely)"
        lines.append(f"  --answer {question.id}={choice.name}{state}: {choice.sentence}")
    return lines


def _results(reading: Reading) -> dict[str, Any]:
    drawing: Drawing | None = reading.drawing
    pieces: list[Mapping[str, Any]] = []
    for pattern in drawing.patterns if drawing is not None else ():
        x0, y0, x1, y1 = bounds(pattern.outline)
        pieces.append(
            {
                "name": pattern.name,
                "size_mm": [x1 - x0, y1 - y0],
                "area_mm2": pattern_area_mm2(pattern),
                "cut_outs": len(pattern.cut_outs),
            }
        )
    return {
        "pieces": pieces,
        "refusal": reading.refusal,
        "mended": [vars(item) for item in reading.mended],
        "questions": [
            {**vars(item), "choices": [vars(choice) for choice in item.choices]}
            for item in reading.questions
        ],
    }
