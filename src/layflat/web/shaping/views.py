"""Drawings: brought, read, answered, kept."""

from pathlib import Path
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, OutputError
from layflat.web.bodies.models import Body
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.shaping.brought import (
    answer,
    ask_anew,
    begin,
    bring,
    keep_piece,
    open_questions,
    piece_of,
    result_of,
)
from layflat.web.shaping.models import BroughtDrawing
from layflat.web.shaping.names import NameForm
from layflat.web.shaping.pictures import path_of, spots_of, view_of

_MOST_QUESTIONS = 40
_MOST_BROUGHT = 20


class DrawingForm(forms.Form):
    """A drawing to be read."""

    file = forms.FileField(
        label="The drawing",
        help_text="DXF or SVG, at true size. It is kept as it is; nothing is cut from it yet.",
        widget=forms.FileInput(attrs={"accept": ".dxf,.svg"}),
    )


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def bring_drawing(request: HttpRequest, pk: int) -> HttpResponse:
    """A drawing for a body."""
    body = get_object_or_404(Body, pk=pk)
    form = DrawingForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            brought = bring(body, form.cleaned_data["file"], who=me(request))
        except (InputError, OutputError) as error:
            form.add_error("file", str(error))
        else:
            return redirect("shaping:read", brought.pk)
    earlier = body.drawings.select_related("reading", "added_by")[:_MOST_BROUGHT]
    context = {"part": "bodies", "body": body, "form": form, "earlier": earlier}
    return render(request, "shaping/bring_drawing.html", context)


@only(Role.COUNTER)
@require_safe
def drawing(request: HttpRequest, drawing: int) -> HttpResponse:
    """A drawing with what was mended, what is asked, and its pieces."""
    return _shown(request, _drawing(drawing))


def _shown(
    request: HttpRequest, found: BroughtDrawing, *, form: NameForm | None = None, piece: str = ""
) -> HttpResponse:
    result = result_of(found.reading)
    context: dict[str, Any] = {
        "part": "bodies",
        "body": found.body,
        "drawing": found,
        "reading": found.reading,
        "result": result,
    }
    if result:
        lines = [*result["lines"], *(line for item in result["pieces"] for line in item["lines"])]
        title = result["pieces"][0]["name"] if len(result["pieces"]) == 1 else ""
        context |= {
            "view": view_of(lines),
            "before": path_of(result["lines"]),
            "pieces": [
                {
                    **item,
                    "number": number,
                    "path": path_of(item["lines"]),
                    "view": view_of(item["lines"]),
                }
                for number, item in enumerate(result["pieces"], 1)
            ],
            "spots": spots_of(result),
            "open": open_questions(result),
            "chosen": piece or (result["pieces"][0]["pattern"] if title else ""),
            "form": form or NameForm(body=found.body, initial={"title": _title(title, found.name)}),
        }
    return render(request, "shaping/drawing.html", context)


def _title(piece: str, file: str) -> str:
    """What a drawing's only piece may be called: as it says itself, or as its file."""
    words = piece if piece and not piece.startswith("piece") else Path(file).stem
    return words.replace("-", " ").replace("_", " ").strip().capitalize()


@only(Role.COUNTER)
@require_POST
def answer_drawing(request: HttpRequest, drawing: int) -> HttpResponse:
    """Answers to what a drawing asks."""
    found = _drawing(drawing)
    questions = result_of(found.reading).get("questions", ())
    chosen = {
        item["id"]: request.POST[f"answer-{number}"]
        for number, item in enumerate(questions[:_MOST_QUESTIONS], 1)
        if request.POST.get(f"answer-{number}") and request.POST.get(f"id-{number}") == item["id"]
    }
    if not chosen and questions:
        messages.error(request, "Choose an answer to one of the questions.")
    elif chosen:
        try:
            answer(found, chosen, who=me(request))
        except InputError as error:
            messages.error(request, str(error))
    return redirect("shaping:read", drawing)


@only(Role.COUNTER)
@require_POST
def ask_drawing_anew(request: HttpRequest, drawing: int) -> HttpResponse:
    """Forget the answers, or read again what was stopped."""
    found = _drawing(drawing)
    if request.POST.get("answers") == "forget":
        ask_anew(found, who=me(request))
    else:
        begin(found, who=me(request))
    return redirect("shaping:read", drawing)


@only(Role.COUNTER)
@require_POST
def keep_drawing(request: HttpRequest, drawing: int) -> HttpResponse:
    """Keep one piece as a pattern of the body."""
    found = _drawing(drawing)
    which = request.POST.get("piece", "")
    form = NameForm(request.POST, body=found.body, pattern=piece_of(found, which))
    if form.is_valid():
        try:
            kept = keep_piece(found, which, form.cleaned_data["wanted"], who=me(request))
        except (InputError, OutputError) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{kept.kept.title} is kept as revision {kept.number}.")
            return redirect("patterns:pattern", kept.kept_id)
    if not result_of(found.reading):
        return redirect("shaping:read", drawing)
    return _shown(request, found, form=form, piece=which)


@only(Role.COUNTER)
@require_safe
def ready(_request: HttpRequest, drawing: int) -> HttpResponse:
    """For a page that waits: nothing while the drawing is read, then word to load it anew."""
    found = _drawing(drawing)
    response = HttpResponse(status=204)
    if found.reading is None or found.reading.is_over:
        response["HX-Refresh"] = "true"
    return response


def _drawing(pk: int) -> BroughtDrawing:
    every = BroughtDrawing.objects.select_related("body", "file", "reading")
    return get_object_or_404(every, pk=pk)
