"""Each form is answered once, however often a wet glove sends it."""

import uuid

from django.http import HttpRequest, HttpResponseRedirect

from layflat.base import InputError
from layflat.web.jobs.models import AnsweredForm
from layflat.web.people.gate import me

FIELD = "once"


def new_token() -> str:
    """A token for one form on one page."""
    return uuid.uuid4().hex


def answered_before(request: HttpRequest, *, went_to: str = "") -> HttpResponseRedirect | None:
    """Claim the form's token; the first answer's redirect when somebody was quicker.

    Call it within the transaction that makes the change: a second sender waits at the token's row
    until the first is through. A change that fails frees the token again.

    Raises:
        InputError: the form carries no token.
    """
    token = _token(request)
    row, is_new = AnsweredForm.objects.get_or_create(
        token=token, defaults={"went_to": went_to, "who": me(request)}
    )
    return None if is_new else HttpResponseRedirect(row.went_to)


def earlier_answer(request: HttpRequest) -> HttpResponseRedirect | None:
    """The first answer's redirect, without claiming the token.

    For forms whose answer may be a page that asks again; the job's lock keeps others from the token
    in the meantime.

    Raises:
        InputError: the form carries no token.
    """
    row = AnsweredForm.objects.filter(token=_token(request)).first()
    return None if row is None else HttpResponseRedirect(row.went_to)


def _token(request: HttpRequest) -> str:
    token = request.POST.get(FIELD, "")
    if len(token) != len(uuid.UUID(int=0).hex) or not token.isalnum():
        raise InputError("This page is out of date; open it anew and send it again.")
    return token


def note_answer(request: HttpRequest, went_to: str) -> HttpResponseRedirect:
    """The redirect to *went_to*, kept for whoever sends the same form again."""
    AnsweredForm.objects.filter(token=request.POST.get(FIELD, "")).update(went_to=went_to)
    return HttpResponseRedirect(went_to)
