"""The library of bodies."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from layflat.web.bodies.models import Body


@require_safe
def library(request: HttpRequest) -> HttpResponse:
    """Every body that the shop knows."""
    bodies = Body.objects.filter(is_retired=False)
    return render(request, "bodies/library.html", {"part": "bodies", "bodies": bodies})
