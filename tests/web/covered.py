"""A job whose covers are computed, with rows written directly and small files, for other tests."""

import io
from collections.abc import Sequence
from typing import Any

from django.utils import timezone
from PIL import Image

from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.models import Cover, Outcome, Piece
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.models import Customer, Job, Stage, Vehicle
from layflat.web.work.models import Computation, State

MINUTES = {
    "intake": 30.0,
    "wash": 120.0,
    "cut": 22.4,
    "weed": 31.0,
    "lay": 485.5,
    "edges": 40.0,
    "inspect": 34.0,
    "hand-back": 30.0,
}


def kept(data: bytes, name: str, media_type: str = "application/json") -> StoredFile:
    return keep([data], name=name, media_type=media_type, most_bytes=10_000_000, who=None)


def picture(colour: str = "#8899aa") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (96, 60), colour).save(out, "PNG")
    return out.getvalue()


def a_body(name: str = "Siskwing", **files: StoredFile) -> Revision:
    """A prepared body whose files are small and mean nothing, or those given."""
    body = Body.objects.create(maker="Tarnholm", name=name)
    stored = {
        "scan": kept(b"scan of " + name.encode(), "scan.ply"),
        "panels": kept(b'{"panels": []}', "panels.json"),
        "light": kept(b"glb of " + name.encode(), "body.glb", "model/gltf-binary"),
        "lines": kept(b'{"panels": []}', "lines.json"),
        "picture": kept(picture(), "picture.png", "image/png"),
        **files,
    }
    return Revision.objects.create(body=body, number=1, **stored)


def a_job(
    number: str = "2031-0042",
    *,
    body: Revision | None = None,
    stage: Stage = Stage.COVER,
    customer: str = "Perrin Oake",
    plate: str = "LW 204 K",
) -> Job:
    """A job whose walk-round is closed."""
    whose = Customer.objects.create(name=customer, phone="+43 1 555-01")
    vehicle = Vehicle.objects.create(customer=whose, plate=plate, body=body or a_body())
    return Job.objects.create(number=number, vehicle=vehicle, stage=stage)


def a_cover(job: Job, title: str = "Nose only", *, panels: Sequence[str] = ("hood",)) -> Cover:
    """A cover of whole panels."""
    assert job.vehicle.body is not None
    return Cover.objects.create(
        job=job,
        number=job.covers.count() + 1,
        title=title,
        body=job.vehicle.body,
        choices={"panels": [{"panel": name} for name in sorted(panels)]},
    )


def an_outcome(
    cover: Cover,
    *,
    film_mm: float = 7342.0,
    shown: StoredFile | None = None,
    lines: StoredFile | None = None,
    drawn: bytes | None = None,
    **piece: Any,
) -> Outcome:
    """What computing the cover as it is now would have found."""
    number = cover.outcomes.count() + 1
    small = kept(b"{}", "small.json")
    body = cover.body
    assert body.light is not None
    assert body.panels is not None
    inputs = {
        "light": body.light.sha256,
        "panels": body.panels.sha256,
        "choices": cover.choices,
        "keeps": "patterns",
    }
    found = Outcome.objects.create(
        cover=cover,
        number=number,
        choices=cover.choices,
        computation=Computation.objects.create(
            task="cover.compute",
            key=f"test-{cover.pk}-{number}",
            inputs=inputs,
            state=State.DONE,
            ended_at=timezone.now(),
        ),
        roll_width_mm=1524.0,
        film_mm=film_mm,
        bound_mm=6000.0,
        minutes={
            step: {"minutes": minutes, "source": "assumed"} for step, minutes in MINUTES.items()
        },
        notes=[],
        shown=shown or kept(b"glb of %d" % cover.pk, "vehicle.glb", "model/gltf-binary"),
        lines=lines or kept(b'{"panels": []}', "lines.json"),
        picture=kept(drawn or picture(), "picture.png", "image/png"),
        layout=None,
        report=small,
    )
    for place, choice in enumerate(cover.choices["panels"], start=1):
        values: dict[str, Any] = {
            "is_part": False,
            "area_mm2": 1.2e6,
            "covered": "the whole panel",
            "effort": "easy",
            "stretch": 0.02,
            "compression": 0.01,
            "stretch_99": 0.015,
            "compression_99": 0.008,
            "over_stretch": 0.0,
            "over_finger": 0.0,
            "details": details(),
            "warnings": [],
        }
        name = choice["panel"]
        Piece.objects.create(
            outcome=found,
            number=place,
            panel=name,
            title=name,
            surface=small,
            flat=small,
            map=small,
            **{**values, **piece},
        )
    return found


def details(**changes: Any) -> dict[str, Any]:
    """A piece's details: one edge wrapped, two stopped short, an emblem that stays free."""
    edges = [
        ("front", "gap", "wrap", 8.0),
        ("left", "gap", "short", 1.5),
        ("right", "gap", "short", 1.5),
    ]
    found = {
        "edges": [
            {
                "name": name,
                "kind": kind,
                "finish": finish,
                "distance_mm": distance_mm,
                "length_mm": 900.0,
            }
            for name, kind, finish, distance_mm in edges
        ],
        "free": [{"name": "emblem", "word": "emblem, may stand over radar"}],
        "film_over": [],
        "stretch_limit": 0.05,
        "finger_limit": 0.02,
    }
    return {**found, **changes}
