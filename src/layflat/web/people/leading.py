"""Where a form leads on to, as its page wished."""

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme


def next_of(request: HttpRequest, *, otherwise: str) -> str:
    """The address that a page or a form names as `next`, if it is one of this app.

    Args:
        request: whose form is looked at before its address.
        otherwise: where to lead if it names none.
    """
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    is_own = url_has_allowed_host_and_scheme(
        wanted, {request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_own else otherwise
