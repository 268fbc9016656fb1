"""Templates by photograph: the frame's sheets, bringing pictures, putting lines right, keeping."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, OutputError
from layflat.papers import Head, Paper, frame_document
from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.files.sending import sent_once
from layflat.web.patterns.keeping import kept_pattern
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from layflat.web.shaping.names import NameForm
from layflat.web.tracing.doing import (
    MOST_PICTURES,
    begin,
    bring,
    keep_template,
    leave_out,
    put_right,
    read_anew,
    result_of,
)
from layflat.web.tracing.forms import ReadingForm, as_text
from layflat.web.tracing.models import Template
from layflat.web.tracing.page import shown

_SHEETS = 8
_PAPERS = {"a4": Paper.A4, "letter": Paper.LETTER}
_MOST_BROUGHT = 20
_MOST_TYPED = 4000


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest, pk: int) -> HttpResponse:
    """Photographs of a template for a body."""
    body = get_object_or_404(Body, pk=pk)
    form = ReadingForm(request.POST or None)
    refusal = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            brought = bring(
                body,
                request.FILES.getlist("pictures"),
                readings=data["rules"],
                spans=data["tapes"],
                follow=data["follow"],
                light_ink=data["light_ink"],
                who=me(request),
            )
        except (InputError, OutputError) as error:
            refusal = str(error)
        else:
            return redirect("tracing:template", brought.pk)
    context = {
        "part": "bodies",
        "body": body,
        "form": form,
        "refusal": refusal,
        "most": MOST_PICTURES,
        "earlier": body.templates.select_related("reading", "added_by")[:_MOST_BROUGHT],
    }
    return render(request, "tracing/new.html", context)


@require_safe
def frame(request: HttpRequest, paper: str) -> HttpResponse:
    """The sheets that go round a template, to be printed."""
    del request
    if paper not in _PAPERS:
        raise Http404
    head = Head(
        workshop=the_shop().name,
        job="Frame",
        number="",
        vehicle="",
        dated=timezone.localdate(),
        paper=_PAPERS[paper],
    )
    response = HttpResponse(frame_document(head, sheets=_SHEETS).pdf(), "application/pdf")
    response["Content-Disposition"] = f'inline; filename="frame-{paper}.pdf"'
    return response


@only(Role.COUNTER)
@require_safe
def template(request: HttpRequest, template: int) -> HttpResponse:
    """A template: its flat picture, its lines, what is unsure, and how exact it is."""
    return _shown(request, _template(template))


def _shown(request: HttpRequest, found: Template, *, form: NameForm | None = None) -> HttpResponse:
    result = result_of(found)
    context: dict[str, Any] = {
        "part": "bodies",
        "body": found.body,
        "template": found,
        "reading": found.reading,
        "pictures": list(found.pictures.all()),
        "how": ReadingForm(
            initial={
                **as_text(found.readings, found.spans),
                "follow": found.follow,
                "light_ink": found.light_ink,
            }
        ),
    }
    if result:
        context |= shown(result, found.corrections)
        context["form"] = form or NameForm(body=found.body)
    return render(request, "tracing/template.html", context)


@only(Role.COUNTER)
@require_POST
def anew(request: HttpRequest, template: int) -> HttpResponse:
    """Reads a template with other readings, or again what was stopped."""
    found = _template(template)
    if "follow" not in request.POST:
        begin(found, who=me(request))
        return redirect("tracing:template", template)
    form = ReadingForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        read_anew(
            found,
            readings=data["rules"],
            spans=data["tapes"],
            follow=data["follow"],
            light_ink=data["light_ink"],
            who=me(request),
        )
    else:
        for errors in form.errors.values():
            messages.error(request, " ".join(str(error) for error in errors))
    return redirect("tracing:template", template)


@only(Role.COUNTER)
@require_POST
def right(request: HttpRequest, template: int) -> HttpResponse:
    """Puts a place right."""
    found = _template(template)
    try:
        put_right(found, request.POST.get("kind", ""), _points(request), who=me(request))
    except InputError as error:
        messages.error(request, str(error))
    return redirect("tracing:template", template)


@only(Role.COUNTER)
@require_POST
def drop(request: HttpRequest, template: int) -> HttpResponse:
    """Takes a correction back."""
    found = _template(template)
    number, seen = (_whole(request.POST.get(name, "")) for name in ("number", "seen"))
    try:
        leave_out(found, number, seen=seen, who=me(request))
    except InputError as error:
        messages.error(request, str(error))
    return redirect("tracing:template", template)


@only(Role.COUNTER)
@require_POST
def keep(request: HttpRequest, template: int) -> HttpResponse:
    """Keeps a traced template as a pattern of its body."""
    found = _template(template)
    result = result_of(found)
    if not result.get("pattern"):
        messages.error(request, "No line was found yet; put right what the page names.")
        return redirect("tracing:template", template)
    form = NameForm(request.POST, body=found.body, pattern=kept_pattern(result["pattern"]))
    if form.is_valid():
        try:
            kept = keep_template(found, form.cleaned_data["wanted"], who=me(request))
        except (InputError, OutputError) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{kept.kept.title} is kept as revision {kept.number}.")
            return redirect("patterns:pattern", kept.kept_id)
    return _shown(request, found, form=form)


@only(Role.COUNTER)
@require_safe
def ready(_request: HttpRequest, template: int) -> HttpResponse:
    """For a page that waits: nothing while it is read, then word to load it anew."""
    found = _template(template)
    response = HttpResponse(status=204)
    if found.reading is None or found.reading.is_over:
        response["HX-Refresh"] = "true"
    return response


@only(Role.COUNTER)
@require_safe
def plane(request: HttpRequest, template: int) -> HttpResponse:
    """The table's picture, true to scale."""
    result = result_of(_template(template))
    stored = StoredFile.objects.filter(sha256=result.get("picture", "")).first()
    if stored is None:
        raise Http404
    return sent_once(request, stored)


def _points(request: HttpRequest) -> list[float]:
    text = request.POST.get("points", "")[:_MOST_TYPED]
    try:
        return [float(word) for word in text.replace(",", " ").replace(";", " ").split()]
    except ValueError:
        return []


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def _template(pk: int) -> Template:
    return get_object_or_404(Template.objects.select_related("body", "reading"), pk=pk)
