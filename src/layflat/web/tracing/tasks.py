"""The long computation of this part: photographs to a traced template."""

import io
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from layflat.base import FloatArray, Progress, part_of
from layflat.pattern import curve_length_mm, pattern_json, sample
from layflat.photo import (
    Accepted,
    Correction,
    Measured,
    NotALine,
    Outline,
    PhotoError,
    Plane,
    Reading,
    Span,
    Spot,
    Through,
    Traced,
    TracedCurve,
    load_photo,
    measure,
    pattern_of,
    trace,
)
from layflat.web.bodies.contents import named
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.work.tasks import task

TASK: Final = "tracing.read"
_MOST_BYTES: Final = 60_000_000
_PICTURE_PX: Final = 3200
"""The longer side of the plane's picture, for the browser."""
_DRAWN_MM: Final = 0.1
_QUALITY: Final = 82


@task(TASK, comes_first=True)
def read(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Reading a photographed template.

    Args:
        inputs: `pictures`, the SHA-256 of each kept file; `readings`, `spans`, `follow`,
            `light_ink` and `corrections` as of `layflat.web.tracing.models.Template`.
        progress: told what is being done.

    Returns:
        `refusal`, why there is no line, or "", with `places`, x and y of what it is about;
        `picture`, the SHA-256 of a JPEG of the plane, and `box`, its x least, y least, width and
        height in mm; `frame`, see `_frame`; and where there is a line: `curves`, see `_curve`;
        `landmarks`, each `kind`, `at`, `across_mm` and `maybe_hole`; `notes`, sentences;
        `pattern`, the SHA-256 of its file.

    Raises:
        LayflatError: the photographs cannot be measured; the sentence says why and what to do.
    """
    photos = []
    for number, sha256 in enumerate(inputs["pictures"], 1):
        progress(f"opening picture {number}", 0.1 * number / len(inputs["pictures"]))
        with named(StoredFile.objects.get(sha256=sha256)) as path:
            photos.append(load_photo(path))
    measured = measure(
        photos,
        readings=[Reading(**one) for one in inputs["readings"]],
        spans=[Span(**one) for one in inputs["spans"]],
        progress=part_of(progress, start=0.1, end=0.5),
    )
    result: dict[str, Any] = {
        **_plane_picture(measured.plane),
        "frame": _frame(measured),
        "refusal": "",
        "places": [],
    }
    try:
        traced = trace(
            measured.plane,
            views=measured.views,
            follow=inputs["follow"],
            light_ink=inputs["light_ink"],
            corrections=[_correction(one, measured.scale.scale) for one in inputs["corrections"]],
            progress=part_of(progress, start=0.5, end=0.95),
        )
    except PhotoError as error:
        # The plane is measured: a person can show where the line runs.
        return result | {
            "refusal": str(error),
            "places": [list(place) for place in error.at_mm],
            "notes": list(measured.notes),
        }
    return result | _traced(traced, measured.notes)


def _frame(measured: Measured) -> dict[str, Any]:
    """How well the frame was seen, as the page says it.

    `sheets`, their numbers; `pictures`, how many; `reprojection_px`; `repeat_mm`, None for one
    picture; `tilts_deg`; `mm_per_px`; `scale`, `scale_doubt` and whether it was `checked`.
    """
    return {
        "sheets": list(measured.sheets),
        "pictures": len(measured.tilts_deg),
        "reprojection_px": measured.reprojection_px,
        "repeat_mm": measured.repeat_mm,
        "tilts_deg": measured.tilts_deg.tolist(),
        "mm_per_px": measured.plane.mm_per_px,
        "scale": measured.scale.scale,
        "scale_doubt": measured.scale.doubt,
        "checked": measured.scale.checked,
    }


def _traced(traced: Traced, notes: Sequence[str]) -> dict[str, Any]:
    content = json.dumps(pattern_json(pattern_of(traced, name="template")), separators=(",", ":"))
    return {
        "curves": [_curve(one) for one in traced.curves],
        "landmarks": [
            {
                "kind": one.kind,
                "at": _flat(one.at_mm),
                "across_mm": one.across_mm,
                "maybe_hole": one.maybe_hole,
            }
            for one in traced.landmarks
        ],
        "notes": [*notes, *traced.notes],
        "pattern": _kept(content.encode(), "template.json", "application/json"),
    }


def _curve(one: TracedCurve) -> dict[str, Any]:
    """A closed line: `kind`, `line`, `length_mm`, `interval_mm` at its widest, and `unsure`.

    Each unsure stretch has `why`, `length_mm`, `at`, its middle, and its `line`.
    """
    points = sample(one.curve, deviation_mm=_DRAWN_MM)
    closed = np.vstack((points, points[:1]))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
    return {
        "kind": one.kind,
        "line": _flat(closed),
        "length_mm": curve_length_mm(one.curve),
        "interval_mm": float(one.interval_mm.max()),
        "unsure": [
            {
                "why": each.why,
                "length_mm": each.end_mm - each.start_mm,
                "at": _flat(_between(closed, along, each.start_mm, each.end_mm, 3)[1:2]),
                "line": _flat(_between(closed, along, each.start_mm, each.end_mm, 24)),
            }
            for each in one.unsure
        ],
    }


def _between(
    closed: FloatArray, along: FloatArray, start_mm: float, end_mm: float, count: int
) -> FloatArray:
    """(count, 2) points of a closed line from one place along it to another."""
    at = np.remainder(np.linspace(start_mm, end_mm, count), along[-1])
    return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)])


def _correction(one: Mapping[str, Any], scale: float) -> Correction:
    points = scale * np.array(one["points"], np.float64).reshape(-1, 2)
    match one["kind"]:
        case "through":
            return Through(points)
        case "not a line":
            return NotALine(points[0])
        case "outline":
            return Outline(points[0])
        case "hole" | "landmark":
            return Spot(points[0], hole=one["kind"] == "hole")
        case _:
            return Accepted(points[0])


def _plane_picture(plane: Plane) -> dict[str, Any]:
    from PIL import Image

    grey = np.clip(255.0 * plane.grey, 0.0, 255.0).astype(np.uint8)
    high, wide = grey.shape
    image = Image.fromarray(grey)
    image.thumbnail((_PICTURE_PX, _PICTURE_PX))
    target = io.BytesIO()
    image.save(target, "JPEG", quality=_QUALITY)
    low_x, top = plane.origin_mm - np.array([0.5, -0.5]) * plane.mm_per_px
    size = (wide * plane.mm_per_px, high * plane.mm_per_px)
    return {
        "picture": _kept(target.getvalue(), "template.jpg", "image/jpeg"),
        "box": [round(float(value), 3) for value in (low_x, top - size[1], *size)],
    }


def _flat(points: FloatArray) -> list[float]:
    return [round(float(value), 2) for value in points.ravel()]


def _kept(data: bytes, name: str, media_type: str) -> str:
    stored = keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)
    return stored.sha256
