"""A template that was read, as rows: for tests that open every page."""

import json

from django.utils import timezone

from layflat.pattern import pattern_json
from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.tracing.models import Picture, Template
from layflat.web.work.models import Computation, State
from web.patterns.drawn import a_pattern


def a_template(body: Body) -> Template:
    """A template with one picture, an outline, and one place to look at."""
    pattern = json.dumps(pattern_json(a_pattern())).encode()
    picture = kept(b"\xff\xd8\xff\xe0 a picture", "side.jpg", "image/jpeg")
    line = [0.0, 0.0, 300.0, 0.0, 300.0, 200.0, 0.0, 200.0, 0.0, 0.0]
    result = {
        "refusal": "",
        "places": [],
        "picture": picture.sha256,
        "box": [-20.0, -20.0, 340.0, 240.0],
        "frame": {
            "sheets": [1, 2, 3],
            "pictures": 1,
            "reprojection_px": 0.2,
            "repeat_mm": None,
            "tilts_deg": [12.0],
            "mm_per_px": 0.3,
            "scale": 1.0,
            "scale_doubt": 0.003,
            "checked": False,
        },
        "curves": [
            {
                "kind": "outline",
                "line": line,
                "length_mm": 1000.0,
                "interval_mm": 0.2,
                "unsure": [
                    {
                        "why": "the line is hidden",
                        "length_mm": 5.0,
                        "at": [300.0, 100.0],
                        "line": [300.0, 97.5, 300.0, 102.5],
                    }
                ],
            }
        ],
        "landmarks": [
            {"kind": "cross", "at": [20.0, 20.0], "across_mm": 16.0, "maybe_hole": False},
            {"kind": "dot", "at": [150.0, 60.0], "across_mm": 9.0, "maybe_hole": True},
        ],
        "notes": ["The pen's line was taken for the outline."],
        "pattern": kept(pattern, "template.json", "application/json").sha256,
    }
    reading = Computation.objects.create(
        task="tracing.read",
        key=f"template-{body.pk}",
        inputs={},
        state=State.DONE,
        result=result,
        ended_at=timezone.now(),
    )
    template = Template.objects.create(
        body=body,
        reading=reading,
        corrections=[{"kind": "accepted", "points": [1.0, 2.0]}],
    )
    Picture.objects.create(template=template, number=1, file=picture, name="side.jpg")
    return template


def kept(data: bytes, name: str, media_type: str) -> StoredFile:
    return keep([data], name=name, media_type=media_type, most_bytes=1_000_000, who=None)
