"""What the page of a revision says, from what its preparation found."""

from typing import Any

from layflat.base import InputError
from layflat.papers import panel_title
from layflat.surface import BodyInfo, Edge
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.models import Revision
from layflat.web.bodies.words import EDGE_WORDS, KEEP_OUT_WORDS

_MM2_PER_M2 = 1e6


def revision_page(revision: Revision) -> dict[str, Any]:
    """The context of a revision's page."""
    made = revision.preparation
    context: dict[str, Any] = {"revision": revision, "preparation": made}
    context["edge_words"] = [(kind.value, word) for kind, word in EDGE_WORDS.items()]
    if revision.mending is not None:
        context["mending"] = revision.mending
        context["panels"] = _panels(revision)
    return context


def _panels(revision: Revision) -> list[dict[str, Any]]:
    """The panels with what is to be said on each."""
    if revision.panels is None:
        return []
    try:
        info = panels_of(revision.panels)
    except InputError:
        # The preparation has read them; without the file there is nothing to list.
        info = BodyInfo("")
    found = {item["name"]: item for item in (revision.mending or {}).get("panels", ())}
    return [
        {
            "name": panel.name,
            "title": panel_title(panel.name),
            "area_m2": _area(found.get(panel.name, {})),
            "fault": found.get(panel.name, {}).get("fault", ""),
            "edges": [_edge(edge) for edge in panel.outline],
            "openings": [[_edge(edge) for edge in loop] for loop in panel.openings],
            "keep_outs": [
                {"name": item.name, "why": KEEP_OUT_WORDS[item.kind], "kind": item.kind.value}
                for item in panel.keep_outs
            ],
        }
        for panel in info.panels
    ]


def _area(found: dict[str, Any]) -> float | None:
    area = found.get("area_mm2")
    return None if area is None else area / _MM2_PER_M2


def _edge(edge: Edge) -> dict[str, str]:
    return {"name": edge.name, "kind": edge.kind.value, "word": EDGE_WORDS[edge.kind]}
