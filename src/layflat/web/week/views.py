"""The pages of the week's film."""

from collections.abc import Callable

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.jobs.once import answered_before, note_answer
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from layflat.web.week import asking, keeping
from layflat.web.week.models import Plan
from layflat.web.week.page import plan_context, week_context


@never_cache
@require_safe
def week(request: HttpRequest) -> HttpResponse:
    """The jobs whose film may be planned together, what film there is, and the plans so far."""
    return render(request, "week/week.html", week_context(the_shop()))


@only(Role.COUNTER)
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Begin to plan."""
    here = reverse("week:week")
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=here)
            if before is not None:
                return before
            plan = asking.begin(
                jobs=[_whole(text) for text in request.POST.getlist("job")],
                film=request.POST.get("film", ""),
                kind=request.POST.get("kind", ""),
                shares=request.POST.get("sections") == "shared",
                seconds=_whole(request.POST.get("seconds", "")),
                who=me(request),
            )
            return note_answer(request, reverse("week:plan", args=[plan.number]))
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(here)


@never_cache
@require_safe
def plan(request: HttpRequest, plan: int) -> HttpResponse:
    """One plan: live while it is searched for, then what comes from what."""
    found = Plan.objects.select_related("computation", "shapes", "made_by", "settled_by")
    row = found.filter(number=plan).first()
    if row is None:
        raise Http404("There is no such plan.")
    who = me(request)
    context = plan_context(row, the_shop(), sees_costs=who is not None and who.is_owner)
    return render(request, "week/plan.html", context)


@never_cache
@require_safe
def ready(_request: HttpRequest, plan: int) -> HttpResponse:
    """Nothing while a plan is searched for; once it is over its page is asked for anew."""
    row = Plan.objects.select_related("computation").filter(number=plan).first()
    if row is None:
        raise Http404("There is no such plan.")
    answer = HttpResponse(status=204)
    if row.computation is None or row.computation.is_over:
        answer.headers["HX-Refresh"] = "true"
    return answer


@only(Role.COUNTER)
@require_POST
def keep(request: HttpRequest, plan: int) -> HttpResponse:
    """Keep a plan; its parts become layouts of the jobs."""
    return _change(request, plan, lambda row: keeping.keep(row, who=me(request)))


@only(Role.COUNTER)
@require_POST
def drop(request: HttpRequest, plan: int) -> HttpResponse:
    """Use a plan no further."""
    return _change(request, plan, lambda row: keeping.drop(row, who=me(request)))


def _change(request: HttpRequest, number: int, act: Callable[[Plan], None]) -> HttpResponse:
    here = reverse("week:plan", args=[number])
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=here)
            if before is not None:
                return before
            act(keeping.locked_plan(number))
    except LayflatError as error:
        messages.error(request, str(error))
    return HttpResponseRedirect(here)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 12 else 0
