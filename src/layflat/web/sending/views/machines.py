"""The shop's machines."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.cutting.times import learned, source_words
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import me, only
from layflat.web.sending import there
from layflat.web.sending.forms import MachineForm, initial_of
from layflat.web.sending.machines import (
    changes_of,
    cut_in_one_go,
    locked_machine,
    retire,
    save_machine,
)
from layflat.web.sending.models import Machine
from layflat.web.sending.values import generic, read_values


@only()
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """All machines."""
    rows = [(row, read_values(row.values)) for row in Machine.objects.all()]
    context = {
        "part": "people",
        "machines": [pair for pair in rows if not pair[0].is_retired],
        "retired": [row for row, _ in rows if row.is_retired],
        "generic": generic(),
    }
    return render(request, "sending/machines.html", context)


@only()
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A machine that the shop did not have."""
    return _form_page(request, None)


@only()
@require_http_methods(["GET", "HEAD", "POST"])
def machine(request: HttpRequest, machine: int) -> HttpResponse:
    """One machine: address and calibration."""
    row = Machine.objects.filter(pk=machine).first()
    if row is None:
        raise Http404("There is no such machine.")
    return _form_page(request, row)


def _form_page(request: HttpRequest, row: Machine | None) -> HttpResponse:
    before = generic() if row is None else read_values(row.values)
    name, address = ("", "") if row is None else (row.name, row.address)
    initial = initial_of(name, address, before, 0 if row is None else row.version)
    is_sent = request.method == "POST"
    data, files = (request.POST, request.FILES) if is_sent else (None, None)
    form = MachineForm(data, files, initial=initial)
    if is_sent and form.is_valid():
        to = reverse("sending:machines")
        try:
            with transaction.atomic():
                earlier = answered_before(request, went_to=to)
                if earlier is not None:
                    return earlier
                made = save_machine(
                    None if row is None else locked_machine(row.pk),
                    name=form.cleaned_data["name"],
                    address=form.cleaned_data["address"],
                    values=form.values(before),
                    seen=form.cleaned_data["seen"],
                    who=me(request),
                )
        except LayflatError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{made.name} is kept.")
            return HttpResponseRedirect(to)
    context: dict[str, Any] = {
        "part": "people",
        "row": row,
        "form": form,
        "values": before,
        "changes": [] if row is None else changes_of(row),
        "times": "" if row is None else source_words(learned(cut_in_one_go(row))),
    }
    return render(request, "sending/machine.html", context)


@only()
@require_POST
def is_there(request: HttpRequest, machine: int) -> HttpResponse:
    """Tries whether somebody answers at a machine's address; changes nothing."""
    row = Machine.objects.filter(pk=machine).first()
    if row is None:
        raise Http404("There is no such machine.")
    try:
        messages.success(request, f"{row.name}: {there.look(row.address)}")
    except LayflatError as error:
        messages.error(request, f"{row.name}: {error}")
    return HttpResponseRedirect(reverse("sending:machines"))


@only()
@require_POST
def put_away(request: HttpRequest, machine: int) -> HttpResponse:
    """Uses a machine no longer, or again."""
    to = reverse("sending:machines")
    try:
        with transaction.atomic():
            earlier = answered_before(request, went_to=to)
            if earlier is not None:
                return earlier
            is_retired = request.POST.get("retired") == "yes"
            retire(locked_machine(machine), retired=is_retired, who=me(request))
    except LayflatError as error:
        messages.error(request, str(error))
    return HttpResponseRedirect(to)
