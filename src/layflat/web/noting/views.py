"""Corrections of a body's patterns: what was noted, what comes of it, kept and taken back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.papers import panel_title
from layflat.web.bodies.models import Body
from layflat.web.corrections.models import Asked, Correction
from layflat.web.corrections.reading import current_of
from layflat.web.files.sending import as_drawing, sent_once
from layflat.web.noting.correcting import (
    ask_correction,
    corrections_of,
    fill,
    give_up,
    is_new,
    keep_correction,
    noted_on,
    pieces_with_corrections,
    take_back,
)
from layflat.web.noting.doing import in_short
from layflat.web.people.gate import me, only
from layflat.web.people.models import Person, Role


def _person(request: HttpRequest) -> Person:
    person = me(request)
    if person is None:
        raise TypeError("A stranger came through the gate.")
    return person


@require_safe
def body(request: HttpRequest, pk: int) -> HttpResponse:
    """The pieces of a body that were noted on or corrected."""
    found = get_object_or_404(Body, pk=pk)
    noted = {one.piece: one for one in noted_on(found)}
    now = current_of(found)
    names = sorted({*noted, *pieces_with_corrections(found)})
    context = {
        "part": "bodies",
        "body": found,
        "newest": found.revisions.first(),
        "rows": [
            {
                "piece": name,
                "title": panel_title(name),
                "notes": len(noted[name].notes) if name in noted else 0,
                "cars": len(noted[name].jobs) if name in noted else 0,
                "now": now.get(name),
            }
            for name in names
        ],
    }
    return render(request, "noting/body.html", context)


@require_safe
def piece(request: HttpRequest, pk: int, piece: str) -> HttpResponse:
    """One piece: its notes by car, what comes of them, and its revisions until now."""
    found = get_object_or_404(Body, pk=pk)
    waiting = fill(found, piece)
    asked = Asked.objects.select_related("computation").filter(body=found, piece=piece).first()
    kept = corrections_of(found, piece)
    noted = noted_on(found, piece)
    now = next((one for one in kept if one.state == Correction.State.KEPT), None)
    context = {
        "part": "bodies",
        "body": found,
        "piece": piece,
        "title": panel_title(piece),
        "jobs": noted[0].jobs if noted else (),
        "notes": [(one, in_short(one)) for one in noted[0].notes] if noted else [],
        "making": asked.computation if asked else None,
        "waiting": waiting,
        "kept": kept,
        "now": now,
        "is_new": bool(noted) and is_new(found, piece, noted[0], now),
    }
    return render(request, "noting/piece.html", context)


@only(Role.COUNTER)
@require_POST
def make(request: HttpRequest, pk: int, piece: str) -> HttpResponse:
    """Asks for the next correction."""
    found = get_object_or_404(Body, pk=pk)
    try:
        ask_correction(found, piece, who=_person(request))
    except InputError as error:
        messages.error(request, str(error))
    return redirect("noting:piece", found.pk, piece)


@only(Role.COUNTER)
@require_POST
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Keeps a found correction, or gives it up."""
    found = get_object_or_404(Correction.objects.select_related("body"), pk=pk)
    try:
        if request.POST.get("act") == "keep":
            kept = keep_correction(found, who=_person(request), at=timezone.now())
            messages.success(
                request,
                f"Revision {kept.number} is kept: covers that are computed from now on are cut by "
                "it. Film that is cut already stays as it is.",
            )
        else:
            give_up(found, who=_person(request), at=timezone.now())
            messages.success(request, "Not taken. The notes stay.")
    except LayflatError as error:
        messages.error(request, str(error))
    return redirect("noting:piece", found.body_id, found.piece)


@only(Role.COUNTER)
@require_POST
def back(request: HttpRequest, pk: int, piece: str) -> HttpResponse:
    """Takes the current correction back."""
    found = get_object_or_404(Body, pk=pk)
    try:
        was = take_back(found, piece, who=_person(request), at=timezone.now())
        messages.success(
            request, f"Revision {was.number} is taken back; what it rests on stays on record."
        )
    except InputError as error:
        messages.error(request, str(error))
    return redirect("noting:piece", found.pk, piece)


@require_safe
def ready(_request: HttpRequest, pk: int, piece: str) -> HttpResponse:
    """For a page that waits: nothing while a revision is made, then word to load it anew."""
    asked = Asked.objects.select_related("computation").filter(body=pk, piece=piece).first()
    response = HttpResponse(status=204)
    if asked is None or asked.computation.is_over:
        response["HX-Refresh"] = "true"
    return response


@require_safe
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """A correction before and after, as SVG."""
    found = get_object_or_404(Correction.objects.select_related("picture"), pk=pk)
    return as_drawing(sent_once(request, found.picture))
