"""One section at the machine: sent, watched, stopped, gone on with, looked at."""

from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError
from layflat.web.cutting.models import Section
from layflat.web.jobs.models import Job
from layflat.web.jobs.views.common import change
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from layflat.web.sending import asking, correcting
from layflat.web.sending.machines import locked_machine
from layflat.web.sending.page import section_context
from layflat.web.sending.prepared import ask_for_programs
from layflat.web.sending.readings import keep_reading, read_marks
from layflat.web.sending.settling import settle
from layflat.web.sending.wishes import length_mm, read_wishes

_LEAST_EVERY_MM, _MOST_EVERY_MM = 50.0, 10_000.0


def _section(number: str, layout: int, section: int) -> Section:
    found = (
        Section.objects.select_related(
            "layout__job__vehicle__body__body", "layout__roll", "layout__outcome", "program"
        )
        .filter(layout__job__number=number, layout__number=layout, number=section)
        .first()
    )
    if found is None:
        raise Http404("There is no such section.")
    return found


@never_cache
@require_safe
def page(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """A section with all that is done with it at the machine."""
    found = _section(number, layout, section)
    return render(request, "sending/section.html", section_context(found, the_shop()))


@never_cache
@require_safe
def live(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """How far a sending is, as a part of the page that asks for itself; all of it once it ends."""
    found = _section(number, layout, section)
    last = asking.last_sending(found)
    seen = request.GET.get("seen", "")
    if last is None or not last.is_open or str(last.number) != seen:
        return HttpResponse(status=204, headers={"HX-Refresh": "true"})
    context = {"job": found.layout.job, "layout": found.layout, "section": found, "last": last}
    return render(request, "sending/live.html", context)


@only(Role.INSTALLER)
@require_POST
def begin(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Send a section from its beginning."""

    def act(found: Section) -> None:
        asking.begin(
            found,
            _whole(request.POST.get("machine", "")),
            is_anew=request.POST.get("anew") == "yes",
            is_ready=request.POST.get("ready") == "yes",
            who=me(request),
        )

    return _change(request, (number, layout, section), act)


@only(Role.INSTALLER)
@require_POST
def go_on(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Send what is left of a section."""

    def act(found: Section) -> None:
        done = request.POST.get("done", "")
        asking.go_on(
            found,
            seen=_whole(request.POST.get("seen", "")),
            done=_whole(done) if done else None,
            is_cleared=request.POST.get("cleared") == "yes",
            who=me(request),
        )

    return _change(request, (number, layout, section), act)


@only(Role.INSTALLER)
@require_POST
def wish(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Pause, go on, stop between two cuts, or break off at once."""

    def act(found: Section) -> None:
        last = asking.last_sending(found)
        if last is None:
            raise InputError("Nothing is being sent.")
        asking.wish(last, request.POST.get("wish", ""), who=me(request))

    return _change(request, (number, layout, section), act)


@only(Role.INSTALLER)
@require_POST
def find_out(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Have it found out what became of a sending whose worker was ended."""

    def act(found: Section) -> None:
        asking.find_out(found, who=me(request))

    return _change(request, (number, layout, section), act)


@only(Role.INSTALLER)
@require_POST
def looked_at(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Say of every piece what it is."""
    said: list[str] = []

    def act(found: Section) -> None:
        seen = {
            _whole(name.removeprefix("piece-")): str(value)
            for name, value in request.POST.items()
            if name.startswith("piece-")
        }
        said.append(
            settle(
                found,
                seen,
                sending=_whole(request.POST.get("seen", "")),
                film_mm=_film_mm(request.POST.get("film", "")),
                has_looked=request.POST.get("looked") == "yes",
                reason=request.POST.get("reason", ""),
                note=request.POST.get("note", ""),
                who=me(request),
                at=timezone.now(),
            )
        )

    answer = _change(request, (number, layout, section), act)
    if said:
        messages.success(request, said[0])
    return answer


@only(Role.INSTALLER)
@require_POST
def prepare(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Have the layout's programs made for a machine."""

    def act(found: Section) -> None:
        every_mm = None
        if request.POST.get("marks") == "yes":
            every_mm = length_mm(request.POST.get("every", ""), the_shop())
            if every_mm is None or not _LEAST_EVERY_MM <= every_mm <= _MOST_EVERY_MM:
                raise InputError("The head returns to a mark after 50 to 10 000 mm of feed.")
        machine = locked_machine(_whole(request.POST.get("machine", "")))
        wishes = read_wishes(request.POST, the_shop())
        ask_for_programs(found.layout, machine, every_mm=every_mm, wishes=wishes, who=me(request))

    return _change(request, (number, layout, section), act, said="The programs are asked for.")


@only(Role.INSTALLER)
@require_POST
def read(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Keep what was read off the witness marks."""

    def act(found: Section) -> None:
        marks = read_marks(found, request.POST, the_shop())
        keep_reading(found, marks, is_sure=request.POST.get("sure") == "yes", who=me(request))

    return _change(request, (number, layout, section), act)


@only(Role.INSTALLER)
@require_POST
def correct(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """Have the sections that follow bent against the drift."""

    def act(found: Section) -> None:
        reading = found.readings.last()
        if reading is None:
            raise InputError("Nothing was read off the marks.")
        correcting.ask_to_correct(reading, who=me(request))

    return _change(
        request, (number, layout, section), act, said="The sections that follow are being bent."
    )


def _change(
    request: HttpRequest,
    place: tuple[str, int, int],
    act: Callable[[Section], None],
    *,
    said: str = "",
) -> HttpResponse:
    def do(job: Job) -> None:
        found = _section(*place)
        found.layout.job = job
        act(found)

    to = reverse("sending:section", args=place)
    return change(request, place[0], do, to=to, said=said)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else 0


def _film_mm(text: str) -> int | None:
    found = length_mm(text, the_shop())
    return None if found is None else round(found)
