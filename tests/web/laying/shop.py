"""A job whose film lies weeded beside the car, for tests of laying and of what comes after."""

import json
from collections.abc import Sequence
from typing import Any

from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.cover.models import Outcome
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from web.bayed import an_accepted_job, in_the_bay, some_cuts, steps_done
from web.bodies.conftest import dome
from web.covered import kept
from web.fit.pieces import a_piece, its_files

PANELS = ("hood", "roof")


def ready_to_lay(
    number: str = "2031-0042", *, panels: Sequence[str] = PANELS, **job: Any
) -> tuple[Job, list[Cut]]:
    """A job in the bay, washed and free of iron, its film weeded."""
    found, outcome = an_accepted_job(number, panels=panels, **job)
    cuts = some_cuts(found, outcome)
    in_the_bay(found)
    steps_done(found, Kind.IRON, Kind.CUT)
    return found, cuts


def somebody(name: str, role: Role = Role.INSTALLER) -> Person:
    return Person.objects.create(name=name.lower(), shown=name, role=role)


_count = iter(range(1, 1 << 62))


def tap(act: str, who: Person, job: Job, files: Any = None, **fields: object) -> Tap:
    """Tap once; what came of it."""
    row = do(
        act,
        key=f"{next(_count):032x}",
        who=who,
        job=job.number,
        fields={name: str(value) for name, value in fields.items()},
        files=files,
    )
    job.refresh_from_db()
    return row


def with_real_files(outcome: Outcome) -> None:
    """Give every piece of an outcome the map, flat and surface of the dome's piece, and a vehicle.

    On the vehicle the first piece alone lies on the body.
    """
    files, piece = its_files(), a_piece()
    outcome.pieces.update(
        flat=kept(files.flat, "flat.json"),
        map=kept(files.map, "map.svg", "image/svg+xml"),
        surface=kept(files.surface, "surface.glb", "model/gltf-binary"),
    )
    shapes = {"body": Shape(mesh=dome()), "piece-1": Shape(mesh=piece.region.mesh)}
    first = outcome.pieces.order_by("number").first()
    assert first is not None
    panel = {"name": first.panel, "title": first.title, "mesh": "piece-1"}
    frame: dict[str, Any] = {"forward": (1.0, 0.0, 0.0), "up": (0.0, 0.0, 1.0)}
    lines = {
        "unit": "mm",
        **frame,
        "panels": [{**panel, "edges": [], "keep_outs": []}],
    }
    Outcome.objects.filter(pk=outcome.pk).update(
        shown=kept(glb_bytes(shapes, **frame), "vehicle.glb", "model/gltf-binary"),
        lines=kept(json.dumps(lines).encode(), "lines.json"),
    )
