"""What every private page shares: who may open it, its headers, and the page for all others."""

import functools
from collections.abc import Callable
from typing import Concatenate, ParamSpec

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt

from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import find
from layflat.web.people.gate import open_to_strangers

_P = ParamSpec("_P")
_Inner = Callable[Concatenate[HttpRequest, PrivateLink, _P], HttpResponse]
_Outer = Callable[..., HttpResponse]
_HEADERS = {
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store, private",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
}


def private(purpose: Purpose) -> Callable[[_Inner[_P]], _Outer]:
    """Marks a view that a private link opens; the view gets the link in place of the token.

    No cookie counts here: the token in the address is all the authority there is, so nobody's
    session can be ridden on, and a page that sends no referrer sends no origin to check either.
    Whatever is not there looks the same as a link that nobody knows.
    """

    def mark(view: _Inner[_P]) -> _Outer:
        @open_to_strangers
        @csrf_exempt
        @functools.wraps(view)
        def opened(
            request: HttpRequest, token: str, *args: _P.args, **kwargs: _P.kwargs
        ) -> HttpResponse:
            link = find(token, purpose)
            try:
                answer = nothing(request) if link is None else view(request, link, *args, **kwargs)
            except Http404:
                answer = nothing(request)
            for name, value in _HEADERS.items():
                answer[name] = value
            return answer

        return opened

    return mark


def nothing(request: HttpRequest) -> HttpResponse:
    """The page for every link that opens nothing, whatever the cause."""
    return render(request, "links/nothing.html", status=404)
