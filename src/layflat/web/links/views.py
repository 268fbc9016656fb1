"""What a customer opens through a private link about the vehicle."""

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from layflat.base import LayflatError
from layflat.web.files.sending import sent
from layflat.web.jobs.once import answered_before
from layflat.web.jobs.views.common import locked_job
from layflat.web.jobs.walk_round import acknowledge
from layflat.web.jobs.warned import warned_of
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.pages import private
from layflat.web.links.private import note_opened, token_of
from layflat.web.people.models import Person

THROUGH = "through a private link"


@require_http_methods(["GET", "HEAD", "POST"])
@private(Purpose.WARNINGS)
def warnings(request: HttpRequest, link: PrivateLink) -> HttpResponse:
    """The warnings that come with the vehicle's faults, to read and acknowledge."""
    refused, job, token = "", link.job, token_of(link)
    ticked = [int(value) for value in request.POST.getlist("fault") if _is_number(value)]
    typed = request.POST.get("name", "")[:80]
    if request.method == "POST":
        to = reverse("links:warnings", args=[token])
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=to)
                if before is not None:
                    return before
                held = locked_job(job.number)
                acknowledge(held, ticked, name=typed, who=None, through=THROUGH)
        except LayflatError as error:
            refused = str(error)
        else:
            return HttpResponseRedirect(to)
    elif not isinstance(request.user, Person):
        note_opened(link)
    context = {
        "job": job,
        "token": token,
        "refused": refused,
        "ticked": ticked,
        "typed": typed,
        **warned_of(job, lambda fault, _: reverse("links:picture", args=[token, fault])),
    }
    return render(request, "links/warnings.html", context)


def _is_number(value: str) -> bool:
    return value.isdecimal() and len(value) < 10


@require_safe
@private(Purpose.WARNINGS)
def picture(_request: HttpRequest, link: PrivateLink, fault: int) -> HttpResponse:
    """The small picture of a fault that carries a warning."""
    found = (
        link.job.faults.select_related("thumb")
        .filter(number=fault, is_warning=True, is_withdrawn=False)
        .first()
    )
    if found is None:
        raise Http404("There is no such picture.")
    return sent(found.thumb)
