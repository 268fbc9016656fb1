"""Signing in, people, the shop."""

from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth.forms import AuthenticationForm
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST

from layflat.web.people.forms import FirstStartForm, PersonForm, ShopForm
from layflat.web.people.gate import only, open_to_strangers
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event


@open_to_strangers
@require_http_methods(["GET", "POST"])
def first_start(request: HttpRequest) -> HttpResponse:
    """Asks for the shop and its owner, once."""
    if Person.objects.exists():
        return redirect("people:sign-in")
    form = FirstStartForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with transaction.atomic():
            owner = form.save()
            write_event("shop.opened", "The shop was opened.", who=owner)
        login(request, owner)
        return redirect("board:board")
    return render(request, "people/first_start.html", {"form": form})


@open_to_strangers
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Lets a person in."""
    if not Person.objects.exists():
        return redirect("people:first-start")
    data = request.POST.copy() if request.method == "POST" else None
    if data is not None:
        data["username"] = data.get("username", "").strip().lower()
    form = AuthenticationForm(request, data=data)
    if data is not None and form.is_valid():
        login(request, form.get_user())
        return HttpResponseRedirect(_next(request))
    return render(request, "people/sign_in.html", {"form": form, "next": _next(request)})


def _next(request: HttpRequest) -> str:
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    if url_has_allowed_host_and_scheme(
        wanted, {request.get_host()}, require_https=request.is_secure()
    ):
        return wanted
    return reverse("board:board")


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Lets a person out."""
    logout(request)
    return redirect("people:sign-in")


@only()
@require_http_methods(["GET", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """The shop's settings and its people; for the owner."""
    shop = the_shop()
    asked = request.POST.get("form", "")
    shop_form = ShopForm(request.POST if asked == "shop" else None, instance=shop)
    person_form = PersonForm(request.POST if asked == "person" else None)
    if asked == "shop" and shop_form.is_valid():
        with transaction.atomic():
            shop_form.save()
            names = ", ".join(shop_form.changed_data)
            write_event(
                "shop.changed", f"The shop's settings were changed: {names}.", who=_me(request)
            )
        messages.success(request, "The shop's settings are saved.")
        return redirect("people:people")
    if asked == "person" and person_form.is_valid():
        with transaction.atomic():
            added = person_form.save()
            write_event(
                "person.added", f"{added.shown} was added as {added.role}.", who=_me(request)
            )
        messages.success(request, f"{added.shown} can sign in as {added.name}.")
        return redirect("people:people")
    context = {
        "part": "people",
        "shop_form": shop_form,
        "person_form": person_form,
        "people": Person.objects.order_by("-is_active", "shown"),
    }
    return render(request, "people/people.html", context)


def _me(request: HttpRequest) -> Person | None:
    return request.user if isinstance(request.user, Person) else None
