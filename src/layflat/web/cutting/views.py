"""The pages of a job's film."""

import contextlib
from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.cutting import keeping, papers, starting
from layflat.web.cutting.leaving import take_up
from layflat.web.cutting.models import Layout, Section
from layflat.web.cutting.page import film_context, layout_context
from layflat.web.cutting.sharing import lock_all
from layflat.web.cutting.standing import figures_of, standing_of
from layflat.web.files.sending import sent_once
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Job
from layflat.web.jobs.views.common import change, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role, Shop
from layflat.web.people.shop import the_shop


def the_layout(job: Job, number: int) -> Layout:
    """A layout of a job with its roll, its computation and the shapes of its pieces.

    Raises:
        Http404: there is none of that number.
    """
    rows = Layout.objects.select_related("roll", "computation", "shapes", "made_by")
    found = rows.filter(job=job, number=number).first()
    if found is None:
        raise Http404(f"Job {job.number} has no layout {number}.")
    found.job = job
    return found


def _section(number: str, layout: int, section: int) -> Section:
    found = (
        Section.objects.select_related("program", "simulated", "layout__job")
        .filter(layout__job__number=number, layout__number=layout, number=section)
        .first()
    )
    if found is None:
        raise Http404("There is no such section.")
    return found


@never_cache
@require_safe
def film(request: HttpRequest, number: str) -> HttpResponse:
    """What needs film, where it may come from, and the layouts."""
    return render(request, "cutting/film.html", film_context(the_job(number), the_shop()))


@only(Role.INSTALLER)
@require_POST
def begin(request: HttpRequest, number: str) -> HttpResponse:
    """Begin a search for a layout."""
    made: list[Layout] = []

    def act(job: Job) -> None:
        layout = starting.begin(
            job,
            roll=whole(request.POST.get("roll", "")),
            numbers=[whole(text) for text in request.POST.getlist("piece")],
            seconds=whole(request.POST.get("seconds", "")),
            who=me(request),
            first=starting.read_first(request.POST.get("first", "")),
        )
        made.append(layout)

    page = reverse("cutting:film", args=[number])
    answer = change(request, number, act, to=page)
    if made:
        answer["Location"] = reverse("cutting:layout", args=[number, made[0].number])
    return answer


def whole(text: str) -> int:
    """A whole number from a form; 0 for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 12 else 0


@never_cache
@require_safe
def layout(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """One layout: live while it is searched for, then its sections."""
    job = the_job(number)
    context = layout_context(job, the_layout(job, layout), the_shop())
    return render(request, "cutting/layout.html", context)


@never_cache
@require_safe
def so_far(_request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """The best layout until now, for a page that watches."""
    rows = Layout.objects.select_related("computation", "shapes")
    found = rows.filter(job__number=number, number=layout).first()
    if found is None:
        raise Http404("There is no such layout.")
    standing = standing_of(found)
    data = found.found or found.so_far
    return JsonResponse(
        {
            "standing": standing.name,
            "is_live": standing.is_live,
            "word": standing.word,
            "percent": standing.percent,
            "shapes": found.shapes is not None,
            "length_mm": data["length_mm"] if data else None,
            "placements": [
                [item["piece"], item["turn_deg"], item["x_mm"], item["y_mm"]]
                for item in (data["placements"] if data else [])
            ],
            "sections": data["sections"] if data else [],
            **figures_of(data, the_shop()),
        }
    )


@only(Role.INSTALLER)
@require_POST
def keep(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """Keep the best layout so far; its programs are made."""
    return _change(request, number, layout, lambda one: keeping.keep(one, who=me(request)))


@only(Role.INSTALLER)
@require_POST
def drop(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """Use a layout no further."""

    def act(found: Layout) -> None:
        lock_all(found, found.job)
        take_up(found)
        keeping.drop(found, who=me(request))

    return _change(request, number, layout, act)


def _change(
    request: HttpRequest, number: str, layout: int, act: Callable[[Layout], None]
) -> HttpResponse:
    page = reverse("cutting:layout", args=[number, layout])

    def do(job: Job) -> None:
        act(the_layout(job, layout))

    return change(request, number, do, to=page)


@require_safe
def shapes(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """The pieces as they are drawn."""
    rows = Layout.objects.select_related("shapes")
    found = rows.filter(job__number=number, number=layout).first()
    return sent_once(request, found.shapes if found else None)


@require_safe
def simulated(request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """The way of the blade's tip through a section."""
    return sent_once(request, _section(number, layout, section).simulated)


@require_safe
def program(_request: HttpRequest, number: str, layout: int, section: int) -> HttpResponse:
    """A section's cut program, to be saved."""
    stored = _section(number, layout, section).program
    data = None
    if stored is not None:
        with contextlib.suppress(OSError):
            data = path_of(stored.sha256).read_bytes()
    if stored is None or data is None:
        raise Http404("The program is no longer in the data folder.")
    answer = HttpResponse(data, content_type="text/plain; charset=us-ascii")
    # Two jobs may share a program's bytes, and so the kept file, which is called after the first.
    name = f"{number}-layout-{layout}-section-{section}.hpgl"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_safe
def labels(_request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """Labels for a kept layout's pieces."""
    return _paper(number, layout, "labels", papers.labels_pdf)


@require_safe
def weeding(_request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """A kept layout's weeding map."""
    return _paper(number, layout, "weeding-map", papers.map_pdf)


def _paper(
    number: str, layout: int, name: str, make: Callable[[Layout, Job, Shop], bytes]
) -> HttpResponse:
    job = the_job(number)
    found = the_layout(job, layout)
    if found.state not in (Layout.State.KEPT, Layout.State.CUT):
        raise Http404("The layout is not kept; there is no paper of it.")
    try:
        data = make(found, job, the_shop())
    except LayflatError as error:
        raise Http404(str(error)) from error
    file = f"{job.number}-layout-{found.number}-{name}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{file}"', "Cache-Control": "no-store"}
    return HttpResponse(data, content_type="application/pdf", headers=headers)
