"""Drawings as people bring them: kept, read, asked about, and their pieces kept as patterns."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from django.core.files import File
from django.db import transaction

from layflat.base import InputError
from layflat.pattern import Pattern
from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.patterns.keeping import keep, kept_pattern
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.shaping.models import BroughtDrawing
from layflat.web.shaping.names import Wanted
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask

MOST_BYTES: Final = {".dxf": 40_000_000, ".svg": 20_000_000}
"""The largest drawing that is read, by its ending."""

_MEDIA_TYPES: Final = {".dxf": "image/vnd.dxf", ".svg": "application/xml"}
_LONGEST_NAME: Final = 200


def bring(body: Body, file: "File[Any]", *, who: Person | None) -> BroughtDrawing:
    """Keep a drawing and begin to read it; the same file brought again is the same drawing.

    Raises:
        InputError: it is empty or too large, or neither DXF nor SVG by its name.
        OutputError: it cannot be kept.
    """
    name = Path((file.name or "").replace("\\", "/")).name
    ending = Path(name).suffix.lower()
    if ending not in MOST_BYTES:
        raise InputError(f"“{name}” is neither a .dxf nor an .svg file.")
    name = name[-_LONGEST_NAME:]
    stored = keep_file(
        file.chunks(),
        name=name,
        media_type=_MEDIA_TYPES[ending],
        most_bytes=MOST_BYTES[ending],
        who=who,
    )
    drawing, _ = BroughtDrawing.objects.get_or_create(
        body=body, file=stored, name=name, defaults={"added_by": who}
    )
    return begin(drawing, who=who)


def begin(drawing: BroughtDrawing, *, who: Person | None) -> BroughtDrawing:
    """Ask for a drawing to be read with the answers that it has; a stopped reading goes on."""
    inputs = {"file": drawing.file.sha256, "name": drawing.name, "answers": drawing.answers}
    drawing.reading = ask("shaping.read", inputs, who=who)
    drawing.save(update_fields=["reading"])
    return drawing


def answer(
    drawing: BroughtDrawing, chosen: Mapping[str, str], *, who: Person | None
) -> BroughtDrawing:
    """Take answers in beside those that were given before, and read the drawing by them.

    Args:
        drawing: as it was last read.
        chosen: by the question's id.

    Raises:
        InputError: the drawing does not ask that, or an answer is none of the choices.
    """
    asked = {item["id"]: item for item in result_of(drawing.reading).get("questions", ())}
    for name, choice in chosen.items():
        if name not in asked or choice not in {one["name"] for one in asked[name]["choices"]}:
            raise InputError("The drawing does not ask that any more; look at its questions anew.")
    with transaction.atomic():
        held = BroughtDrawing.objects.select_for_update().select_related("file").get(pk=drawing.pk)
        held.answers = {**held.answers, **chosen}
        held.save(update_fields=["answers"])
        return begin(held, who=who)


def ask_anew(drawing: BroughtDrawing, *, who: Person | None) -> BroughtDrawing:
    """Forget all answers."""
    with transaction.atomic():
        held = BroughtDrawing.objects.select_for_update().select_related("file").get(pk=drawing.pk)
        held.answers = {}
        held.save(update_fields=["answers"])
        return begin(held, who=who)


def result_of(reading: Computation | None) -> Mapping[str, Any]:
    """What a reading found (see `layflat.web.shaping.tasks.read`); empty while there is none."""
    if reading is None or reading.state != State.DONE or not isinstance(reading.result, dict):
        return {}
    return reading.result


def open_questions(result: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The questions that nobody has answered."""
    return [item for item in result.get("questions", ()) if item["answer"] is None]


def piece_of(drawing: BroughtDrawing, which: str) -> Pattern | None:
    """A piece of a drawing by the SHA-256 of its pattern; None where it has none such."""
    pieces = result_of(drawing.reading).get("pieces", ())
    found = next((item for item in pieces if item["pattern"] == which), None)
    return None if found is None else kept_pattern(which)


def keep_piece(
    drawing: BroughtDrawing, which: str, wanted: Wanted, *, who: Person | None
) -> KeptRevision:
    """Keep a piece of a drawing as a pattern of its body.

    Args:
        drawing: read, with no question open.
        which: the SHA-256 of the piece's pattern.
        wanted: as what it is kept.

    Raises:
        InputError: it cannot be kept yet; says why.
        OutputError: the data folder cannot be written.
    """
    result = result_of(drawing.reading)
    pattern = piece_of(drawing, which)
    if open_questions(result):
        raise InputError("The drawing still asks something; answer that first.")
    if pattern is None:
        raise InputError("Choose one of the pieces of the drawing.")
    answered = [
        f"Asked: {item['sentence']} Answered: {_choice(item)}"
        for item in result["questions"]
        if item["answer"] is not None
    ]
    mended = [f"Mended: {item['sentence']}" for item in result["mended"]]
    return keep(
        drawing.body,
        name=wanted.name,
        title=wanted.title,
        pattern=pattern,
        origin=Origin.DRAWING,
        exactness={
            "how exact": "As exact as the drawing, whose lines are taken over to within 0.02 mm; "
            "how it was measured at the car is not known."
        },
        said=[*mended, *answered, *result["notes"]],
        source=StoredFile.objects.get(pk=drawing.file_id),
        who=who,
    )


def _choice(question: Mapping[str, Any]) -> str:
    found = (one["sentence"] for one in question["choices"] if one["name"] == question["answer"])
    return next(found, str(question["answer"]))
