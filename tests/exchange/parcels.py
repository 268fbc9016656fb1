"""Small archives of invented shapes for tests."""

import json
from dataclasses import replace

from layflat.exchange import (
    BodyState,
    Contents,
    CorrectionState,
    CoverState,
    Key,
    Part,
    PatternLine,
    PatternState,
    Vehicle,
)
from layflat.pattern import Drawing, dxf_text, pattern_json
from layflat.revise import History, history_json
from layflat.surface import BodyInfo, Edge, EdgeKind, Panel, panels_json
from revise.panel import panel, short

KEY = Key(bytes(range(32)))
SHOP = "Lampwick Yard"
SCAN = b"ply\nformat ascii 1.0\nelement vertex 0\nelement face 0\nend_header\n"


def contents() -> tuple[Contents, list[Part]]:
    """A body with one panel, a pattern in two revisions, a cover and a correction."""
    corners = [[0.0, 0.0, 0.0], [900.0, 0.0, 0.0], [900.0, 700.0, 10.0]]
    edges = (Edge(EdgeKind.OPEN, corners, "front"),)
    info = BodyInfo("Vesper coupe", panels=(Panel("hood", edges),))
    history = History(panel("hood")).revised([short(0.0, 0.0, 1.5, car="1")])
    first, second = panel("cap"), replace(panel("cap", size=1.01), name="cap")
    parts = [
        Part("scans/1.ply", SCAN),
        Part("panels/1.json", panels_json(info).encode()),
        Part("histories/1.json", json.dumps(history_json(history)).encode()),
    ]
    for number, pattern in enumerate((first, second), 1):
        text = json.dumps(pattern_json(pattern), separators=(",", ":"))
        parts.append(Part(f"patterns/1/{number}.json", text.encode()))
        drawn = dxf_text(Drawing(patterns=(pattern,)))
        parts.append(Part(f"patterns/1/{number}.dxf", drawn.encode()))
    found = Contents(
        vehicle=Vehicle(maker="Vesper", name="coupe", year_from=2029),
        bodies=(BodyState(number=1, scan="scans/1.ply", unit="mm", panels="panels/1.json"),),
        patterns=(
            PatternLine(
                name="cap",
                title="Mirror cap",
                revisions=(
                    PatternState(
                        number=1,
                        pattern="patterns/1/1.json",
                        drawing="patterns/1/1.dxf",
                        origin="photograph",
                        exactness={"rms_mm": 0.2},
                        made="2031-05-24",
                    ),
                    PatternState(
                        number=2,
                        pattern="patterns/1/2.json",
                        drawing="patterns/1/2.dxf",
                        origin="edited",
                        said=("The lower edge was moved.",),
                        based_on=1,
                    ),
                ),
            ),
        ),
        covers=(CoverState(title="Nose", revision=1, choices={"panels": [{"panel": "hood"}]}),),
        corrections=(CorrectionState(panel="hood", history="histories/1.json", number=1),),
    )
    return found, parts
