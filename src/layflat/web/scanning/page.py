"""What the page of the bench says."""

from typing import Any

import numpy as np

from layflat.papers import panel_title, strain_colours
from layflat.surface import EdgeKind, KeepOutKind
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.models import Revision
from layflat.web.bodies.words import EDGE_WORDS, KEEP_OUT_WORDS
from layflat.web.people.models import Shop
from layflat.web.people.shop import fine_number, shown_fine_length, the_shop
from layflat.web.scanning.acts import OPENING
from layflat.web.scanning.models import Bench
from layflat.web.scanning.standing import standing_of
from layflat.web.scanning.state import State
from layflat.web.scanning.steps import lacking, last_steps, state_of
from layflat.web.scanning.tasks import MAP_MM
from layflat.web.work.models import State as Work

_MM2_PER_M2 = 1e6
_FLOOR_WORDS = {
    "found": "found in the scan",
    "picked": "set by three points",
    "guessed": "not in the scan; what is level is guessed from the long axis",
}


def bench_page(revision: Revision, bench: Bench | None, *, as_map: bool) -> dict[str, Any]:
    """The context of the page."""
    context: dict[str, Any] = {
        "part": "bodies",
        "revision": revision,
        "body": revision.body,
        "bench": bench,
        "mending": revision.mending,
    }
    if bench is None:
        return context
    state = state_of(bench)
    stood = standing_of(revision, state)
    shop = the_shop()
    context |= {
        "seen": bench.current_id or 0,
        "stood": stood,
        "making": bench.making,
        "made": bench.made,
        "has_picks": bool(state.floor or state.pair or state.flip),
        "within": fine_number(state.within_mm, shop),
        "as_map": as_map,
        "edge_kinds": [(kind.value, EDGE_WORDS[kind]) for kind in EdgeKind],
        "keep_out_kinds": [(kind.value, KEEP_OUT_WORDS[kind]) for kind in KeepOutKind],
        "opening": OPENING,
        "steps": last_steps(bench),
        "lacks": lacking(state),
        "stays": _staying(revision, state),
    }
    if stood is not None and stood.state == Work.DONE and stood.result is not None:
        context["result"] = stood.result
        context["figures"] = _figures(stood.result, shop)
        context["swatches"] = swatches(shop)
    return context


def _staying(revision: Revision, state: State) -> list[str]:
    """The titles of the panels that the revision has and that nobody traces anew."""
    if revision.panels is None:
        return []
    traced = {item.name.casefold() for item in state.drafts if item.is_panel}
    return [
        panel_title(panel.name)
        for panel in panels_of(revision.panels).panels
        if panel.name.casefold() not in traced
    ]


def _figures(result: dict[str, Any], shop: Shop) -> dict[str, Any]:
    """The residuals as the page writes them."""
    floor, mirror, check = result["floor"], result["mirror"], result["check"]
    ahead, left, up = check["at_mm"]
    return {
        "sure": result["is_sure"],
        "floor": _FLOOR_WORDS[floor["from"]],
        "floor_share": 100 * floor["share"],
        "floor_rms": _fine(floor["rms_mm"], shop),
        "mirror_picked": mirror["from"] == "picked",
        "mirror_share": 100 * mirror["share"],
        "mirror_rms": _fine(mirror["rms_mm"], shop),
        "next_share": 100 * mirror["next_share"],
        "lean_deg": mirror["lean_deg"],
        "front_guessed": result["front"] == "guessed",
        "removed_m2": result["removed_mm2"] / _MM2_PER_M2,
        "removed": [
            {
                "kind": item["kind"],
                "area_m2": item["area_mm2"] / _MM2_PER_M2,
                "size_mm": item["size_mm"],
            }
            for item in result["removed"][:6]
        ],
        "more": max(0, result["pieces"] - 6),
        "check_share": 100 * check["share"],
        "check_rms": _fine(check["rms_mm"], shop),
        "worst": _fine(abs(check["worst_mm"]), shop),
        "worst_stands_out": check["worst_mm"] > 0,
        "worst_ahead_mm": abs(ahead),
        "worst_is_front": ahead > 0,
        "worst_is_left": left > 0,
        "worst_up_mm": up,
        "worst_at": [
            dict(zip("xyz", check["at_scan"], strict=True)) | {"label": "worst", "kind": ""}
        ],
    }


def _fine(mm: float | None, shop: Shop) -> str:
    return "" if mm is None else shown_fine_length(mm, shop)


def swatches(shop: Shop) -> list[dict[str, Any]]:
    """The colours of left against right with the distances that they stand for."""
    marks = np.array([-MAP_MM, -2.0, -1.0, 0.0, 1.0, 2.0, MAP_MM])
    return [
        {
            "off": _fine(abs(float(mark)), shop),
            "colour": "#{:02x}{:02x}{:02x}".format(*colour),
            "sign": "" if mark == 0 else "+" if mark > 0 else "−",
        }
        for mark, colour in zip(marks, strain_colours(marks / MAP_MM).tolist(), strict=True)
    ]
