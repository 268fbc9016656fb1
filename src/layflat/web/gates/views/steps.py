"""The shop's own steps, as the owner edits them."""

from collections.abc import Callable

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.gates import editing
from layflat.web.gates.forms import TemplateForm, initial_of
from layflat.web.gates.models import StepTemplate
from layflat.web.gates.usual import SOURCE, is_as_usual, templates
from layflat.web.gates.views.common import doer
from layflat.web.gates.views.plan import times_of
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import only
from layflat.web.record.models import Event


@only()
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """All steps in the usual order, and what was changed last."""
    rows = templates()
    used = [row for row in rows if not row.is_retired]
    titles = {row.key: row.title for row in used}
    context = {
        "part": "people",
        "steps": [
            {
                "step": row,
                "after": [titles[key] for key in row.needs if key in titles],
                "times": times_of(row),
                "source": SOURCE if is_as_usual(row) else "",
            }
            for row in used
        ],
        "retired": [row for row in rows if row.is_retired],
        "changes": editing.changes(),
    }
    return render(request, "gates/templates.html", context)


@only()
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A step that the shop does besides the usual ones."""
    return _form_page(request, None)


@only()
@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, step: str) -> HttpResponse:
    """One step: words, needs, times."""
    templates()
    return _form_page(request, get_object_or_404(StepTemplate, key=step))


def _form_page(request: HttpRequest, row: StepTemplate | None) -> HttpResponse:
    others = [one for one in templates() if not one.is_retired and one != row]
    initial = {"seen": 0} if row is None else initial_of(row)
    data = request.POST if request.method == "POST" else None
    form = TemplateForm(data, others=others, initial=initial)
    if data is not None and form.is_valid():
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=reverse("gates:templates"))
                if before is not None:
                    return before
                saved = editing.save_template(
                    "" if row is None else row.key,
                    form.values(),
                    seen=form.cleaned_data["seen"],
                    who=doer(request),
                )
        except LayflatError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Saved: {saved.title}. Cars in the bay stay as planned.")
            return HttpResponseRedirect(reverse("gates:templates") + f"#step-{saved.key}")
    now = StepTemplate.objects.filter(pk=row.pk).first() if row else None
    context = {
        "part": "people",
        "row": now,
        "form": form,
        "version": now.version if now else 0,
        "is_stale": data is not None and now is not None and data.get("seen") != str(now.version),
        "source": SOURCE if now is not None and is_as_usual(now) else "",
    }
    return render(request, "gates/template.html", context)


def _change(request: HttpRequest, act: Callable[[], object], *, at: str = "") -> HttpResponse:
    to = reverse("gates:templates") + (f"#step-{at}" if at else "")
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            act()
    except LayflatError as error:
        messages.error(request, str(error))
    return HttpResponseRedirect(to)


@only()
@require_POST
def move(request: HttpRequest, step: str) -> HttpResponse:
    """Moves a step past its neighbour."""
    is_up = request.POST.get("to") == "up"
    return _change(
        request, lambda: editing.move_template(step, up=is_up, who=doer(request)), at=step
    )


@only()
@require_POST
def retire(request: HttpRequest, step: str) -> HttpResponse:
    """Has a step no longer, or again, be part of new plans."""
    is_retired = request.POST.get("retired") == "yes"
    return _change(
        request, lambda: editing.retire_template(step, retired=is_retired, who=doer(request))
    )


@only()
@require_POST
def put_event_back(request: HttpRequest, event: int) -> HttpResponse:
    """Undoes a change of a step, unless the same was changed again."""
    found = Event.objects.filter(pk=event, kind=editing.KIND).first()
    if found is None:
        raise Http404("There is no such change.")
    return _change(request, lambda: editing.put_back(found, who=doer(request)))
