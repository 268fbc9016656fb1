"""Files of a revision that pages show."""

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.views.decorators.http import require_safe

from layflat.web.bodies.models import Revision
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of


@require_safe
def light(request: HttpRequest, pk: int) -> HttpResponse:
    """The body as GLB."""
    return kept_content(request, _revision(pk, "light").light)


@require_safe
def lines(request: HttpRequest, pk: int) -> HttpResponse:
    """Its panels, edges and keep-outs as JSON."""
    return kept_content(request, _revision(pk, "lines").lines)


@require_safe
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """A picture of it."""
    return kept_content(request, _revision(pk, "picture").picture)


def _revision(pk: int, field: str) -> Revision:
    return get_object_or_404(Revision.objects.select_related(field), pk=pk)


def kept_content(request: HttpRequest, stored: StoredFile | None) -> HttpResponse:
    """A kept content; a browser that has it gets none of it again.

    Raises:
        Http404: there is none, or it is no longer in the data folder.
    """
    if stored is None:
        raise Http404("The body is not prepared yet.")
    etag = quote_etag(stored.sha256)
    response: HttpResponse | HttpResponseNotModified | None
    response = get_conditional_response(request, etag=etag)
    if response is None:
        # Read whole: these files are a few megabytes, and whole answers may be compressed.
        try:
            data = path_of(stored.sha256).read_bytes()
        except OSError as error:
            raise Http404("The file is no longer in the data folder.") from error
        response = HttpResponse(data, content_type=stored.media_type)
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    return response
