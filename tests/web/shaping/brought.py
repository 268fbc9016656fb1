"""Drawings for tests, and computations that are done at once."""

import io
from collections.abc import Callable

import ezdxf
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from ezdxf.layouts import Modelspace

from layflat.base import LayflatError, silent
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import keep, pattern_of
from layflat.web.shaping.brought import bring, keep_piece
from layflat.web.shaping.models import BroughtDrawing
from layflat.web.shaping.names import Wanted
from layflat.web.shaping.other_car import ask_for
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find


def finish(computation: Computation) -> Computation:
    """Do at once what a worker would do."""
    try:
        result = find(computation.task).run(computation.inputs, silent)
        done = {"state": State.DONE, "result": result}
    except LayflatError as error:
        done = {"state": State.FAILED, "error": str(error)}
    Computation.objects.filter(pk=computation.pk).update(ended_at=timezone.now(), **done)
    computation.refresh_from_db()
    return computation


def dxf(draw: Callable[[Modelspace], object], *, units: int = 4) -> bytes:
    """A DXF file; *units* as of its header: 4 is millimetres, 0 leaves them open."""
    document = ezdxf.new("R2010", units=units)
    draw(document.modelspace())
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def cap(space: Modelspace) -> None:
    """A piece of 240 by 140 mm with a hole of 20 mm, its outline 0.3 mm open at (240, 140)."""
    ways = [
        ((0, 0), (240, 0)),
        ((240, 0), (240, 139.7)),
        ((240, 140), (0, 140)),
        ((0, 140), (0, 0)),
    ]
    for start, end in ways:
        space.add_line(start, end, dxfattribs={"layer": "OUTLINE"})
    space.add_circle((60, 70), 10, dxfattribs={"layer": "CUTOUT"})


def a_drawing(body: Body, data: bytes, *, name: str = "cap.dxf") -> BroughtDrawing:
    """A drawing that is brought and read."""
    found = bring(body, SimpleUploadedFile(name, data), who=None)
    assert found.reading is not None
    finish(found.reading)
    return found


def shaped(body: Body) -> dict[str, int]:
    """A drawing that is read, a revision that is kept, its pattern, and a look at others."""
    drawing = a_drawing(body, dxf(cap))
    assert drawing.reading is not None
    (piece,) = drawing.reading.result["pieces"]
    kept = keep_piece(drawing, piece["pattern"], Wanted("cap", "Cap"), who=None)
    other = Body.objects.create(maker="Tarnholm", name="Siskwing")
    keep(
        other,
        name="cap",
        title="Cap",
        pattern=pattern_of(kept),
        origin=kept.origin,
        exactness={},
        said=[],
        source=None,
        who=None,
    )
    found = finish(ask_for(kept, may_mirror=False, who=None))
    return {"drawing": drawing.pk, "kept": kept.pk, "flat": kept.kept_id, "found": found.pk}
