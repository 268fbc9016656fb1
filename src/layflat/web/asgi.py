"""The app for an ASGI server."""

import gc
import os
from collections.abc import AsyncIterator, Iterator
from itertools import count, islice
from typing import Any, cast

import django
from asgiref.sync import sync_to_async
from django.conf import settings
from django.core.checks.urls import check_url_config
from django.core.handlers.asgi import ASGIHandler
from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

_CHUNKS = 16
"""Chunks of a file, of 4 kB each in Django, that are read at once."""

_YOUNG = 100_000
"""Objects made before the garbage collector steps in by itself; a page makes up to about 50,000."""
_WHOLE_EVERY = 50
"""Answers between two searches of everything for garbage."""


class Handler(ASGIHandler):
    """Django's own, but files are sent piece by piece.

    Django's and WhiteNoise's responses with a file are synchronous iterators, which Django's own
    handler reads whole into memory, with a warning, before it sends the first byte. Here they are
    read in a thread as they are sent.
    """

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, and then look for garbage: nobody waits for that."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            tidy()

    async def get_response_async(self, request: HttpRequest) -> HttpResponseBase:
        """The answer to a request."""
        answer = await super().get_response_async(request)
        if isinstance(answer, StreamingHttpResponse) and not answer.is_async:
            chunks = cast(Iterator[bytes], answer.streaming_content)
            # The file stays among what the response closes at its end.
            answer.streaming_content = _read(chunks)
        return answer


async def _read(chunks: Iterator[bytes]) -> AsyncIterator[bytes]:
    take = sync_to_async(lambda: b"".join(islice(chunks, _CHUNKS)))
    while piece := await take():
        yield piece


def behind_proxies() -> ProxyHeadersMiddleware:
    """The app, which believes the web servers of the settings what they say of HTTPS.

    Here and not in the ASGI server, whose own defaults would believe others.
    """
    return ProxyHeadersMiddleware(Handler(), trusted_hosts=settings.PROXIES)


def settle() -> None:
    """Load every page's code, and take it from what the garbage collector looks through.

    It stays until the server ends. Looking through it again and again held single answers up for
    a tenth of a second and more.
    """
    check_url_config(None)
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, *gc.get_threshold()[1:])


_answers = count(1)


def tidy() -> None:
    """Look for garbage, now that an answer is out.

    Left to itself the collector stops in the middle of answers, for up to a tenth of a second.
    """
    gc.collect(2 if next(_answers) % _WHOLE_EVERY == 0 else 1)


os.environ.setdefault("DJANGO_SETTINGS_MODULE", "layflat.web.settings")
django.setup(set_prefix=False)
application = behind_proxies()
settle()
