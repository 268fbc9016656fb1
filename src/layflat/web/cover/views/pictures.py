"""Pictures of covers: the vehicle with its film, and the layout on the roll."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from layflat.base import LayflatError
from layflat.web.cover.choices import from_json
from layflat.web.cover.models import Outcome
from layflat.web.cover.shown import choices_word, picture
from layflat.web.cover.views.common import the_cover
from layflat.web.files.sending import sent_once
from layflat.web.jobs.views.common import the_job

_PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"
"""A layout is a picture: opened by itself it may load and run nothing."""


@require_safe
def vehicle(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """The vehicle with what is chosen in chalk."""
    found = the_cover(the_job(number), cover)
    choices = from_json(found.choices)
    try:
        data = picture(found.body, choices)
    except LayflatError as error:
        raise Http404(str(error)) from error
    # An address that carries the word for these choices has this picture for good.
    is_named = request.GET.get("of") == choices_word(choices)
    kept = "private, max-age=86400" if is_named else "no-store"
    return HttpResponse(data, content_type="image/png", headers={"Cache-Control": kept})


@require_safe
def layout(request: HttpRequest, number: str, cover: int, outcome: int) -> HttpResponse:
    """The pieces on the roll as SVG."""
    found = get_object_or_404(
        Outcome.objects.select_related("layout"),
        cover__job__number=number,
        cover__number=cover,
        number=outcome,
    )
    response = sent_once(request, found.layout)
    response["Content-Security-Policy"] = _PICTURE_POLICY
    return response
