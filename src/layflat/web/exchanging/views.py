"""Archives: given away, brought, looked at, taken."""

import tempfile
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, LayflatError, OutputError
from layflat.exchange import Standing, fingerprint
from layflat.papers import panel_title
from layflat.web.bodies.models import Body
from layflat.web.exchanging.comparing import preview
from layflat.web.exchanging.giving import corrected, offered, own_key, packed
from layflat.web.exchanging.models import KnownKey, Received
from layflat.web.exchanging.receiving import alike, bring, content_of, others_for
from layflat.web.exchanging.taking import take
from layflat.web.patterns.models import KeptPattern
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.record.models import write_event

_MOST_SHOWN: Final = 30
_WORDS: Final = {
    Standing.NEW: "new here",
    Standing.SAME: "here already, the same",
    Standing.NEWER: "newer than what is here",
    Standing.OLDER: "older than what is here",
    Standing.DIFFERS: "differs: here it went on another way",
}


class ArchiveForm(forms.Form):
    """An archive from another shop."""

    file = forms.FileField(
        label="The archive",
        help_text="The file as the other shop made it. It is checked whole, then shown; the "
        "library stays as it is until you say what to take.",
        widget=forms.FileInput(attrs={"accept": ".zip"}),
    )


@only(Role.COUNTER)
@require_safe
def give(request: HttpRequest, pk: int) -> HttpResponse:
    """What an archive of a body would hold, or one of the pattern that is asked for."""
    body = get_object_or_404(Body, pk=pk)
    one = _asked_for(request, body)
    corrections = corrected(body, one)
    context = {
        "part": "bodies",
        "body": body,
        "one": one,
        "scans": [] if one else list(body.revisions.filter(scan__isnull=False)),
        "patterns": [one] if one else offered(body),
        "covers": [] if one else list(body.saved_covers.filter(is_retired=False)),
        "corrections": [(panel_title(piece), row) for piece, row in corrections.items()],
        "fingerprint": fingerprint(own_key().public),
    }
    return render(request, "exchanging/give.html", context)


def _asked_for(request: HttpRequest, body: Body) -> KeptPattern | None:
    """The one kept pattern that is to be given, or None for all that is known of the body."""
    name = request.GET.get("pattern", "")
    return get_object_or_404(KeptPattern, body=body, name=name) if name else None


@only(Role.COUNTER)
@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """A body, or one of its patterns, as an archive, to be kept by the browser."""
    body = get_object_or_404(Body, pk=pk)
    one = _asked_for(request, body)
    # Packed within the request: a scan of 318,000 triangles with its panels took a tenth of a
    # second of a slow processor; files are hashed and copied, nothing is computed. The file is
    # gone with the answer that sends it.
    archive = tempfile.TemporaryFile(prefix="layflat-")  # noqa: SIM115
    try:
        packed(body, only=one).copy_to(archive)
    except LayflatError as error:
        archive.close()
        messages.error(request, str(error))
        return redirect("exchanging:give", body.pk)
    archive.seek(0)
    title = f"{body} {one.title}" if one else str(body)
    name = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in title)
    answer = FileResponse(
        archive,
        as_attachment=True,
        filename=f"{name.lower()}.layflat.zip",
        content_type="application/zip",
    )
    answer["Cache-Control"] = "private, no-store"
    return answer


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def bring_one(request: HttpRequest) -> HttpResponse:
    """An archive from another shop."""
    form = ArchiveForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            came = bring(form.cleaned_data["file"], who=me(request))
        except (InputError, OutputError) as error:
            form.add_error("file", f"{error} Nothing was kept.")
        else:
            return redirect("exchanging:received", came.pk)
    context = {
        "part": "bodies",
        "form": form,
        "earlier": list(Received.objects.select_related("body", "received_by")[:_MOST_SHOWN]),
        "known": list(KnownKey.objects.all()[:_MOST_SHOWN]),
        "fingerprint": fingerprint(own_key().public),
    }
    return render(request, "exchanging/bring.html", context)


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def received(request: HttpRequest, pk: int) -> HttpResponse:
    """What an archive brings beside what is here; a form takes of it what is ticked."""
    came = get_object_or_404(Received.objects.select_related("archive", "body"), pk=pk)
    if request.method == "POST":
        return _take(request, came)
    context: dict[str, Any] = {"part": "bodies", "came": came}
    try:
        with content_of(came) as found:
            bodies = alike(found)
            others = others_for(found, bodies)
            into = _chosen(request.GET.get("into", ""), bodies, others)
            context["seen"] = seen = preview(found, into)
            context["vehicle"] = found.contents.vehicle
    except InputError as error:
        context["fault"] = str(error)
        return render(request, "exchanging/received.html", context)
    context |= {
        "bodies": bodies,
        "others": others,
        "is_other": into is not None and into not in bodies,
        "into": into,
        "items": [{"item": item, "word": _WORDS[item.standing]} for item in seen.items],
        "has_more": any(item.to_add for item in seen.items),
    }
    return render(request, "exchanging/received.html", context)


def _chosen(text: str, alike: list[Body], others: list[Body]) -> Body | None:
    """The body that is asked for: the first that is alike, unless somebody says another or none."""
    if text == "new":
        return None
    first = alike[0] if alike else None
    return next((body for body in (*alike, *others) if str(body.pk) == text), first)


def _take(request: HttpRequest, came: Received) -> HttpResponse:
    wanted = {text for text in request.POST.getlist("take") if text}
    try:
        with content_of(came) as found:
            bodies = alike(found)
            bodies += others_for(found, bodies)
        asked = request.POST.get("into", "")
        into = next((body for body in bodies if str(body.pk) == asked), None)
        if into is None and asked != "new":
            raise InputError("Say which body it belongs to.")
        body, added = take(came, into=into, wanted=wanted, who=me(request))
    except (InputError, OutputError) as error:
        messages.error(request, str(error))
        return redirect("exchanging:received", came.pk)
    if not added:
        messages.success(request, "All of that is here already; nothing was added.")
    return redirect("bodies:body", body.pk)


@only(Role.OWNER)
@require_POST
def know(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep whose key an archive was signed by."""
    came = get_object_or_404(Received, pk=pk)
    shop = "".join(sign for sign in request.POST.get("shop", "") if sign.isprintable()).strip()
    if not shop or len(shop) > 120 or request.POST.get("compared") != "yes":
        messages.error(request, "Compare the fingerprint with that shop, tick it, and name it.")
        return redirect("exchanging:received", came.pk)
    _, is_new = KnownKey.objects.get_or_create(
        key=came.key, defaults={"shop": shop, "added_by": me(request)}
    )
    if is_new:
        write_event(
            "key.known",
            f"The key {came.fingerprint} is that of {shop}.",
            who=me(request),
            after={"key": came.key},
        )
    return redirect("exchanging:received", came.pk)
