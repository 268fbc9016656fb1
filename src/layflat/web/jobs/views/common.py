"""What the views of this part share: who acts, the job, and one way to make a change."""

from collections.abc import Callable

from django.contrib import messages
from django.db import transaction
from django.db.models import Expression
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from layflat.base import LayflatError
from layflat.web.jobs.models import Job
from layflat.web.jobs.once import answered_before


def the_job(number: str, **columns: Expression) -> Job:
    """A job with its vehicle, customer and holder.

    Args:
        number: of the job.
        columns: more attributes to read along with it, by their names.

    Raises:
        Http404: there is none of that number.
    """
    found = (
        Job.objects.select_related("vehicle__customer", "vehicle__body__body", "assigned")
        .annotate(**columns)
        .filter(number=number)
        .first()
    )
    if found is None:
        raise Http404(f"There is no job {number}.")
    return found


def locked_job(number: str) -> Job:
    """A job that nobody else changes until the transaction ends.

    Raises:
        Http404: there is none of that number.
    """
    found = Job.objects.select_for_update().filter(number=number).first()
    if found is None:
        raise Http404(f"There is no job {number}.")
    return found


def address(name: str, number: str, *more: object) -> str:
    """An address of this part for one job."""
    return reverse(f"jobs:{name}", args=[number, *more])


def change(
    request: HttpRequest,
    number: str,
    act: Callable[[Job], object],
    *,
    to: str,
    said: str = "",
    back_to: str = "",
) -> HttpResponse:
    """Make a change once, in one transaction, and lead on.

    Args:
        request: a POST with the form's token.
        number: of the job, which is locked for *act*.
        act: makes the change; its `LayflatError` is told to the person and nothing is changed.
        to: where to lead afterwards.
        said: what to say when it is done.
        back_to: where to lead when it cannot be done, if elsewhere.
    """
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            act(locked_job(number))
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(back_to or to)
    if said:
        messages.success(request, said)
    return HttpResponseRedirect(to)
