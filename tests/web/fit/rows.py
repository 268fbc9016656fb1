"""Rows of a cover that was computed, from real pieces."""

import json
from collections.abc import Sequence
from functools import cache
from typing import Any

from django.utils import timezone

from layflat.job import Piece
from layflat.papers import panel_title, summarise
from layflat.pattern import pattern_area_mm2
from layflat.surface import Mesh
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.bodies.models import Body, Revision
from layflat.web.cover.fit_files import fit_files
from layflat.web.cover.measure import revision_inputs
from layflat.web.cover.models import Cover, Outcome
from layflat.web.cover.models import Piece as Row
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.enquiry import Enquiry, open_job
from layflat.web.jobs.models import Job, Vehicle
from layflat.web.people.shop import the_shop
from layflat.web.work.models import OVER, Computation, State

PICTURE = b"\x89PNG\r\n\x1a\n"


def kept(data: bytes, name: str, media_type: str) -> StoredFile:
    return keep([data], name=name, media_type=media_type, most_bytes=200_000_000, who=None)


def a_body() -> Revision:
    """A body whose rows say that it is prepared; what its files hold plays no part."""
    kept_file = kept(b"body", "body", "application/octet-stream")
    return Revision.objects.create(
        body=Body.objects.create(maker="Tarnholm", name="Dome"),
        number=1,
        scan=kept_file,
        panels=kept_file,
        light=kept_file,
        lines=kept_file,
        picture=kept_file,
    )


def a_job(body: Revision, *, name: str = "Perrin Oake") -> Job:
    """A job of a customer with that name, whose vehicle is of *body*."""
    enquiry = Enquiry(name=name, phone="+43 1 555-01", plate="LW 204 K", described="Dome")
    job = open_job(enquiry, shop=the_shop(), who=None)
    Vehicle.objects.filter(pk=job.vehicle_id).update(body=body)
    return job


def a_cover(job: Job, body: Revision, *, title: str = "Nose only") -> Cover:
    number = job.covers.count() + 1
    return Cover.objects.create(
        job=job, number=number, title=title, body=body, choices={"panels": []}
    )


def a_computation(cover: Cover, state: State = State.DONE, **values: Any) -> Computation:
    """The computation that was asked for last; without a result there is nothing to take over."""
    made = Computation.objects.create(
        task="cover.compute",
        inputs=revision_inputs(cover.body) | {"choices": cover.choices, "keeps": "patterns"},
        key=f"test-{Computation.objects.count()}",
        version="0",
        state=state,
        ended_at=timezone.now() if state in OVER else None,
        **values,
    )
    cover.computation = made
    cover.save()
    return made


def an_outcome(
    cover: Cover,
    pieces: Sequence[Piece],
    *,
    body: Mesh,
    forward: tuple[float, ...] = (1.0, 0.0, 0.0),
    up: tuple[float, ...] = (0.0, 0.0, 1.0),
    picture: bytes = PICTURE,
) -> Outcome:
    """An outcome with *pieces* numbered from 1."""
    shapes = {"body": Shape(mesh=body)}
    shapes |= {f"piece-{i}": Shape(mesh=p.region.mesh) for i, p in enumerate(pieces, 1)}
    lines = {"unit": "mm", "forward": list(forward), "up": list(up), "panels": []}
    made = a_computation(cover)
    outcome = Outcome.objects.create(
        cover=cover,
        number=cover.outcomes.count() + 1,
        choices=cover.choices,
        computation=made,
        roll_width_mm=the_shop().roll_width_mm,
        film_mm=2000.0,
        bound_mm=1800.0,
        minutes={},
        notes=["The film is clear and has no direction."],
        shown=kept(glb_bytes(shapes, forward=forward, up=up), "shown.glb", "model/gltf-binary"),
        lines=kept(json.dumps(lines).encode(), "shown.json", "application/json"),
        picture=kept(picture, "shown.png", "image/png"),
        report=kept(b"{}", "report.json", "application/json"),
    )
    for number, piece in enumerate(pieces, 1):
        add_piece(outcome, number, piece, forward=forward, up=up)
    return outcome


_files_of = cache(fit_files)
"""The same piece has the same files."""


def add_piece(outcome: Outcome, number: int, piece: Piece, **frame: Any) -> None:
    files, summary, film = _files_of(piece, **frame), summarise(piece.flat), piece.flat.film
    outcome.pieces.create(
        number=number,
        panel=piece.name,
        title=panel_title(piece.name),
        is_part=False,
        area_mm2=pattern_area_mm2(piece.pattern),
        covered="the whole panel, ending just short of its edges",
        effort=summary.effort.value,
        stretch=summary.stretch,
        compression=summary.compression,
        stretch_99=summary.stretch_99,
        compression_99=summary.compression_99,
        over_stretch=summary.over_stretch,
        over_finger=summary.over_finger,
        details={
            "edges": [
                {
                    "name": record.name,
                    "kind": record.kind.value,
                    "finish": record.finish.finish.value,
                    "distance_mm": record.finish.distance_mm,
                    "length_mm": record.surface_length_mm,
                }
                for record in piece.pattern.edges
            ],
            "free": [{"name": item.name, "word": "stays free"} for item in piece.keep_outs],
            "film_over": [],
            "stretch_limit": film.stretch_limit,
            "finger_limit": film.finger_limit,
        },
        warnings=[json.loads(files.flat)["places"][0]["sentence"], "Two people."],
        surface=kept(files.surface, f"{piece.name}.glb", "model/gltf-binary"),
        flat=kept(files.flat, f"{piece.name}.json", "application/json"),
        map=kept(files.map, f"{piece.name}.svg", "image/svg+xml"),
    )


def with_plan(piece: Row) -> None:
    """The row says how the piece is laid."""
    piece.details["plan"] = {
        "hold": ["Anchor at O: tack there."],
        "tapes": [{"marks": "O – A", "where": "the anchor – middle", "liner_mm": 300.0,
                   "car_mm": 309.0}],
        "wipes": ["From O to the rear.", "From O to the front."],
        "heats": ["Warm the wrap round “front”."],
        "fingers": [{"along_mm": 120, "depth_mm": 30, "excess_mm": 4.5}],
    }  # fmt: skip
    piece.plan = kept(b"<svg>plan</svg>", "dome-plan.svg", "image/svg+xml")
    piece.save()
