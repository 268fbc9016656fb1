"""Photographed templates: brought, read, put right, kept."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from django.core.files import File
from django.db import transaction

from layflat.base import InputError, counted
from layflat.web.bodies.models import Body
from layflat.web.files.store import keep as keep_file
from layflat.web.patterns.keeping import keep, kept_pattern
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.shaping.names import Wanted
from layflat.web.tracing.models import Picture, Template
from layflat.web.tracing.tasks import TASK
from layflat.web.work.models import State
from layflat.web.work.tasks import ask

MOST_BYTES: Final = 60_000_000
MOST_PICTURES: Final = 8
MOST_CORRECTIONS: Final = 60
KINDS: Final = ("accepted", "not a line", "through", "outline", "hole", "landmark")
FOLLOWS: Final = ("auto", "line", "edge")
_MOST_POINTS: Final = 200
_FARTHEST_MM: Final = 20_000.0
_LONGEST_NAME: Final = 200


def bring(
    body: Body,
    files: "Sequence[File[Any]]",
    *,
    readings: Sequence[Mapping[str, Any]],
    spans: Sequence[Mapping[str, Any]],
    follow: str,
    light_ink: bool,
    who: Person | None,
) -> Template:
    """Keep photographs of one template and begin to read them.

    Raises:
        InputError: there are none or too many, or one is no JPEG, PNG or HEIC.
        OutputError: they cannot be kept.
    """
    if not 1 <= len(files) <= MOST_PICTURES:
        raise InputError(f"Bring one to {MOST_PICTURES} pictures of one template in its frame.")
    kept = [_kept_picture(file, who) for file in files]
    with transaction.atomic():
        template = Template.objects.create(
            body=body,
            readings=list(readings),
            spans=list(spans),
            follow=follow if follow in FOLLOWS else "auto",
            light_ink=light_ink,
            added_by=who,
        )
        Picture.objects.bulk_create(
            Picture(template=template, number=number, file=stored, name=name)
            for number, (stored, name) in enumerate(kept, 1)
        )
        return begin(template, who=who)


def _kept_picture(file: "File[Any]", who: Person | None) -> tuple[Any, str]:
    from layflat.photo import photo_kind

    name = Path((file.name or "picture").replace("\\", "/")).name[-_LONGEST_NAME:]
    data = file.read(MOST_BYTES + 1)
    media_type = photo_kind(data, name=name)
    stored = keep_file([data], name=name, media_type=media_type, most_bytes=MOST_BYTES, who=who)
    return stored, name


def begin(template: Template, *, who: Person | None) -> Template:
    """Ask for a template to be read as it stands; a stopped reading goes on."""
    pictures = template.pictures.select_related("file")
    inputs = {
        "pictures": [one.file.sha256 for one in pictures],
        "readings": template.readings,
        "spans": template.spans,
        "follow": template.follow,
        "light_ink": template.light_ink,
        "corrections": template.corrections,
    }
    template.reading = ask(TASK, inputs, who=who)
    template.save(update_fields=["reading"])
    return template


def put_right(
    template: Template, kind: str, points: Sequence[float], *, who: Person | None
) -> Template:
    """Take in what a person saw, and read the template with it.

    Raises:
        InputError: it is no such correction, or its places are none.
    """
    if kind not in KINDS:
        raise InputError("Choose what is to be put right.")
    if not points or len(points) % 2 or len(points) > 2 * _MOST_POINTS:
        raise InputError("Tap the place on the picture.")
    if not all(math.isfinite(value) and abs(value) <= _FARTHEST_MM for value in points):
        raise InputError("That place is not on the picture; tap it again.")
    if kind == "through" and len(points) < 4:
        raise InputError("Tap at least two places that the line runs through.")
    with transaction.atomic():
        held = Template.objects.select_for_update(of=("self",)).get(pk=template.pk)
        # As printed: another reading of a rule makes all of the table larger or smaller.
        scale = float(result_of(held).get("frame", {}).get("scale", 1.0))
        wanted = {"kind": kind, "points": [round(value / scale, 3) for value in points]}
        if wanted in held.corrections:
            return begin(held, who=who)
        if len(held.corrections) >= MOST_CORRECTIONS:
            raise InputError(
                f"{MOST_CORRECTIONS} places were put right already; draw the line anew and "
                "photograph it again."
            )
        held.corrections = [*held.corrections, wanted]
        held.version += 1
        held.save(update_fields=["corrections", "version"])
        return begin(held, who=who)


def leave_out(template: Template, number: int, *, seen: int, who: Person | None) -> Template:
    """Take a correction back, counted from 1.

    Raises:
        InputError: there is none such, or somebody changed the template meanwhile.
    """
    with transaction.atomic():
        held = Template.objects.select_for_update().get(pk=template.pk)
        if seen != held.version:
            raise InputError("Somebody put something else right meanwhile; look at it again.")
        if not 1 <= number <= len(held.corrections):
            raise InputError("There is no such correction any more.")
        held.corrections = [one for i, one in enumerate(held.corrections, 1) if i != number]
        held.version += 1
        held.save(update_fields=["corrections", "version"])
        return begin(held, who=who)


def read_anew(
    template: Template,
    *,
    readings: Sequence[Mapping[str, Any]],
    spans: Sequence[Mapping[str, Any]],
    follow: str,
    light_ink: bool,
    who: Person | None,
) -> Template:
    """Read a template with other readings of rules, or another way to follow its line."""
    with transaction.atomic():
        held = Template.objects.select_for_update().get(pk=template.pk)
        held.readings, held.spans = list(readings), list(spans)
        held.follow, held.light_ink = (follow if follow in FOLLOWS else "auto"), light_ink
        held.version += 1
        held.save(update_fields=["readings", "spans", "follow", "light_ink", "version"])
        return begin(held, who=who)


def result_of(template: Template) -> Mapping[str, Any]:
    """What the last reading found (see `layflat.web.tracing.tasks.read`); empty while none."""
    reading = template.reading
    if reading is None or reading.state != State.DONE or not isinstance(reading.result, dict):
        return {}
    return reading.result


def keep_template(template: Template, wanted: Wanted, *, who: Person | None) -> KeptRevision:
    """Keep the traced template as a pattern of its body.

    Raises:
        InputError: no line was found yet.
        OutputError: the data folder cannot be written.
    """
    result = result_of(template)
    if not result.get("pattern"):
        raise InputError("No line was found yet; put right what the page names.")
    frame = result["frame"]
    first = template.pictures.select_related("file").first()
    unsure = sum(len(curve["unsure"]) for curve in result["curves"])
    said = list(result["notes"])
    if unsure:
        were = "was" if unsure == 1 else "were"
        said.append(f"{counted(unsure, 'stretch', 'stretches')} of its lines {were} left unsure.")
    open_marks = sum(one.get("maybe_hole", False) for one in result["landmarks"])
    if open_marks:
        said.append(f"{counted(open_marks, 'mark')} may be cut out; nobody said which.")
    if frame["pictures"] == 1:
        said.append(ONE_PICTURE)
    return keep(
        template.body,
        name=wanted.name,
        title=wanted.title,
        pattern=kept_pattern(result["pattern"]),
        origin=Origin.PHOTOGRAPH,
        exactness={
            "line_true_within_mm": max(curve["interval_mm"] for curve in result["curves"]),
            "lengths_true_within": f"{200 * frame['scale_doubt']:.2f} % (95 of 100)",
            "rules_measured": frame["checked"],
            "pictures": frame["pictures"],
            "repeated_within_mm": frame["repeat_mm"],
        },
        said=said,
        source=first.file if first else None,
        who=who,
    )


ONE_PICTURE: Final = (
    "Made from one picture, which cannot show whether the sheet curled up from the table: a curl "
    "of 10 mm shifts the line by up to 4 mm. A second picture from another side would show it."
)
