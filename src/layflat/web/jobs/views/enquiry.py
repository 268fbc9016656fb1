"""The enquiry: one page at the counter, and what it looks up while somebody types."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.jobs.enquiry import open_job
from layflat.web.jobs.finding import Known, find_bodies, find_customers, known_customer
from layflat.web.jobs.forms import EnquiryForm
from layflat.web.jobs.once import answered_before, note_answer
from layflat.web.jobs.views.common import address
from layflat.web.jobs.vin import tidied, vin_warning
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop


@only(Role.COUNTER)
@require_http_methods(["GET", "POST"])
def enquiry(request: HttpRequest) -> HttpResponse:
    """Asks for customer, vehicle, wishes and day; opens the job."""
    is_search = "find" in request.POST
    form = EnquiryForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and not is_search and form.is_valid():
        try:
            with transaction.atomic():
                before = answered_before(request)
                if before is not None:
                    return before
                job = open_job(form.enquiry(), shop=the_shop(), who=me(request))
                answer = note_answer(request, address("job", job.number))
        except LayflatError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Job {job.number} is open.")
            return answer
    if is_search:
        # What was typed stays; nothing is complained about yet.
        form = EnquiryForm(initial=request.POST.dict())
    searched, chosen = request.POST.get("customer-q", ""), request.POST.get("known", "")
    context = {
        "part": "enquiry",
        "form": form,
        "searched": searched,
        "found": _found(searched, chosen),
        "chosen": chosen,
        "body_searched": request.POST.get("body-q", ""),
        "bodies": find_bodies(request.POST.get("body-q", ""), chosen=request.POST.get("body", "")),
        "chosen_body": request.POST.get("body", ""),
    }
    return render(request, "jobs/enquiry.html", context)


def _found(searched: str, chosen: str) -> list[Known]:
    found = find_customers(searched)
    digits = chosen.removeprefix("c").partition("v")[0]
    if digits.isdecimal() and all(str(known.customer.pk) != digits for known in found):
        found = known_customer(int(digits)) + found
    return found


@only(Role.COUNTER)
@require_safe
def customers(request: HttpRequest) -> HttpResponse:
    """Customers that match what was typed so far; a fragment."""
    searched, chosen = request.GET.get("customer-q", ""), request.GET.get("known", "")
    context = {"searched": searched, "found": _found(searched, chosen), "chosen": chosen}
    return render(request, "jobs/customers.html", context)


@only(Role.COUNTER)
@require_safe
def bodies(request: HttpRequest) -> HttpResponse:
    """Bodies that match what was typed so far; a fragment."""
    searched = request.GET.get("body-q", "")
    context = {
        "body_searched": searched,
        "bodies": find_bodies(searched, chosen=request.GET.get("body", "")),
        "chosen_body": request.GET.get("body", ""),
    }
    return render(request, "jobs/bodies.html", context)


@only(Role.COUNTER)
@require_safe
def vin(request: HttpRequest) -> HttpResponse:
    """What is wrong or strange with a VIN; a fragment, empty when nothing is."""
    number = tidied(request.GET.get("vin", ""))
    error = warning = ""
    if number:
        try:
            warning = vin_warning(number)
        except InputError as refused:
            error = str(refused)
    return render(
        request, "jobs/vin.html", {"vin": number, "vin_error": error, "vin_warning": warning}
    )
