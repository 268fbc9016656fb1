"""The page on which edges, free places and marks of a kept pattern are edited."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from layflat.base import CheckError, InputError, OutputError
from layflat.pattern import Pattern, edge_lines, sample
from layflat.surface import EdgeKind, KeepOutKind
from layflat.web.bodies.words import EDGE_WORDS, KEEP_OUT_WORDS
from layflat.web.patterns.models import KeptPattern, KeptRevision
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.shaping.edges import begun, changed, keep_draft, newest_of, save
from layflat.web.shaping.models import EdgeDraft
from layflat.web.shaping.pictures import path_of, view_of
from layflat.web.shaping.wishes import Wishes, shaped

_PICTURE_MM = 0.05


@only(Role.COUNTER)
@require_safe
def edges(request: HttpRequest, pk: int) -> HttpResponse:
    """Edges, places and marks as they are asked for by now."""
    kept = _kept(pk)
    try:
        draft, base = _standing(kept)
        net, first = begun(base)
    except InputError as error:
        messages.error(request, str(error))
        return redirect("patterns:pattern", pk)
    return _shown(request, base, draft, net, draft.wishes if draft else first)


@only(Role.COUNTER)
@require_POST
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """One change, the save, or a new start; the edges go with each as the form describes them."""
    kept, fields = _kept(pk), request.POST.dict()
    try:
        draft, base = _standing(kept)
        net, first = begun(base)
    except InputError as error:
        messages.error(request, str(error))
        return redirect("patterns:pattern", pk)
    if fields.get("act") == "restart":
        EdgeDraft.objects.filter(kept=kept).delete()
        return redirect("shaping:edges", pk)
    now = draft.wishes if draft else first
    seen = fields.get("seen", "")
    if seen != _seen(base, draft):
        messages.error(
            request, "This was changed already, by another tap or person; here is how it stands."
        )
        return redirect("shaping:edges", pk)
    try:
        found = changed(net, now, {key: str(value) for key, value in fields.items()})
        new = keep_draft(base, found, seen=draft.version if draft else 0)
        if new is not None and fields.get("act") == "save":
            revision = save(new, who=me(request))
            messages.success(request, f"Kept as revision {revision.number}.")
            return redirect("patterns:pattern", pk)
    except (InputError, OutputError, CheckError) as error:
        return _shown(request, base, draft, net, now, fields=fields, fault=str(error))
    return redirect("shaping:edges", pk)


def _kept(pk: int) -> KeptPattern:
    return get_object_or_404(KeptPattern.objects.select_related("body"), pk=pk)


def _standing(kept: KeptPattern) -> tuple[EdgeDraft | None, KeptRevision]:
    """The draft, if there is one, and the revision that it rests on or would rest on."""
    found = EdgeDraft.objects.filter(kept=kept)
    draft = found.select_related("kept__body", "based_on__kept__body", "based_on__pattern").first()
    return draft, draft.based_on if draft else newest_of(kept)


def _seen(base: KeptRevision, draft: EdgeDraft | None) -> str:
    return f"{base.pk}.{draft.version if draft else 0}"


def _shown(
    request: HttpRequest,
    base: KeptRevision,
    draft: EdgeDraft | None,
    net: Pattern,
    wishes: Wishes,
    *,
    fields: Mapping[str, str] | None = None,
    fault: str = "",
) -> HttpResponse:
    typed = fields or {}
    done = shaped(net, wishes)
    flat = [
        [*points.ravel().tolist(), *points[0].tolist()]
        for curve in (done.pattern.outline, *done.pattern.cut_outs)
        for points in (sample(curve, deviation_mm=_PICTURE_MM),)
    ]
    marks = [mark.points_mm.ravel().tolist() for mark in done.pattern.marks]
    lines = edge_lines(net, [(x, y) for x, y in wishes["corners"]])
    rows = [
        {
            "number": number,
            "name": typed.get(f"name-{number}", edge["name"]),
            "kind": typed.get(f"kind-{number}", edge["kind"]),
            "mm": typed.get(f"mm-{number}", f"{edge['mm']:g}"),
            "path": path_of([line.ravel().tolist()]),
            "x": float(line[len(line) // 2][0]),
            "y": -float(line[len(line) // 2][1]),
        }
        for number, (edge, line) in enumerate(zip(wishes["edges"], lines, strict=True), 1)
    ]
    newest = newest_of(base.kept)
    context: dict[str, Any] = {
        "part": "bodies",
        "body": base.kept.body,
        "kept": base.kept,
        "base": base,
        "newest": newest if newest.pk != base.pk else None,
        "draft": draft,
        "seen": _seen(base, draft),
        "fault": fault,
        "typed": typed,
        "view": view_of([*flat, *marks]),
        "film": path_of(flat),
        "mark_path": path_of(marks),
        "edges": rows,
        "corners": [
            {"number": number, "x": x, "y": -y}
            for number, (x, y) in enumerate(wishes["corners"], 1)
        ],
        "places": wishes["places"],
        "marks": wishes["marks"],
        "kinds": [(kind.value, EDGE_WORDS[kind]) for kind in EdgeKind],
        "place_kinds": [(kind.value, KEEP_OUT_WORDS[kind]) for kind in KeepOutKind],
        "said": done.said,
    }
    return render(request, "shaping/edges.html", context)
