"""Files of a piece and of an outcome that pages show.

Each is asked for by its job, cover, outcome and number, so that an address names one content for
good; whoever may look at a job may look at them.
"""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from layflat.web.files.sending import sent_once
from layflat.web.fit.found import the_outcome, the_piece

_MAP_POLICY = "default-src 'none'; img-src data:; sandbox"
"""A map is a picture: opened by itself it may load and run nothing."""


@require_safe
def surface(
    request: HttpRequest, number: str, cover: int, outcome: int, piece: int
) -> HttpResponse:
    """The piece on the panel as GLB, coloured by strain."""
    return sent_once(request, the_piece(number, cover, outcome, piece).surface)


@require_safe
def flat(request: HttpRequest, number: str, cover: int, outcome: int, piece: int) -> HttpResponse:
    """The same triangles in the flat as JSON."""
    return sent_once(request, the_piece(number, cover, outcome, piece).flat)


@require_safe
def strain_map(
    request: HttpRequest, number: str, cover: int, outcome: int, piece: int
) -> HttpResponse:
    """The flat pattern with its strain as SVG."""
    response = sent_once(request, the_piece(number, cover, outcome, piece).map)
    response["Content-Security-Policy"] = _MAP_POLICY
    return response


@require_safe
def plan(request: HttpRequest, number: str, cover: int, outcome: int, piece: int) -> HttpResponse:
    """How the piece is laid as SVG."""
    found = the_piece(number, cover, outcome, piece).plan
    if found is None:
        raise Http404("How this piece is laid was not computed.")
    response = sent_once(request, found)
    response["Content-Security-Policy"] = _MAP_POLICY
    return response


@require_safe
def vehicle(request: HttpRequest, number: str, cover: int, outcome: int) -> HttpResponse:
    """The vehicle with its film as GLB."""
    return sent_once(request, the_outcome(number, cover, outcome).shown)


@require_safe
def lines(request: HttpRequest, number: str, cover: int, outcome: int) -> HttpResponse:
    """What is drawn over it as JSON."""
    return sent_once(request, the_outcome(number, cover, outcome).lines)


@require_safe
def picture(request: HttpRequest, number: str, cover: int, outcome: int) -> HttpResponse:
    """A picture of it as PNG."""
    return sent_once(request, the_outcome(number, cover, outcome).picture)
