"""How far computations are, and stopping them."""

import json
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from layflat.web.people.gate import me
from layflat.web.people.leading import next_of
from layflat.web.record.models import write_event
from layflat.web.work import rows
from layflat.web.work.models import OVER, Computation
from layflat.web.work.tasks import own_stop, title_of

_RECENT = 30


@never_cache
@require_safe
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """One computation as a fragment, which asks for itself again until it is over.

    When it is over htmx fires `computation-over` with `id` and `state` on the fragment, so that
    what stands around it can show the result.
    """
    computation = get_object_or_404(Computation, pk=pk)
    answer = render(request, "work/progress.html", {"computation": computation})
    if computation.is_over:
        over = {"computation-over": {"id": computation.pk, "state": computation.state}}
        answer.headers["HX-Trigger-After-Swap"] = json.dumps(over)
    return answer


@require_POST
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Stops a computation, by its own way if it has one; one that is over stays as it is."""
    computation = get_object_or_404(Computation, pk=pk)
    own, said = own_stop(computation.task), ""
    with transaction.atomic():
        if own is not None:
            said = "" if computation.is_over else own(computation.inputs, me(request))
        elif rows.ask_stop(pk):
            title = title_of(computation.task)
            write_event("work.stopped", f"“{title}” (no. {pk}) was asked to stop.", who=me(request))
    if request.headers.get("HX-Request"):
        computation.refresh_from_db()
        context = {"computation": computation, "said": said}
        return render(request, "work/progress.html", context)
    if said:
        messages.info(request, said)
    return HttpResponseRedirect(next_of(request, otherwise=reverse("work:list")))


@never_cache
@require_safe
def computations(request: HttpRequest) -> HttpResponse:
    """What is being computed, what waits, and what was computed last."""
    rows_ = Computation.objects.select_related("asked_by").defer("inputs", "result")
    context: dict[str, Any] = {
        "part": "work",
        "current": rows_.exclude(state__in=OVER).order_by("-state", "asked_at", "id"),
        "recent": rows_.filter(state__in=OVER).order_by("-ended_at", "-id")[:_RECENT],
    }
    return render(request, "work/list.html", context)
