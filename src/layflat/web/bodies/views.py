"""The library of bodies."""

import hashlib
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError
from layflat.web.bodies.forms import BodyForm, ScanForm, UnitForm
from layflat.web.bodies.library import (
    add_body,
    add_without_scan,
    fill,
    fill_all,
    found,
    prepare_again,
)
from layflat.web.bodies.models import Body, Revision
from layflat.web.bodies.page import revision_page
from layflat.web.people.gate import only
from layflat.web.people.models import Person, Role
from layflat.web.record.models import write_event

_MOST_CARDS = 60


def _person(request: HttpRequest) -> Person:
    """Who is signed in; the gate lets nobody else through."""
    if not isinstance(request.user, Person):
        raise TypeError("A stranger came through the gate.")
    return request.user


@require_safe
def library(request: HttpRequest) -> HttpResponse:
    """Every body that the shop knows, or those that a search means."""
    fill_all()
    text = request.GET.get("q", "").strip()[:80]
    bodies = list(found(text)[: _MOST_CARDS + 1])
    context = {
        "part": "bodies",
        "text": text,
        "bodies": bodies[:_MOST_CARDS],
        "more": len(bodies) > _MOST_CARDS,
        "any": bool(bodies) or Body.objects.exists(),
    }
    # A search as one types needs the cards only.
    only_cards = request.headers.get("HX-Request") and not request.headers.get("HX-Boosted")
    return render(request, "bodies/cards.html" if only_cards else "bodies/library.html", context)


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A new body."""
    form = BodyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        body, is_new = add_body(form.cleaned_data, who=_person(request))
        if not is_new:
            messages.success(request, f"The library has a {body} of these words already: this one.")
        return redirect("bodies:scan", body.pk)
    return render(request, "bodies/body_form.html", {"part": "bodies", "form": form})


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Other words for a body; who began from older words is told, and keeps what was written."""
    with transaction.atomic():
        body = get_object_or_404(Body.objects.select_for_update(), pk=pk)
        now = str(body)
        before = {name: getattr(body, name) for name in BodyForm.Meta.fields}
        seen = _digest(before)
        form = BodyForm(request.POST or None, instance=body)
        if request.method == "POST" and form.is_valid():
            if request.POST.get("seen") == seen:
                form.save()
                if form.has_changed():
                    write_event(
                        "body.changed",
                        f"{body} is described anew.",
                        who=_person(request),
                        before=before,
                        after={"body": body.pk, **form.cleaned_data},
                    )
                return redirect("bodies:body", body.pk)
            words = ", ".join(str(value) for value in before.values() if value)
            form.add_error(
                None,
                f"Somebody changed this body in the meantime; it now says: {words}. Nothing of "
                "yours is lost: save again to put it in the place of that.",
            )
    context = {"part": "bodies", "form": form, "body": body, "name": now, "seen": seen}
    return render(request, "bodies/body_form.html", context)


def _digest(values: dict[str, Any]) -> str:
    """A short word for a state of a body, which its form carries."""
    return hashlib.sha256(repr(sorted(values.items())).encode()).hexdigest()[:16]


@only(Role.COUNTER)
@require_POST
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    """Offer a body no longer for new jobs, or offer it again."""
    with transaction.atomic():
        body = get_object_or_404(Body.objects.select_for_update(), pk=pk)
        wanted = request.POST.get("retired") == "yes"
        if body.is_retired != wanted:
            body.is_retired = wanted
            body.save(update_fields=["is_retired"])
            done = "taken out of the library" if wanted else "back in the library"
            write_event(
                "body.retired" if wanted else "body.restored",
                f"{body} is {done}.",
                who=_person(request),
                after={"body": body.pk},
            )
    return redirect("bodies:body", body.pk)


@require_safe
def body(request: HttpRequest, pk: int) -> HttpResponse:
    """A body by its newest revision."""
    return _shown(request, get_object_or_404(Body, pk=pk), number=None)


@require_safe
def revision(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """One revision of a body."""
    return _shown(request, get_object_or_404(Body, pk=pk), number=number)


def _shown(request: HttpRequest, of: Body, *, number: int | None) -> HttpResponse:
    revisions = list(
        of.revisions.select_related(
            "scan", "panels", "light", "lines", "picture", "preparation", "added_by"
        )
    )
    context: dict[str, Any] = {"part": "bodies", "body": of, "revisions": revisions}
    if number is None and not revisions:
        return render(request, "bodies/revision.html", context)
    shown = next((item for item in revisions if number in (None, item.number)), None)
    if shown is None:
        return redirect("bodies:body", of.pk)
    fill(shown)
    context |= revision_page(shown)
    context["unit_form"] = UnitForm(initial={"unit": shown.unit})
    return render(request, "bodies/revision.html", context)


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def scan(request: HttpRequest, pk: int) -> HttpResponse:
    """A new revision from a scan, or from panels for the scan that is there."""
    of = get_object_or_404(Body, pk=pk)
    newest = of.revisions.select_related("scan", "panels").first()
    form = ScanForm(
        request.POST or None,
        request.FILES or None,
        body=of,
        who=_person(request),
        newest=newest,
    )
    if request.method == "POST" and form.is_valid():
        added = form.save()
        if added == newest:
            said = f"Revision {added.number} is of the same scan and panels already: this one."
            messages.success(request, said)
        return redirect("bodies:revision", of.pk, added.number)
    context = {"part": "bodies", "form": form, "body": of, "newest": newest}
    return render(request, "bodies/scan_form.html", context)


@only(Role.COUNTER)
@require_POST
def without_scan(request: HttpRequest, pk: int) -> HttpResponse:
    """Goes on without a scan: the body is known by kept patterns; a scan can be added later."""
    of = get_object_or_404(Body, pk=pk)
    add_without_scan(of, who=_person(request))
    return redirect("bodies:body", of.pk)


@only(Role.COUNTER)
@require_POST
def unit(request: HttpRequest, pk: int) -> HttpResponse:
    """Prepare a revision again, perhaps in another unit."""
    with_scan = Revision.objects.exclude(scan=None).select_related("body", "scan", "panels")
    of = get_object_or_404(with_scan, pk=pk)
    form = UnitForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose a unit from the list.")
    else:
        try:
            prepare_again(of, unit=form.cleaned_data["unit"], who=_person(request))
        except InputError as error:
            messages.error(request, str(error))
    return redirect("bodies:revision", of.body_id, of.number)


@require_safe
def ready(_request: HttpRequest, pk: int) -> HttpResponse:
    """For a page that waits: nothing while the preparation goes on, then word to load it anew."""
    waits = get_object_or_404(Revision.objects.select_related("preparation"), pk=pk)
    response = HttpResponse(status=204)
    if waits.preparation is None or waits.preparation.is_over:
        response["HX-Refresh"] = "true"
    return response
