"""The web servers before the app whose word is taken that a request came through HTTPS."""

import ipaddress
import logging
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from layflat.base import SettingError

VARIABLE = "LAYFLAT_PROXY"
"""The environment variable that names them."""
_FORWARDED = "X-Forwarded-Proto"
logger = logging.getLogger("django.layflat.proxies")


def proxies(names: str) -> list[str]:
    """Addresses and networks from a list by commas, such as "10.0.0.7, 10.1.0.0/24".

    Raises:
        SettingError: one of them is none.
    """
    found = [name.strip() for name in names.split(",") if name.strip()]
    for name in found:
        try:
            ipaddress.ip_network(name)
        except ValueError as error:
            raise SettingError(
                f"{VARIABLE} names “{name}”, which is no address and no network; write such as "
                "10.0.0.7 or 10.0.0.0/24, several by commas."
            ) from error
    return found


class SayWhichProxy:
    """Answers what would be sent from HTTPS to HTTPS for ever, with what is to be set.

    A web server says that the request came through HTTPS, but is none that the app was told of.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Hand the request on, or say why not."""
        is_said = request.headers.get(_FORWARDED, "") == "https"
        if not is_said or request.is_secure() or not settings.SECURE_SSL_REDIRECT:
            return self.get_response(request)
        who = request.META.get("REMOTE_ADDR", "")
        sentence = (
            f"The web server at {who} says that this request came through HTTPS, and Layflat was "
            f"not told to believe it: add {who} to {VARIABLE} and start Layflat again."
        )
        logger.error(sentence)
        # Without the look: its files could not be had either.
        return HttpResponse(sentence + "\n", status=400, content_type="text/plain; charset=utf-8")
