"""The board: every open job by where it stands."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from layflat.web.jobs.models import Job, Stage


@require_safe
def board(request: HttpRequest) -> HttpResponse:
    """The home page."""
    jobs = Job.objects.exclude(stage=Stage.CLOSED).select_related("vehicle__customer", "assigned")
    columns = [(stage, [job for job in jobs if job.stage == stage]) for stage in Stage][:-1]
    return render(request, "board/board.html", {"part": "board", "columns": columns})
