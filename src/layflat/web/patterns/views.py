"""The kept patterns of a body, and each with its revisions."""

from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError
from layflat.pattern import STRAIN_UNKNOWN
from layflat.web.bodies.models import Body
from layflat.web.files.sending import as_drawing, sent_once
from layflat.web.patterns.keeping import current, pattern_of, set_retired
from layflat.web.patterns.models import KeptPattern, KeptRevision
from layflat.web.patterns.shown import exactness_rows, facts_of
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role


@require_safe
def of_body(request: HttpRequest, pk: int) -> HttpResponse:
    """The kept patterns of a body as pictures, and the ways to add one."""
    body = get_object_or_404(Body, pk=pk)
    context = {
        "part": "bodies",
        "body": body,
        "revisions": current(body),
        "retired": list(body.patterns.filter(is_retired=True)),
        "newest": body.revisions.first(),
    }
    return render(request, "patterns/of_body.html", context)


@require_safe
def pattern(request: HttpRequest, pk: int) -> HttpResponse:
    """One kept pattern by its newest revision, or by the one that is asked for."""
    kept = get_object_or_404(KeptPattern.objects.select_related("body"), pk=pk)
    revisions = list(
        kept.revisions.select_related("pattern", "picture", "source", "added_by", "based_on__kept")
    )
    wanted = request.GET.get("revision", "")
    shown = next((item for item in revisions if str(item.number) == wanted), revisions[0])
    context: dict[str, Any] = {
        "part": "bodies",
        "kept": kept,
        "body": kept.body,
        "revisions": revisions,
        "shown": shown,
        "is_newest": shown == revisions[0],
        "exactness": exactness_rows(shown.exactness),
        "unknown": STRAIN_UNKNOWN,
        "noted_stretch": _noted_stretch(kept),
    }
    try:
        context["facts"] = facts_of(pattern_of(shown))
    except InputError as error:
        context["fault"] = str(error)
    return render(request, "patterns/pattern.html", context)


def _noted_stretch(kept: KeptPattern) -> str:
    """What the notes of the correction that is cut now say of stretch, or ""."""
    cut_now = kept.body.corrections.filter(piece=kept.name, state="kept")
    newest = cut_now.order_by("-number").first()
    return str(newest.figures.get("stretch", {}).get("words", "")) if newest else ""


@only(Role.COUNTER)
@require_POST
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    """Offers a kept pattern no longer for new covers, or offers it again."""
    with transaction.atomic():
        rows = KeptPattern.objects.select_for_update(of=("self",)).select_related("body")
        kept = get_object_or_404(rows, pk=pk)
        set_retired(kept, is_retired=request.POST.get("retired") == "yes", who=me(request))
    return redirect("patterns:pattern", kept.pk)


@require_safe
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision as SVG, at scale."""
    revision = get_object_or_404(KeptRevision.objects.select_related("picture"), pk=pk)
    return as_drawing(sent_once(request, revision.picture))
