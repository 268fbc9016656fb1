"""The page of a job in the bay, and the worker that opens it again without the network."""

from functools import cache
from pathlib import Path
from typing import Final

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from layflat.web.bay.page import HERE, tabs
from layflat.web.jobs.stages import next_step_of
from layflat.web.jobs.views.common import the_job
from layflat.web.people.gate import me
from layflat.web.people.shop import shop_held
from layflat.web.taps.listing import unsettled_of_job

_WORKER: Final = "static/layflat/bay/worker.js"


@require_safe
def bay(request: HttpRequest, number: str) -> HttpResponse:
    """All that the bay needs of one job."""
    person = me(request)
    if person is None:
        raise PermissionDenied
    job = the_job(number, refused=unsettled_of_job())
    is_here = job.stage in HERE
    with shop_held():
        context = {
            "part": "jobs",
            "job": job,
            "tabs": tabs(job, person),
            "is_here": is_here,
            "step": None if is_here else next_step_of(job),
        }
        answer = render(request, "bay/bay.html", context)
    answer["Cache-Control"] = "private, no-cache"
    return answer


@require_safe
def worker(_request: HttpRequest) -> HttpResponse:
    """The service worker; from here, since its reach is what lies below its own address."""
    answer = HttpResponse(_worker(), content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    return answer


@cache
def _worker() -> bytes:
    return (Path(settings.HERE) / _WORKER).read_bytes()
