"""The pages on which a pattern is started from another car's."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import current
from layflat.web.patterns.models import KeptRevision
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.shaping.names import NameForm
from layflat.web.shaping.other_car import TASK, ask_for, keep_start, known_elsewhere, proposals_of
from layflat.web.shaping.pictures import path_of, view_of
from layflat.web.work.models import Computation


class TemplateForm(forms.Form):
    """Which of the body's patterns is the template, and whether others may be mirrored."""

    template = forms.ChoiceField(
        label="The template",
        help_text="A pattern of this vehicle, from a photograph or a drawing: its outline counts.",
    )
    mirror = forms.BooleanField(
        required=False, label="A pattern of the other side may serve, mirrored"
    )

    def __init__(self, *args: Any, rows: list[KeptRevision], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["template"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(str(row.pk), str(row)) for row in rows]


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def other_car(request: HttpRequest, pk: int) -> HttpResponse:
    """Chooses the template, and begins to look for what is nearest to it."""
    body = get_object_or_404(Body, pk=pk)
    rows = current(body)
    form = TemplateForm(request.POST or None, rows=rows)
    if request.method == "POST" and form.is_valid():
        template = next(row for row in rows if str(row.pk) == form.cleaned_data["template"])
        try:
            asked = ask_for(template, may_mirror=form.cleaned_data["mirror"], who=me(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            return redirect("shaping:found", pk, asked.pk)
    context = {
        "part": "bodies",
        "body": body,
        "form": form,
        "rows": rows,
        "known": len(known_elsewhere(body)),
    }
    return render(request, "shaping/other_car.html", context)


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def found(request: HttpRequest, pk: int, found: int) -> HttpResponse:
    """What is nearest, and keeping one of it."""
    body = get_object_or_404(Body, pk=pk)
    computation = _computation(body, found)
    proposals = proposals_of(computation)
    template = KeptRevision.objects.select_related("kept").get(pk=computation.inputs["revision"])
    chosen = request.POST.get("which", "0")
    # Without a form all pairs are taken; with one those that are left in.
    left_in = set(request.POST.getlist("pair")) if request.method == "POST" else None
    form = NameForm(
        request.POST or None, body=body, initial={"instead": str(template.kept_id), "title": ""}
    )
    if request.method == "POST" and proposals and form.is_valid():
        at = int(chosen) if chosen.isdecimal() and len(chosen) < 4 else -1
        names = [name.partition(":")[2] for name in left_in or () if name.startswith(f"{at}:")]
        try:
            kept = keep_start(computation, at, names, form.cleaned_data["wanted"], who=me(request))
        except LayflatError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{kept.kept.title} is kept as revision {kept.number}.")
            return redirect("patterns:pattern", kept.kept_id)
    rows = [_row(at, item, computation, chosen, left_in) for at, item in enumerate(proposals)]
    context = {
        "part": "bodies",
        "body": body,
        "template": template,
        "computation": computation,
        "rows": rows,
        "form": form,
    }
    return render(request, "shaping/found.html", context)


def _row(
    at: int, item: Any, computation: Computation, chosen: str, left_in: set[str] | None
) -> dict[str, Any]:
    """A proposal as the page shows it."""
    template = (computation.result or {})["template"]
    return {
        **item,
        "at": at,
        "is_chosen": chosen == str(at),
        "view": view_of([*template, *item["lines"]]),
        "template": path_of(template),
        "path": path_of(item["lines"]),
        "pairs": [
            {
                **pair,
                "value": f"{at}:{pair['name']}",
                "number": number,
                "x": pair["template"][0],
                "y": -pair["template"][1],
                "is_in": left_in is None or f"{at}:{pair['name']}" in left_in,
            }
            for number, pair in enumerate(item["pairs"], 1)
        ],
    }


@only(Role.COUNTER)
@require_safe
def ready(_request: HttpRequest, pk: int, found: int) -> HttpResponse:
    """For a page that waits: nothing while it is looked for, then word to load it anew."""
    response = HttpResponse(status=204)
    if _computation(get_object_or_404(Body, pk=pk), found).is_over:
        response["HX-Refresh"] = "true"
    return response


def _computation(body: Body, pk: int) -> Computation:
    asked = get_object_or_404(Computation, pk=pk, task=TASK)
    if asked.inputs.get("body") != body.pk:
        raise Http404("That was asked for another vehicle.")
    return asked
