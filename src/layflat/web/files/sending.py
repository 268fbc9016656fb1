"""Kept contents as answers."""

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag

from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of

_DRAWING_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


def sent(stored: StoredFile | None, *, name: str = "") -> HttpResponse:
    """A kept content, as it is.

    Args:
        stored: the file.
        name: under which browsers keep it; "" to leave that to them.

    Raises:
        Http404: there is none, or it is no longer in the data folder.
    """
    if stored is None:
        raise Http404("There is no such file.")
    # Read whole: these files are a few megabytes, and whole answers may be compressed.
    try:
        data = path_of(stored.sha256).read_bytes()
    except OSError as error:
        raise Http404("The file is no longer in the data folder.") from error
    headers = {"Content-Disposition": f'inline; filename="{name}"'} if name else {}
    return HttpResponse(data, content_type=stored.media_type, headers=headers)


def sent_once(request: HttpRequest, stored: StoredFile | None) -> HttpResponse:
    """A kept content for people of the shop; a browser that has it gets none of it again.

    Raises:
        Http404: there is none, or it is no longer in the data folder.
    """
    if stored is None:
        raise Http404("There is no such file.")
    etag = quote_etag(stored.sha256)
    response: HttpResponse | HttpResponseNotModified | None
    response = get_conditional_response(request, etag=etag)
    if response is None:
        response = sent(stored)
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    return response


def as_drawing(answer: HttpResponse) -> HttpResponse:
    """The answer, an SVG; a picture that is opened by itself may load and run nothing."""
    answer["Content-Security-Policy"] = _DRAWING_POLICY
    return answer
