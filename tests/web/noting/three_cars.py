"""Cars whose hoods were all cut from one pattern, noted on by the app's own acts."""

import json
from collections.abc import Callable

import numpy as np

from layflat.base import FloatArray
from layflat.pattern import Curve, Pattern, pattern_json
from layflat.web.bodies.models import Body
from layflat.web.cover.models import Cover, Piece
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job, Vehicle
from layflat.web.people.models import Person
from layflat.web.taps.models import Tap
from revise.panel import outline_of
from web.bayed import laid
from web.covered import a_body, kept
from web.laying.shop import ready_to_lay, tap

CORNERS = np.array([[0, 0], [900, 0], [900, 600], [0, 600]], float)
BELLIED = Pattern("hood", Curve(CORNERS, np.full(4, 0.08)), outline_corners=np.arange(4))
ON_MAP = {"width_mm": 2000.0, "height_mm": 1600.0, "to_map": [0, -2, -2, 0, 1700, 1900]}
"""The picture is turned by a quarter and twice as large: right on it is -y, up is x."""


def a_car(number: str, who: Person, *, pattern: Pattern = BELLIED, revision: int = 0) -> Cut:
    """A job of the one body whose hood is on the car."""
    job, (cut,) = ready_to_lay(number, panels=("hood",))
    scan = the_body().revisions.get()
    Cover.objects.filter(job=job).update(body=scan)
    Vehicle.objects.filter(jobs=job).update(body=scan)
    content = json.dumps(pattern_json(pattern)).encode()
    piece = Piece.objects.get(pk=cut.piece_id)
    piece.pattern = kept(content, "hood.json")
    piece.flat = kept(json.dumps({"map": ON_MAP}).encode(), "flat.json")
    if revision:
        piece.details["correction"] = {"number": revision, "said": []}
    piece.save()
    laid(cut, who)
    return Cut.objects.select_related("piece__pattern").get(pk=cut.pk)


def the_body() -> Body:
    """The vehicle that all of them are."""
    return Body.objects.filter(name="Corvid").first() or a_body("Corvid").body


def job_of(cut: Cut) -> Job:
    return Job.objects.get(covers__outcomes__pieces__cuts=cut)


def note(cut: Cut, who: Person, kind: str, at: FloatArray, **fields: object) -> Tap:
    """Tap a note as the tab does."""
    x, y = at
    return tap("noting.noted", who, job_of(cut), cut=cut.pk, fit=kind, x_mm=x, y_mm=y, **fields)


def noted_by(
    cut: Cut, who: Person, warp: Callable[[FloatArray], FloatArray], rng: np.random.Generator
) -> None:
    """Twenty readings round a hood, each with 0.5 mm of noise and rounded to a tenth, as typed."""
    outline = outline_of(BELLIED)
    at = (np.arange(20) + rng.uniform(size=20)) / 20 * outline.length_mm
    points = outline.points(at)
    lacks = np.einsum("ij,ij->i", outline.normals(at), warp(points)) + rng.normal(0.0, 0.5, 20)
    for point, lack in zip(points.round(1), lacks, strict=True):
        kind = "short" if lack >= 0 else "over"
        assert note(cut, who, kind, point, first_mm=f"{abs(lack):.1f}").state == Tap.State.DONE
