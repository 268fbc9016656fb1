"""Refusing text that no keyboard writes and PostgreSQL does not hold: the sign of number 0."""

from collections.abc import Callable
from typing import Any

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse

_NUL = "\x00"


class RefuseNul:
    """Answers a request with a NUL in its address, its question or its form as not understood."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Hand the request on; it is looked at once its form may be read."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, _view: Callable[..., Any], _args: Any, _kwargs: Any
    ) -> None:
        """Refuse it, or let it through."""
        texts = [request.path]
        for data in (request.GET, request.POST):
            for name, values in data.lists():
                texts += [name, *map(str, values)]
        if any(_NUL in text for text in texts):
            raise SuspiciousOperation("A text holds a NUL.")
