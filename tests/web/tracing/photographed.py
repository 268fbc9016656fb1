"""Photographs of a small template, rendered: a cap in a frame of six sheets."""

import io
from functools import cache

import shapely
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from photo.framed import around, sheet_paints
from photo.rendered import Scene, camera, render
from photo.scenes import Template, mirror_cap

PLACES = around(620.0, 330.0)
HOLE = shapely.Point(30.0, 10.0).buffer(20.0, quad_segs=64)
GAP_MM = 5.0
CAP = Template(
    outline=mirror_cap(),
    holes=(HOLE,),
    crosses=((-40.0, 5.0),),
    gaps_mm=((60.0, GAP_MM),),
    sheet_mm=(-190.0, -130.0, 190.0, 130.0),
)


@cache
def cap_jpeg(side: int = 0) -> bytes:
    """The cap in its frame from either side, 2000 × 1500 pixels."""
    tilt, towards = ((15.0, -90.0), (25.0, 70.0))[side]
    seen_by = camera(
        (2000, 1500), over_mm=(860.0, 560.0), tilt_deg=tilt, towards_deg=towards, lens="main"
    )
    template = CAP.traced()
    scene = Scene(paints=(*sheet_paints(PLACES), *template.paints))
    out = io.BytesIO()
    Image.fromarray(render(scene, seen_by, seed=side)).save(out, "JPEG", quality=92)
    return out.getvalue()


def upload(side: int = 0) -> SimpleUploadedFile:
    """The photograph as a browser sends it."""
    return SimpleUploadedFile(f"side-{side}.jpg", cap_jpeg(side), "image/jpeg")
