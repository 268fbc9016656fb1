"""Signing in, people, the shop."""

import zoneinfo

from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from layflat.base import InputError
from layflat.web.people.forms import (
    FirstStartForm,
    OwnPasswordForm,
    PasswordForm,
    PersonForm,
    RoleForm,
    ShopForm,
    SignInForm,
    seen_mark,
)
from layflat.web.people.gate import me, only, open_to_strangers
from layflat.web.people.leading import next_of
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import the_shop
from layflat.web.people.staff import (
    allow_sign_in,
    change_own_password,
    change_role,
    set_password,
)
from layflat.web.record.models import write_event

_MAY = {
    Role.OWNER: "everything, with prices, margins and people",
    Role.COUNTER: "customers, vehicles, covers and offers",
    Role.INSTALLER: "walk-rounds, bodies and the bay",
}
"""What each role is for, in words."""


@open_to_strangers
@sensitive_post_parameters("password")
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
        messages.success(
            request, f"{the_shop().name} is open. Under “Shop” you add people and set prices."
        )
        return redirect("board:board")
    return render(request, "people/first_start.html", {"form": form})


@open_to_strangers
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Lets a person in."""
    if not Person.objects.exists():
        return redirect("people:first-start")
    lead_to = next_of(request, otherwise=reverse("board:board"))
    data = request.POST.copy() if request.method == "POST" else None
    if data is not None:
        data["username"] = data.get("username", "").strip().lower()
    form = SignInForm(request, data=data)
    if data is not None and form.is_valid():
        login(request, form.get_user())
        return HttpResponseRedirect(lead_to)
    return render(request, "people/sign_in.html", {"form": form, "next": lead_to})


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Lets a person out."""
    logout(request)
    return redirect("people:sign-in")


@sensitive_post_parameters("old", "password", "again")
@require_http_methods(["GET", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """One's own password; wherever else the old one was used, the person is signed out."""
    person = me(request)
    if person is None:
        raise PermissionDenied
    form = OwnPasswordForm(person, request.POST if request.method == "POST" else None)
    if form.is_valid():
        data = form.cleaned_data
        try:
            changed = change_own_password(person.pk, old=data["old"], new=data["password"])
        except InputError as error:
            form.add_error(None, str(error))
        else:
            update_session_auth_hash(request, changed)
            messages.success(
                request, "Your new password holds. Other devices must sign in with it."
            )
            return redirect("people:password")
    return render(request, "people/password.html", {"part": "password", "form": form})


@only()
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """The shop's settings and its people; for the owner."""
    asked = request.POST.get("form", "")
    shop_form = ShopForm(request.POST if asked == "shop" else None, instance=the_shop())
    person_form = PersonForm(request.POST if asked == "person" else None)
    if asked == "shop" and shop_form.is_valid() and _save_shop(request, shop_form):
        return redirect("people:people")
    if asked == "person" and person_form.is_valid():
        with transaction.atomic():
            added = person_form.save()
            write_event(
                "person.added", f"{added.shown} was added as {added.role}.", who=me(request)
            )
        messages.success(request, f"{added.shown} can sign in as {added.name}.")
        return redirect("people:people")
    context = {
        "part": "people",
        "shop_form": shop_form,
        "person_form": person_form,
        "people": [
            (person, _MAY[Role(person.role)])
            for person in Person.objects.order_by("-is_active", "shown")
        ],
        "time_zones": sorted(zoneinfo.available_timezones()),
    }
    return render(request, "people/people.html", context)


def _save_shop(request: HttpRequest, form: ShopForm) -> bool:
    """Save the settings, unless somebody else did since the page was opened; then say so."""
    with transaction.atomic():
        now = Shop.objects.select_for_update().first()
        if now is not None and form.cleaned_data["seen"] != seen_mark(now):
            form.look_again(now)
            return False
        form.save()
        names = ", ".join(form.changed_labels()) or "nothing"
        write_event("shop.changed", f"The shop's settings were changed: {names}.", who=me(request))
    messages.success(request, "The shop's settings are saved.")
    return True


@only()
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, key: int) -> HttpResponse:
    """One person: role, signing in, password; for the owner."""
    somebody = get_object_or_404(Person, pk=key)
    asked = request.POST.get("form", "")
    role_form = RoleForm(request.POST if asked == "role" else None, initial={"role": somebody.role})
    password_form = PasswordForm(somebody, request.POST if asked == "password" else None)
    said = ""
    try:
        if asked == "role" and role_form.is_valid():
            role = Role(role_form.cleaned_data["role"])
            change_role(key, role, who=me(request))
            said = f"{somebody.shown} is {role.label.lower()} now."
        elif asked == "password" and password_form.is_valid():
            set_password(key, password_form.cleaned_data["password"], who=me(request))
            said = f"{somebody.shown} has a new password and signs in with it from now on."
        elif asked == "activity":
            allowed = request.POST.get("allowed", "") == "yes"
            allow_sign_in(key, allowed=allowed, who=me(request))
            said = f"{somebody.shown} may {'sign in again' if allowed else 'no longer sign in'}."
    except InputError as error:
        messages.error(request, str(error))
        return redirect("people:person", key)
    if said:
        messages.success(request, said)
        return redirect("people:people")
    context = {
        "part": "people",
        "person": somebody,
        "role_form": role_form,
        "password_form": password_form,
        "roles": [(role, _MAY[role]) for role in Role],
    }
    return render(request, "people/person.html", context)
