"""The page on which a person arranges pieces on the roll, and what is made of it."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from layflat.web.cutting import by_hand
from layflat.web.cutting.by_hand_page import by_hand_context, outlines
from layflat.web.cutting.models import Layout
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.sharing import pattern_files_of
from layflat.web.cutting.views import the_layout, whole
from layflat.web.jobs.models import Job
from layflat.web.jobs.once import note_answer
from layflat.web.jobs.views.common import change, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop


@only(Role.INSTALLER)
@never_cache
@require_safe
def page(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """A layout's pieces, to be moved, turned and pinned."""
    job = the_job(number)
    context = by_hand_context(job, the_layout(job, layout), the_shop())
    return render(request, "cutting/by_hand.html", context)


@only(Role.INSTALLER)
@never_cache
@require_safe
def shapes(_request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """The pieces' outlines, fine enough to measure gaps on."""
    found = the_layout(the_job(number), layout)
    return JsonResponse(outlines(read_patterns(pattern_files_of(found))))


@only(Role.INSTALLER)
@require_POST
def keep(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """Keep an arrangement as a layout to be cut."""
    return _made(
        request,
        number,
        layout,
        lambda found: by_hand.keep_by_hand(
            found,
            request.POST.get("arrangement", ""),
            version=whole(request.POST.get("version", "")),
            who=me(request),
        ),
    )


@only(Role.INSTALLER)
@require_POST
def search(request: HttpRequest, number: str, layout: int) -> HttpResponse:
    """Search on around the pieces that are pinned."""
    return _made(
        request,
        number,
        layout,
        lambda found: by_hand.search_around(
            found,
            request.POST.get("arrangement", ""),
            version=whole(request.POST.get("version", "")),
            seconds=whole(request.POST.get("seconds", "")),
            who=me(request),
        ),
    )


def _made(
    request: HttpRequest, number: str, layout: int, act: Callable[[Layout], Layout]
) -> HttpResponse:
    """Make a layout, once, and lead to it; back to the arrangement when it cannot be made."""
    page = reverse("cutting:by-hand", args=[number, layout])

    def do(job: Job) -> None:
        made.append(act(the_layout(job, layout)))
        note_answer(request, reverse("cutting:layout", args=[number, made[0].number]))

    made: list[Layout] = []
    answer = change(request, number, do, to=page)
    if made:
        answer["Location"] = reverse("cutting:layout", args=[number, made[0].number])
    return answer
