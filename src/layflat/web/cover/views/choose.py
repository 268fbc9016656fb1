"""Choosing what one alternative covers, on the body."""

from collections.abc import Callable
from urllib.parse import urlencode

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.cover import outcomes
from layflat.web.cover.changing import change_choices, locked_cover, undo
from layflat.web.cover.choices import from_json
from layflat.web.cover.lines import trace_line
from layflat.web.cover.models import Cover
from layflat.web.cover.shown import drawn_to_edges, part_json, part_of_panel
from layflat.web.cover.views.common import cover_address, sheet_context, the_cover
from layflat.web.cover.wishes import read_points, wish_of
from layflat.web.jobs.views.common import locked_job, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.leading import next_of
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from layflat.web.record.models import Event

_CHANGING = ["title", "choices", "version", "is_dropped", "computation"]


@require_safe
def choose(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """The body with what is covered, and the sheet to choose on; the sheet alone for itself."""
    found = the_cover(the_job(number), cover)
    context = sheet_context(request, found, open_panel=request.GET.get("panel", ""))
    answer = render(
        request, "cover/sheet.html" if _is_part(request) else "cover/choose.html", context
    )
    # A browser that goes back must not take the sheet alone for the page.
    patch_vary_headers(answer, ["HX-Request"])
    return answer


def _is_part(request: HttpRequest) -> bool:
    return request.headers.get("HX-Request") == "true"


def _act(request: HttpRequest, before: Cover, act: Callable[[Cover], str]) -> HttpResponse:
    """Do something with a cover, locked and read anew, and show how it stands then."""
    says, refused = "", ""
    try:
        with transaction.atomic():
            job = locked_job(before.job.number)
            says = act(locked_cover(job, before.number, body=before.body))
    except LayflatError as error:
        refused = str(error)
    return _answer(request, before, says=says, refused=refused)


def _answer(request: HttpRequest, found: Cover, *, says: str, refused: str) -> HttpResponse:
    """How a cover stands by now; its body and its customer are as they were read before."""
    panel = request.POST.get("panel", "")
    job = found.job
    if _is_part(request):
        found.refresh_from_db(fields=_CHANGING)
        job.refresh_from_db(fields=["stage"])
        context = sheet_context(request, found, open_panel=panel, says=says, refused=refused)
        return render(request, "cover/answer.html", context)
    if says:
        messages.success(request, says)
    if refused:
        messages.error(request, refused)
    query = "?" + urlencode({"panel": panel}) if panel else ""
    sheet = cover_address("choose", job, found.number) + query
    return HttpResponseRedirect(next_of(request, otherwise=sheet))


@only(Role.COUNTER)
@require_POST
def change(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Makes one change of one panel."""
    seen_cover = the_cover(the_job(number), cover)
    try:
        wish = wish_of(request.POST, seen_cover, the_shop())
    except LayflatError as error:
        return _answer(request, seen_cover, says="", refused=str(error))
    return _act(
        request,
        seen_cover,
        lambda found: change_choices(
            found,
            wish.panel,
            wish.make,
            seen=request.POST.get("was", ""),
            now=wish.now,
            who=me(request),
        ),
    )


@only(Role.COUNTER)
@require_POST
def take_back(request: HttpRequest, number: str, cover: int, event: int) -> HttpResponse:
    """Takes one change back, unless the same panel was changed again."""

    def act(found: Cover) -> str:
        change_ = Event.objects.filter(pk=event, job=found.job).first()
        if change_ is None:
            raise InputError("There is no such change; open the page anew.")
        return undo(found, change_, who=me(request))

    return _act(request, the_cover(the_job(number), cover), act)


@only(Role.COUNTER)
@require_POST
def compute(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Asks for the real computation."""

    def act(found: Cover) -> str:
        outcomes.ask_for(found, who=me(request))
        return ""

    return _act(request, the_cover(the_job(number), cover), act)


@only(Role.COUNTER)
@require_POST
def trace(request: HttpRequest, number: str, cover: int) -> JsonResponse:
    """A line as it is being drawn, traced on the surface; changes nothing."""
    found = the_cover(the_job(number), cover)
    panel = request.POST.get("panel", "")
    try:
        points = read_points(request.POST.get("line", ""))
        points = drawn_to_edges(found.body, panel, points)
        part = trace_line(found.body, panel, points, None)
    except LayflatError as error:
        return JsonResponse({"fault": str(error)})
    return JsonResponse({"line": part_json(part)["line"]})


@require_safe
def part(request: HttpRequest, number: str, cover: int) -> JsonResponse:
    """The covered part of a panel for the viewer; empty for panels that have no line."""
    found = the_cover(the_job(number), cover)
    choice = from_json(found.choices).of(request.GET.get("panel", ""))
    if choice is None or choice.is_whole:
        return JsonResponse({})
    try:
        return JsonResponse(part_json(part_of_panel(found.body, choice)))
    except LayflatError as error:
        return JsonResponse({"fault": str(error)})
