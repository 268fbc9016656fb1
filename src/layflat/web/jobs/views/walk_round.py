"""The walk-round on a tablet: faults, their pictures, warnings, and closing it."""

import json
import math
from functools import partial
from typing import Any, Final

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.jobs.forms import FaultForm
from layflat.web.jobs.kinds import KINDS
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.jobs.once import answered_before, note_answer
from layflat.web.jobs.outline import PANELS, VIEWS, View
from layflat.web.jobs.views.common import address, change, locked_job, the_job
from layflat.web.jobs.walk_round import (
    acknowledge,
    add_fault,
    close_walk_round,
    gate,
    restore_fault,
    withdraw_fault,
)
from layflat.web.jobs.warned import warned_of
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role

_SLIP: Final = "Noted by mistake."
_YEAR_S: Final = 31_536_000
_CLIMB_MM: Final = 150.0
"""How much higher a pennant stands on the drawing when one is there already."""


@require_safe
def walk_round(request: HttpRequest, number: str) -> HttpResponse:
    """The vehicle with its faults, and the form for the next one."""
    return _page(request, the_job(number), FaultForm(initial={"view": request.GET.get("view", "")}))


def _page(request: HttpRequest, job: Job, form: FaultForm) -> HttpResponse:
    faults = list(job.faults.select_related("thumb", "photo"))
    standing = [fault for fault in faults if not fault.is_withdrawn]
    shown_view = form["view"].value() or VIEWS[0].name
    context = {
        "part": "job",
        "job": job,
        "form": form,
        "kinds": KINDS,
        "panels": PANELS,
        "views": [(view, _pennants(view, standing)) for view in VIEWS],
        "shown_view": shown_view,
        "faults": faults,
        "standing": standing,
        "viewer": _viewer(job),
        "marks": json.dumps([_mark(fault) for fault in standing if fault.x_mm is not None]),
        "last": standing[-1] if standing else None,
        "open_warnings": [fault for fault in faults if fault.is_open_warning],
        "gate": gate(job, faults),
        "goes_on": job.stage == Stage.INTAKE,
        "has_begun": job.stage != Stage.ENQUIRY,
        "slip": _SLIP,
    }
    return render(request, "jobs/walk_round.html", context)


def _viewer(job: Job) -> dict[str, str] | None:
    """Addresses of the vehicle's body in 3D, once its library has it ready."""
    revision = job.vehicle.body
    if revision is None or revision.light_id is None:
        return None
    return {
        "glb": reverse("bodies:light", args=[revision.pk]),
        "panels": reverse("bodies:lines", args=[revision.pk]),
    }


def _mark(fault: Fault) -> dict[str, Any]:
    return {
        "x": fault.x_mm,
        "y": fault.y_mm,
        "z": fault.z_mm,
        "label": str(fault.number),
        "kind": fault.kind,
    }


def _pennants(view: View, faults: list[Fault]) -> list[dict[str, Any]]:
    """Pennants on a view; one beside another that is near flies higher, so both can be read."""
    placed: list[dict[str, Any]] = []
    for fault in faults:
        if fault.view != view.name or fault.across is None or fault.along is None:
            continue
        x, y = fault.across * view.width, fault.along * view.height
        near = sum(math.hypot(other["x"] - x, other["y"] - y) < _CLIMB_MM for other in placed)
        placed.append({"x": x, "y": y, "mast": -220 - _CLIMB_MM * near, "fault": fault})
    return placed


@require_POST
def add(request: HttpRequest, number: str) -> HttpResponse:
    """Notes a fault; what was tapped and written stays when something is not right yet."""
    job = the_job(number)
    # Pictures are decoded before the job is locked.
    form = FaultForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, job, form)
    try:
        with transaction.atomic():
            before = answered_before(request)
            if before is not None:
                return before
            seen = form.seen()
            fault = add_fault(
                locked_job(number), seen, picture=form.cleaned_data["photo"], who=me(request)
            )
            view = f"?view={seen.view}" if seen.view else ""
            answer = note_answer(request, address("walk-round", number) + view)
    except LayflatError as error:
        form.add_error(None, str(error))
        return _page(request, job, form)
    messages.success(request, f"Fault {fault.number} is noted.")
    return answer


@require_POST
def withdraw(request: HttpRequest, number: str, fault: int) -> HttpResponse:
    """Withdraws a fault with a reason."""
    act = partial(
        withdraw_fault, number=fault, reason=request.POST.get("reason", ""), who=me(request)
    )
    return change(
        request,
        number,
        act,
        to=address("walk-round", number),
        said=f"Fault {fault} is withdrawn; it can be restored below.",
        back_to=address("walk-round", number) + f"#fault-{fault}",
    )


@require_POST
def restore(request: HttpRequest, number: str, fault: int) -> HttpResponse:
    """Takes a withdrawal back."""
    return change(
        request,
        number,
        partial(restore_fault, number=fault, who=me(request)),
        to=address("walk-round", number),
        said=f"Fault {fault} stands again.",
    )


@require_http_methods(["GET", "POST"])
def warnings(request: HttpRequest, number: str) -> HttpResponse:
    """The warnings, for the customer to read and acknowledge on the tablet."""
    refused = ""
    ticked = [int(value) for value in request.POST.getlist("fault") if value.isdecimal()]
    typed = request.POST.get("name", "")[:80]
    if request.method == "POST":
        to = address("walk-round", number)
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=to)
                if before is not None:
                    return before
                acknowledge(
                    locked_job(number), ticked, name=typed, who=me(request), through="on the tablet"
                )
        except LayflatError as error:
            refused = str(error)
        else:
            messages.success(request, "Thank you. What was acknowledged is in the job's history.")
            return HttpResponseRedirect(to)
    job = the_job(number)
    context = {
        "part": "job",
        "job": job,
        "refused": refused,
        "ticked": ticked,
        "typed": typed,
        **warned_of(job, lambda _, sha256: address("picture", number, sha256)),
    }
    return render(request, "jobs/warnings.html", context)


@require_POST
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Closes the walk-round, if its gate is open."""
    act = partial(
        close_walk_round, nothing_found=request.POST.get("nothing") == "yes", who=me(request)
    )
    return change(
        request,
        number,
        act,
        to=address("job", number),
        said="The walk-round is closed.",
        back_to=address("walk-round", number),
    )


@only(Role.COUNTER, Role.INSTALLER)
@require_safe
def picture(_request: HttpRequest, number: str, sha256: str) -> HttpResponse:
    """A picture of a job's fault."""
    of_job = Fault.objects.filter(job__number=number)
    is_known = (
        of_job.filter(photo__sha256=sha256).exists() or of_job.filter(thumb__sha256=sha256).exists()
    )
    stored = StoredFile.objects.filter(sha256=sha256).first() if is_known else None
    if stored is None or not path_of(sha256).is_file():
        raise Http404("There is no such picture.")
    # At most a few hundred kilobytes: what is kept was made small.
    return HttpResponse(
        path_of(sha256).read_bytes(),
        content_type=stored.media_type,
        headers={"Cache-Control": f"private, max-age={_YEAR_S}, immutable"},
    )
