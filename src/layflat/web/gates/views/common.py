"""What the views of this part share."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from layflat.web.people.gate import me
from layflat.web.people.models import Person


def doer(request: HttpRequest) -> Person:
    """Who is signed in.

    Raises:
        PermissionDenied: nobody; the gate lets no stranger so far.
    """
    person = me(request)
    if person is None:
        raise PermissionDenied
    return person
