"""A job's page, its edits and its moves."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.jobs.additions import sections
from layflat.web.jobs.closing import LONGEST_NOTE, close_job, reasons_at, reopen_job
from layflat.web.jobs.editing import (
    PARTS,
    Part,
    changed_by,
    label_of,
    merge_for,
    save_change,
    shown_value,
    values_of,
)
from layflat.web.jobs.finding import find_bodies
from layflat.web.jobs.merging import Merge
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.once import answered_before, earlier_answer
from layflat.web.jobs.stages import (
    SENT_BACK,
    Step,
    begin_walk_round,
    move_back,
    next_step_of,
    strip,
)
from layflat.web.jobs.views.common import address, change, locked_job, the_job
from layflat.web.jobs.views.history import lines_of
from layflat.web.jobs.vin import vin_warning
from layflat.web.jobs.walk_round import gate
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import shop_held

_SHOWN_EVENTS = 12


@require_safe
def job(request: HttpRequest, number: str) -> HttpResponse:
    """Where a job stands and all that is known about it."""
    found = the_job(number)
    faults = list(found.faults.select_related("thumb", "photo"))
    step = next_step_of(found)
    context: dict[str, Any] = {
        "part": "job",
        "job": found,
        "marks": strip(found),
        "step": step,
        "step_address": _step_address(step, number) if _may_step(request, step) else "",
        "gate": gate(found, faults) if found.stage in SENT_BACK else None,
        "faults": faults,
        "vin_warning": _vin_warning(found.vehicle.vin),
        "editable": [name for name, part in PARTS.items() if _may(request, part)],
        "can_go_back": found.stage in SENT_BACK and _keeps_counter(request),
        "is_closed": found.stage == Stage.CLOSED,
        "keeps_counter": _keeps_counter(request),
        "reasons": reasons_at(found.stage),
        "longest_note": LONGEST_NOTE,
        "lines": lines_of(found, faults, newest=_SHOWN_EVENTS, who=me(request)),
        "sections": sections(is_work=False),
        "work": sections(is_work=True) if request.GET.get("work") == "yes" else (),
    }
    with shop_held():
        for section in (*context["sections"], *context["work"]):
            context |= section.read(found)
        return render(request, "jobs/job.html", context)


@require_safe
def workshop(request: HttpRequest, number: str) -> HttpResponse:
    """The sheets of the workshop, which follow a job's page."""
    found = the_job(number)
    context: dict[str, Any] = {"job": found, "work": sections(is_work=True)}
    with shop_held():
        for section in context["work"]:
            context |= section.read(found)
        return render(request, "jobs/work.html", context)


def _may_step(request: HttpRequest, step: Step) -> bool:
    """Whether the next step leads the person anywhere; offers are the counter's."""
    return _keeps_counter(request) or not step.address.startswith("offer:")


def _step_address(step: Step, number: str) -> str:
    try:
        return reverse(step.address, args=[number]) if step.address else ""
    except NoReverseMatch:
        return ""


def _vin_warning(vin: str) -> str:
    try:
        return vin_warning(vin) if vin else ""
    except InputError as error:
        return str(error)


def _keeps_counter(request: HttpRequest) -> bool:
    person = me(request)
    return person is not None and person.keeps_counter


def _may(request: HttpRequest, part: Part) -> bool:
    person = me(request)
    return person is not None and (person.is_owner or person.role in part.roles)


@require_http_methods(["GET", "POST"])
def edit(request: HttpRequest, number: str, part: str) -> HttpResponse:
    """Edits one part of a job; tells the second of two editors what the first one changed."""
    if part not in PARTS:
        raise Http404(f"A job has no part {part}.")
    what = PARTS[part]
    if not _may(request, what):
        raise PermissionDenied
    if request.method == "POST" and "find" not in request.POST:
        return _save(request, number, what)
    found = the_job(number)
    row: Any = what.target(found)
    form = what.form(instance=row)
    if request.method == "POST":
        kept = {name: request.POST.get(name, "") for name in form.fields}
        form = what.form(instance=row, initial=kept)
    return _edit_page(request, found, what, form, seen=values_of(what.form(instance=row)), row=row)


def _save(request: HttpRequest, number: str, part: Part) -> HttpResponse:
    to = address("job", number)
    try:
        with transaction.atomic():
            found = locked_job(number)
            before = earlier_answer(request)
            if before is not None:
                return before
            row: Any = part.target(found, lock=True)
            merge = merge_for(part, row, request.POST)
            if merge.clashes:
                return _clash_page(request, found, part, row, merge)
            done = save_change(part, found, row, merge, who=me(request))
            if done.clean.errors:
                row.refresh_from_db()
                seen = values_of(part.form(instance=row))
                return _edit_page(request, found, part, done.clean, seen=seen, row=row)
            answered_before(request, went_to=to)
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(address("edit", number, part.name))
    if done.names:
        messages.success(request, f"Saved: {', '.join(name.lower() for name in done.names)}.")
    if done.theirs:
        messages.info(
            request,
            f"Somebody else changed {', '.join(name.lower() for name in done.theirs)} meanwhile; "
            "both changes are kept.",
        )
    return HttpResponseRedirect(to)


def _clash_page(
    request: HttpRequest, found: Job, part: Part, row: Any, merge: Merge
) -> HttpResponse:
    now = part.form(instance=row)
    current = values_of(now)
    version = request.POST.get("version", "")
    clashes = [
        {
            "label": label_of(now, name),
            "theirs": shown_value(now, name, current[name]),
            "mine": shown_value(now, name, merge.values[name]),
            "event": changed_by(found, part, version=version, name=name),
        }
        for name in merge.clashes
    ]
    form = part.form(instance=row, initial=merge.values)
    return _edit_page(request, found, part, form, seen=current, row=row, clashes=clashes)


def _edit_page(
    request: HttpRequest,
    found: Job,
    part: Part,
    form: Any,
    *,
    seen: dict[str, str],
    row: Any,
    clashes: list[dict[str, Any]] | None = None,
) -> HttpResponse:
    searched = request.POST.get("body-q", "")
    body = str(form["body"].value() or "") if "body" in form.fields else ""
    context = {
        "part": "job",
        "job": found,
        "what": part,
        "form": form,
        "version": row.version,
        "seen": seen,
        "clashes": clashes or [],
        "body_searched": searched,
        "bodies": find_bodies(searched, chosen=body),
        "chosen_body": body,
    }
    return render(request, "jobs/edit.html", context)


@only(Role.COUNTER, Role.INSTALLER)
@require_POST
def begin(request: HttpRequest, number: str) -> HttpResponse:
    """Begins the walk-round."""
    return change(
        request,
        number,
        partial(begin_walk_round, who=me(request)),
        to=address("walk-round", number),
    )


@only(Role.COUNTER)
@require_POST
def back(request: HttpRequest, number: str) -> HttpResponse:
    """Sends a job back, with a reason."""
    reason, seen = request.POST.get("reason", ""), request.POST.get("seen", "")
    return change(
        request,
        number,
        partial(move_back, reason=reason, who=me(request), seen=seen),
        to=address("job", number),
        said="The job went back.",
    )


@only(Role.COUNTER)
@require_POST
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Closes a job for a reason."""
    return change(
        request,
        number,
        partial(
            close_job,
            seen=request.POST.get("seen", ""),
            reason=request.POST.get("reason", ""),
            note=request.POST.get("note", ""),
            who=me(request),
        ),
        to=address("job", number),
        said="The job is closed. It is off the board, and found under “Jobs”.",
        back_to=address("job", number) + "#close-job",
    )


@only(Role.COUNTER)
@require_POST
def reopen(request: HttpRequest, number: str) -> HttpResponse:
    """Opens a closed job again where it stood."""
    return change(
        request,
        number,
        partial(reopen_job, who=me(request)),
        to=address("job", number),
        said="The job is open again, where it stood.",
    )
