"""A fit note and a correction that waits to be looked at, written row by row."""

from typing import Any

from django.utils import timezone

from layflat.web.corrections.models import Asked, Correction
from layflat.web.cutting.models import Cut
from layflat.web.noting.models import FitNote
from layflat.web.people.models import Person
from layflat.web.work.models import Computation, State
from web.covered import kept


def a_correction(cut: Cut, who: Person) -> Correction:
    """A note on a laid piece, and the first correction of it, found and not kept."""
    cover = cut.piece.outcome.cover
    FitNote.objects.create(
        job=cover.job,
        number=1,
        cut=cut,
        kind="short",
        x_mm=10.0,
        y_mm=10.0,
        mm=[1.5],
        noted_at=timezone.now(),
        noted_by=who,
    )
    history = kept(b"{}", "revisions.json")
    picture = kept(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "revision.svg", "image/svg+xml")
    figures: dict[str, Any] = {
        "number": 1,
        "largest_mm": 1.4,
        "largest_where": "“low”, 20 of 60 mm along",
        "rms_mm": 0.6,
        "drawn": 5,
        "cars": 1,
        "laid_mm": 0.0,
        "reach_mm": 300.0,
        "weights": {cover.job.number: 1.0},
        "notes": [
            {
                "name": f"{cover.job.number} note 1",
                "says": "short by 1.5 mm",
                "where": "on “low”, 20 of 60 mm along",
                "left_mm": 0.1,
            }
        ],
    }
    found = {"history": history.sha256, "picture": picture.sha256, "figures": figures, "said": []}
    computation = Computation.objects.create(
        task="noting.correct",
        key=f"test-{cut.pk}",
        inputs={"history": "", "current": 0},
        state=State.DONE,
        ended_at=timezone.now(),
        result=found,
    )
    body, piece = cover.body.body, cut.piece.panel
    Asked.objects.create(body=body, piece=piece, computation=computation)
    return Correction.objects.create(
        body=body,
        piece=piece,
        history=history,
        picture=picture,
        figures=figures,
        said=[],
        computation=computation,
    )
