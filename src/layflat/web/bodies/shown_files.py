"""Files of a revision that pages show."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from layflat.web.bodies.models import Revision
from layflat.web.files.sending import sent_once


@require_safe
def light(request: HttpRequest, pk: int) -> HttpResponse:
    """The body as GLB."""
    return sent_once(request, _revision(pk, "light").light)


@require_safe
def lines(request: HttpRequest, pk: int) -> HttpResponse:
    """Its panels, edges and keep-outs as JSON."""
    return sent_once(request, _revision(pk, "lines").lines)


@require_safe
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """A picture of it."""
    return sent_once(request, _revision(pk, "picture").picture)


def _revision(pk: int, field: str) -> Revision:
    return get_object_or_404(Revision.objects.select_related(field), pk=pk)
