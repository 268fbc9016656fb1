"""Saving a cover as a starting point, and retiring one."""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from layflat.web.cover.changing import locked_cover
from layflat.web.cover.models import SavedCover
from layflat.web.cover.saved import save_cover, set_retired
from layflat.web.cover.views.common import cover_address
from layflat.web.jobs.models import Job
from layflat.web.jobs.views.common import change, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role


@only(Role.COUNTER)
@require_POST
def save(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Keeps what an alternative covers as a starting point for other jobs."""

    def act(job: Job) -> None:
        save_cover(locked_cover(job, cover), title=request.POST.get("title", ""), who=me(request))

    return change(
        request,
        number,
        act,
        to=cover_address("compare", the_job(number)),
        said="Saved; other jobs on this body can begin from it.",
    )


@only(Role.COUNTER)
@require_POST
def retire(request: HttpRequest, number: str, saved: int) -> HttpResponse:
    """Shows a saved cover of the job's body no longer, or again."""
    is_retired = request.POST.get("retired") == "yes"

    def act(job: Job) -> None:
        rows = SavedCover.objects.select_for_update(of=("self",)).select_related("body")
        found = rows.filter(pk=saved, body__revisions=job.vehicle.body_id).first()
        if found is None:
            raise Http404("There is no such saved cover.")
        set_retired(found, is_retired=is_retired, who=me(request))

    return change(
        request,
        number,
        act,
        to=cover_address("cover", the_job(number)),
        said="It is retired." if is_retired else "It is shown again.",
    )
