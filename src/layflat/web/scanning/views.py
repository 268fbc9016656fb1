"""The scan bench of a revision."""

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.bodies.models import Revision
from layflat.web.files.models import StoredFile
from layflat.web.files.sending import sent_once
from layflat.web.people.gate import me, only
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop
from layflat.web.scanning.models import Bench
from layflat.web.scanning.page import bench_page
from layflat.web.scanning.standing import standing_of
from layflat.web.scanning.steps import (
    ask_for_panels,
    begin,
    bench_of,
    fill,
    lacking,
    last_steps,
    mesh_of,
    state_of,
    take,
)
from layflat.web.scanning.traced import drawn
from layflat.web.work.models import State as Work

_MOST_ASKED = 20_000
_MM_PER_INCH = 25.4


def _revision(pk: int) -> Revision:
    return get_object_or_404(
        Revision.objects.select_related("body", "scan", "preparation", "light"), pk=pk
    )


def _person(request: HttpRequest) -> Person:
    person = me(request)
    if person is None:
        raise TypeError("A stranger came through the gate.")
    return person


@only(Role.COUNTER)
@require_safe
def bench(request: HttpRequest, pk: int) -> HttpResponse:
    """The bench."""
    revision = _revision(pk)
    if not revision.is_ready:
        return redirect("bodies:revision", revision.body_id, revision.number)
    found = bench_of(revision)
    if found is not None:
        found = fill(found)
    as_map = request.GET.get("show") == "sides"
    return render(request, "scanning/bench.html", bench_page(revision, found, as_map=as_map))


@only(Role.COUNTER)
@require_POST
def begin_bench(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the scan on the bench."""
    try:
        begin(_revision(pk), who=_person(request))
    except LayflatError as error:
        messages.error(request, str(error))
    return redirect("scanning:bench", pk)


@only(Role.COUNTER)
@require_POST
def stand(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how the scan stands, from a plain form, and show the bench anew."""
    asked: dict[str, Any] = {
        "act": request.POST.get("act", ""),
        "seen": _seen(request.POST.get("seen")),
        "mm": _mm(request.POST.get("mm", "")),
    }
    try:
        if "points" in request.POST:
            asked["points"] = json.loads(request.POST["points"][:_MOST_ASKED] or "null")
        take(_revision(pk), asked, who=_person(request))
    except LayflatError as error:
        messages.error(request, str(error))
    except ValueError:
        messages.error(request, "The points cannot be read; pick them again.")
    return redirect("scanning:bench", pk)


def _mm(typed: str) -> Any:
    """A length in the shop's unit as millimetres; what is no number as it was typed."""
    try:
        value = float(typed.strip().replace(",", "."))
    except ValueError:
        return typed
    return _MM_PER_INCH * value if the_shop().inches else value


def _seen(value: Any) -> int:
    try:
        return int(value)
    except (TypeError, ValueError):
        return -1


@only(Role.COUNTER)
@require_POST
def step(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a step in tracing; answers how the work stands then, as JSON."""
    revision, refused = _revision(pk), ""
    try:
        if request.content_type != "application/json":
            raise InputError("The page is out of date; open it anew.")
        if len(request.body) > _MOST_ASKED:
            raise InputError("That is too much for one step.")
        asked = json.loads(request.body)
        if not isinstance(asked, dict):
            raise InputError("The page is out of date; open it anew.")
        # A page that was just opened asks how the work stands, and does nothing.
        if asked.get("act") != "look":
            take(revision, asked, who=_person(request))
    except LayflatError as error:
        refused = str(error)
    except (ValueError, RecursionError):
        refused = "The page is out of date; open it anew."
    found = bench_of(revision)
    if found is None:
        return JsonResponse({"refused": refused, "seen": 0, "drafts": []}, status=400)
    return JsonResponse(standing(revision, found, refused=refused), status=400 if refused else 200)


def standing(revision: Revision, found: Bench, *, refused: str = "") -> dict[str, Any]:
    """How the work stands, as the page's script takes it."""
    state = state_of(found)
    mesh = mesh_of(revision, state)
    return {
        "seen": found.current_id or 0,
        "refused": refused,
        "drafts": drawn(mesh, state) if mesh else [],
        "steps": [
            {"said": item.sentence, "who": str(item.who or ""), "now": item.pk == found.current_id}
            for item in last_steps(found)
        ],
        "can_undo": found.current_id is not None,
        "can_redo": found.steps.filter(before=found.current).exists(),
        "mesh": mesh,
        "lacks": lacking(state),
    }


@only(Role.COUNTER)
@require_POST
def make(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for panels."""
    try:
        ask_for_panels(_revision(pk), seen=_seen(request.POST.get("seen")), who=_person(request))
    except LayflatError as error:
        messages.error(request, str(error))
    return redirect("scanning:bench", pk)


@only(Role.COUNTER)
@require_safe
def ready(_request: HttpRequest, pk: int) -> HttpResponse:
    """For a page that waits: nothing while a computation goes on, then word to load it anew."""
    revision = _revision(pk)
    found = bench_of(revision)
    response = HttpResponse(status=204)
    waits = [] if found is None else [standing_of(revision, state_of(found)), found.making]
    if all(item is None or item.is_over for item in waits):
        response["HX-Refresh"] = "true"
    return response


def _stood(pk: int) -> dict[str, Any]:
    """What putting the scan upright made.

    Raises:
        Http404: it is not upright.
    """
    revision = _revision(pk)
    found = bench_of(revision)
    made = None if found is None else standing_of(revision, state_of(found))
    if made is None or made.state != Work.DONE or made.result is None:
        raise Http404("The scan does not stand upright yet.")
    result: dict[str, Any] = made.result
    return result


@only(Role.COUNTER)
@require_safe
def frame(_request: HttpRequest, pk: int) -> HttpResponse:
    """How the vehicle stands, for the viewer."""
    result = _stood(pk)
    return JsonResponse({"panels": [], "forward": result["forward"], "up": result["up"]})


@only(Role.COUNTER)
@require_safe
def plain(request: HttpRequest, pk: int) -> HttpResponse:
    """The scan without its floor, as GLB."""
    return _sent(request, pk, "plain")


@only(Role.COUNTER)
@require_safe
def mapped(request: HttpRequest, pk: int) -> HttpResponse:
    """The same in colours by how left and right differ."""
    return _sent(request, pk, "map")


def _sent(request: HttpRequest, pk: int, which: str) -> HttpResponse:
    stored = get_object_or_404(StoredFile, sha256=_stood(pk)[which])
    return sent_once(request, stored)
