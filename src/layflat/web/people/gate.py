"""Who may open what: everything is closed to strangers unless a view says otherwise."""

from collections.abc import Callable
from typing import Any, TypeVar
from urllib.parse import urlsplit, urlunsplit

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from layflat.web.people.models import Person, Role

View = TypeVar("View", bound=Callable[..., HttpResponseBase])
_OPEN = "open_to_strangers"
_ROLES = "open_to_roles"


def me(request: HttpRequest) -> Person | None:
    """The person who acts; None for a stranger."""
    return request.user if isinstance(request.user, Person) else None


def open_to_strangers(view: View) -> View:
    """Marks a view that needs no sign-in, such as a customer's private link."""
    setattr(view, _OPEN, True)
    return view


def only(*roles: Role) -> Callable[[View], View]:
    """Marks a view that only some roles may open; the owner always may."""

    def mark(view: View) -> View:
        setattr(view, _ROLES, frozenset({Role.OWNER, *roles}))
        return view

    return mark


class SignInGate:
    """Asks strangers to sign in, and refuses views to roles that they are not for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Hand the request on; the gate closes once the view is known."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], _args: Any, _kwargs: Any
    ) -> HttpResponseBase | None:
        """Let the request through, send it to sign-in, or refuse it."""
        if getattr(view, _OPEN, False):
            return None
        if not isinstance(request.user, Person):
            return _to_sign_in(request)
        roles = getattr(view, _ROLES, None)
        if roles is not None and request.user.role not in roles:
            raise PermissionDenied
        return None


def _to_sign_in(request: HttpRequest) -> HttpResponseBase:
    """To sign-in, and from there back; a page that asked for a part of itself goes as a whole."""
    if request.headers.get("HX-Request") != "true":
        return redirect_to_login(request.get_full_path())
    page = urlsplit(request.headers.get("HX-Current-URL", ""))
    place = urlunsplit(("", "", page.path or "/", page.query, ""))
    whole = redirect_to_login(place)
    return HttpResponse(status=204, headers={"HX-Redirect": whole.url})
