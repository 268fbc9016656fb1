"""A job's private links, for the counter."""

from typing import Final

from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.jobs.views.common import change, the_job
from layflat.web.links.listing import shown_links
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import DAYS, MOST_DAYS, make, revoke
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role

_MADE_HERE: Final = (Purpose.OFFER, Purpose.WARNINGS)
"""A passport's link is made where the car is handed back."""


@only(Role.COUNTER)
@require_safe
def links(request: HttpRequest, number: str) -> HttpResponse:
    """All links of a job: how often each was opened, to copy, to take back, to make anew."""
    job = the_job(number)
    context = {
        "part": "job",
        "job": job,
        "links": shown_links(request, job),
        "purposes": [(purpose.value, purpose.label) for purpose in _MADE_HERE],
        "days": DAYS,
        "most_days": MOST_DAYS,
    }
    return render(request, "links/links.html", context)


@only(Role.COUNTER)
@require_POST
def make_link(request: HttpRequest, number: str) -> HttpResponse:
    """Makes a link."""
    typed, wanted = request.POST.get("days", ""), request.POST.get("purpose", "")

    def act(job: Job) -> Model:
        if wanted not in _MADE_HERE:
            raise InputError("Choose what the link shall open.")
        days = int(typed) if typed.isdecimal() and len(typed) < 5 else 0
        return make(job, Purpose(wanted), days=days, who=me(request))

    return change(
        request, number, act, to=_back(request, number), said="The link is made; copy it below."
    )


@only(Role.COUNTER)
@require_POST
def revoke_link(request: HttpRequest, number: str, link: int) -> HttpResponse:
    """Takes a link back."""
    found = PrivateLink.objects.filter(pk=link, job__number=number).first()
    if found is None:
        raise Http404("There is no such link.")

    def act(_job: Job) -> None:
        revoke(found, who=me(request))

    return change(
        request,
        number,
        act,
        to=_back(request, number),
        said="The link is taken back; whoever opens it reads whom to ask.",
    )


def _back(request: HttpRequest, number: str) -> str:
    """To the page that the form stands on."""
    is_offer = request.POST.get("page") == "offer"
    return reverse("offer:offer" if is_offer else "links:links", args=[number]) + "#links"
