"""Working hours, places, and feeds of the calendar."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from layflat.base import InputError
from layflat.web.diary import feeds as feed_rows
from layflat.web.diary.forms import HoursForm, PlaceForm
from layflat.web.diary.hours import hours_of, set_hours
from layflat.web.diary.models import Place, WorkDay
from layflat.web.diary.suggest import places
from layflat.web.diary.views.common import change, doer
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """The shop's hours and places; adds a place."""
    form = PlaceForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        name, kind = form.cleaned_data["name"], form.cleaned_data["kind"]

        def add() -> None:
            made = Place.objects.create(name=name, kind=kind)
            write_event(
                "calendar.place-added",
                f"{name} was added as a {Place.Kind(kind).label}.",
                who=doer(request),
                after={"place": made.pk},
            )

        return change(request, add, to=reverse("diary:settings"), said=f"{name} is there.")
    return _page(request, form, HoursForm(hours=hours_of(the_shop())))


def _page(request: HttpRequest, form: PlaceForm, hours_form: HoursForm) -> HttpResponse:
    places()
    found = list(Place.objects.all())
    context = {
        "part": "calendar",
        "form": form,
        "hours": hours_form,
        "is_default": not WorkDay.objects.exists(),
        "places": [place for place in found if not place.is_retired],
        "retired": [place for place in found if place.is_retired],
    }
    return render(request, "diary/settings.html", context)


@only(Role.COUNTER)
@require_POST
def hours(request: HttpRequest) -> HttpResponse:
    """Sets the working hours."""
    form = HoursForm(request.POST, hours=hours_of(the_shop()))
    if form.is_valid():
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=reverse("diary:settings"))
                if before is not None:
                    return before
                set_hours(form.days(), who=doer(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The working hours hold from now on.")
            return HttpResponseRedirect(reverse("diary:settings"))
    return _page(request, PlaceForm(), form)


@only(Role.COUNTER)
@require_POST
def place(request: HttpRequest, place: int) -> HttpResponse:
    """Has a place no longer, or again, in use."""
    is_retired = request.POST.get("retired") == "yes"

    def act() -> None:
        found = Place.objects.select_for_update().filter(pk=place).first()
        if found is None:
            raise InputError("There is no such place.")
        if found.is_retired == is_retired:
            return
        found.is_retired = is_retired
        found.save(update_fields=["is_retired"])
        words = "is no longer in use" if is_retired else "is in use again"
        write_event(
            "calendar.place-retired",
            f"{found.name} {words}.",
            who=doer(request),
            after={"place": place},
        )

    return change(request, act, to=reverse("diary:settings"))


@require_http_methods(["GET", "HEAD", "POST"])
def feeds(request: HttpRequest) -> HttpResponse:
    """One's own feed and, for counter and owner, the shop's; makes one."""
    person = doer(request)
    if request.method == "POST":
        is_shop = request.POST.get("whose") == "shop" and person.keeps_counter

        def act() -> None:
            feed_rows.make(None if is_shop else person, who=person)

        return change(
            request, act, to=reverse("diary:feeds"), said="The feed is made; copy its address."
        )
    context = {
        "part": "calendar",
        "feeds": [(feed, feed_rows.address(request, feed)) for feed in feed_rows.feeds_of(person)],
        "keeps_counter": person.keeps_counter,
    }
    return render(request, "diary/feeds.html", context)


@require_POST
def revoke(request: HttpRequest, link: int) -> HttpResponse:
    """Takes a feed back."""
    return change(
        request,
        lambda: feed_rows.revoke(link, who=doer(request)),
        to=reverse("diary:feeds"),
        said="The feed answers no more.",
    )
