"""What is done beside other work: reading drawings, and finding starts on other cars."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from layflat.base import FloatArray, Progress, part_of
from layflat.pattern import (
    Pattern,
    Reading,
    bounds,
    inspect_drawing,
    pattern_area_mm2,
    pattern_json,
    sample,
)
from layflat.web.bodies.contents import named
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.shaping.propose_task import propose_starts
from layflat.web.work.tasks import task

_MOST_BYTES = 50_000_000
_MOST_PIECES = 60
_MOST_POINTS = 20_000
"""Points of a picture; a browser draws no more at once."""

_PICTURE_SHARE = 1e-3
"""How far a picture's line may lie from the true one, of the drawing's extent."""


@task("shaping.propose", comes_first=True)
def propose(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Finding the nearest pattern of another car.

    Args and result are those of `layflat.web.shaping.propose_task.propose_starts`.
    """
    return propose_starts(inputs, progress)


@task("shaping.read", comes_first=True)
def read(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Reading a drawing.

    Args:
        inputs: `file`, the SHA-256 of a kept file; `name`, its name with its ending; `answers` to
            what it asks, by the question's id.
        progress: told what is being done.

    Returns:
        `refusal`, why there is no drawing, or ""; `mended`, each with `sentence` and `place`, and
        `notes`, other sentences; `questions`, each with `id`, `sentence`, `choices` (`name` and
        `sentence`), `default`, `answer` and `place`; `lines`, flat lists of x and y as the file
        has them; `pieces`, each with `name`, `pattern` (the SHA-256 of a kept file), `size_mm`,
        `area_mm2`, `cut_outs`, `marks` and `lines`; `left`, pieces beyond the most that are shown;
        `is_whole`, whether all lines are in the picture. Places are x and y in mm.

    Raises:
        LayflatError: the drawing cannot be used; the sentence says why.
    """
    stored = StoredFile.objects.get(sha256=inputs["file"])
    with named(stored) as place:
        # The first name of a content may have another ending than the one brought now.
        path = place.with_name("drawing" + Path(inputs["name"]).suffix.lower())
        place.rename(path)
        found = inspect_drawing(
            path, answers=inputs["answers"], progress=part_of(progress, start=0.0, end=0.9)
        )
    progress("drawing what was understood", 0.9)
    return _result(found, inputs["name"])


def _result(found: Reading, name: str) -> dict[str, Any]:
    patterns = () if found.drawing is None else found.drawing.patterns
    drawn = found.lines_mm(deviation_mm=0.1)
    deviation = max(0.02, _PICTURE_SHARE * _extent(drawn))
    lines, left = list[list[float]](), _MOST_POINTS
    for line in drawn:
        if len(line) <= left:
            lines.append(_flat(line))
            left -= len(line)
    largest = sorted(patterns, key=pattern_area_mm2, reverse=True)[:_MOST_PIECES]
    mended = {item.sentence for item in found.mended}
    notes = () if found.drawing is None else found.drawing.notes
    return {
        "refusal": _said(found.refusal, name),
        "mended": [
            {"sentence": _said(item.sentence, name), "place": item.place_mm}
            for item in found.mended
        ],
        "notes": [_said(note, name) for note in notes if note not in mended],
        "questions": [
            {
                "id": item.id,
                "sentence": _said(item.sentence, name),
                "choices": [
                    {"name": choice.name, "sentence": choice.sentence} for choice in item.choices
                ],
                "default": item.default,
                "answer": item.answer,
                "place": item.place_mm,
            }
            for item in found.questions
        ],
        "lines": lines,
        "is_whole": len(lines) == len(drawn),
        "pieces": [_piece(pattern, deviation) for pattern in largest],
        "left": len(patterns) - len(largest),
    }


def _said(sentence: str, name: str) -> str:
    """A sentence with the file's own name in the place of the one that it was read under."""
    return sentence.replace("drawing" + Path(name).suffix.lower(), name)


def _piece(pattern: Pattern, deviation_mm: float) -> dict[str, Any]:
    x0, y0, x1, y1 = bounds(pattern.outline)
    content = json.dumps(pattern_json(pattern), separators=(",", ":")).encode()
    stored = keep(
        [content],
        name=f"{pattern.name}.json",
        media_type="application/json",
        most_bytes=_MOST_BYTES,
        who=None,
    )
    curves = (pattern.outline, *pattern.cut_outs)
    return {
        "name": pattern.name,
        "pattern": stored.sha256,
        "size_mm": [x1 - x0, y1 - y0],
        "area_mm2": pattern_area_mm2(pattern),
        "cut_outs": len(pattern.cut_outs),
        "marks": len(pattern.marks),
        "lines": [
            _flat(np.vstack((points, points[:1])))
            for points in (sample(curve, deviation_mm=deviation_mm) for curve in curves)
        ],
    }


def _extent(lines: Iterable[FloatArray]) -> float:
    every = [line for line in lines if len(line)]
    return float(np.ptp(np.vstack(every), axis=0).max()) if every else 0.0


def _flat(points: FloatArray) -> list[float]:
    return [round(float(value), 2) for value in points.ravel()]
