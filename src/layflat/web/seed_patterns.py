"""A third body of the invented maker's, known by one kept pattern and no scan."""

from typing import Final

import numpy as np

from layflat.pattern import (
    Curve,
    Drawing,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
    curve_length_mm,
    dxf_text,
)
from layflat.surface import EdgeKind
from layflat.web.bodies.models import Body
from layflat.web.files.store import keep as keep_file
from layflat.web.patterns.keeping import keep
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Person

NAME: Final = "Gorse"
_PANEL, _TITLE = "mirror-cap-left", "Mirror cap, left"
_MOST_BYTES: Final = 1_000_000
_ROUND: Final = float(np.tan(np.pi / 8))
"""The bulge of a quarter of a circle."""


def seed_patterns(maker: str, *, who: Person) -> KeptRevision:
    """Add the body and keep its pattern, as if a drawing of it had been read."""
    body = Body.objects.create(
        maker=maker, name=NAME, year_from=2019, note="Two doors. No scan: pieces from templates."
    )
    pattern = _mirror_cap()
    source = keep_file(
        [dxf_text(Drawing(patterns=(pattern,))).encode()],
        name="gorse-mirror-cap.dxf",
        media_type="application/dxf",
        most_bytes=_MOST_BYTES,
        who=who,
    )
    return keep(
        body,
        name=_PANEL,
        title=_TITLE,
        pattern=pattern,
        origin=Origin.DRAWING,
        exactness={"deviation_mm": pattern.deviation_mm},
        said=("The drawing said no unit; it was read as millimetres.",),
        source=source,
        who=who,
    )


def _mirror_cap() -> Pattern:
    """A cap of 252 by 168 mm with round corners, a hole for its lamp, and a wrap below."""
    points = [(40, 0), (212, 0), (252, 40), (252, 110), (194, 168), (30, 168), (0, 138), (0, 40)]
    bulges = [0, _ROUND, 0, _ROUND, 0, _ROUND, 0, _ROUND]
    outline = Curve(np.array(points, np.float64), np.array(bulges, np.float64))
    lamp = Curve(np.array([[206.0, 92.0], [230.0, 92.0]]), np.array([-1.0, -1.0]))
    level = Mark(MarkKind.ALIGN, np.array([[20.0, 84.0], [60.0, 84.0]]), "level")
    below = EdgeRecord(
        name="below",
        kind=EdgeKind.OPEN,
        finish=EdgeFinish(Finish.WRAP, 6.0),
        surface_length_mm=172.0,
        flat_length_mm=172.0,
    )
    round_it = curve_length_mm(outline) - 172.0
    gap = EdgeRecord(
        name="housing",
        kind=EdgeKind.GAP,
        finish=EdgeFinish(Finish.SHORT, 1.5),
        surface_length_mm=round_it,
        flat_length_mm=round_it,
    )
    return Pattern(
        _PANEL, outline, cut_outs=(lamp,), marks=(level,), edges=(below, gap), deviation_mm=0.05
    )
