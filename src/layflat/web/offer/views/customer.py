"""The offer as the customer sees it through a private link, and the customer's yes."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.files.models import StoredFile
from layflat.web.files.sending import as_drawing, sent
from layflat.web.jobs.models import Stage
from layflat.web.jobs.views.common import locked_job
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.pages import private
from layflat.web.links.private import note_opened, token_of
from layflat.web.offer.accepting import accept
from layflat.web.offer.shown import alternatives_of, changes_of, piece_of, sha256_of
from layflat.web.offer.standing import (
    State,
    Version,
    accepted_among,
    is_shown_to_customer,
    versions_of,
)
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import the_shop


@require_http_methods(["GET", "HEAD", "POST"])
@private(Purpose.OFFER)
def for_you(request: HttpRequest, link: PrivateLink) -> HttpResponse:
    """The newest version that stands, or what was accepted; and accepting."""
    shop = the_shop()
    if request.method == "POST":
        refused = _accept(request, link, shop)
        if not refused:
            return HttpResponseRedirect(reverse("offer:for-you", args=[token_of(link)]))
        link.job.refresh_from_db()
        return _page(request, link, shop, refused=refused)
    if not isinstance(request.user, Person):
        note_opened(link)
    return _page(request, link, shop)


def _accept(request: HttpRequest, link: PrivateLink, shop: Shop) -> str:
    """Write the yes down; why not in a sentence, or ""."""
    place = request.POST.get("alternative", "")
    try:
        if request.POST.get("agreed") != "yes":
            raise InputError("Tick that you have read it and accept it.")
        with transaction.atomic():
            accept(
                locked_job(link.job.number),
                seen=request.POST.get("sha256", ""),
                alternative=int(place) if place.isdecimal() and len(place) < 4 else 0,
                name=request.POST.get("name", ""),
                shop=shop,
                through=link,
            )
    except LayflatError as error:
        return str(error)
    return ""


def _page(
    request: HttpRequest, link: PrivateLink, shop: Shop, *, refused: str = ""
) -> HttpResponse:
    job = link.job
    versions = versions_of(job, shop)
    shown = _shown(link, versions)
    context: dict[str, Any] = {
        "job": job,
        "token": token_of(link),
        "refused": refused,
        "typed": request.POST.get("name", "")[:80],
        "chosen": request.POST.get("alternative", ""),
    }
    if shown is None:
        return render(request, "offer/nothing_open.html", context)
    acceptance = shown.acceptance
    content = shown.offer.content

    def address(place: int, what: str) -> str:
        arguments = [context["token"], shown.offer.version, place, what]
        return reverse("offer:for-you-file", args=arguments)

    is_open = shown.state is State.OPEN and job.stage == Stage.OFFERED
    is_as_seen = request.POST.get("sha256") == shown.offer.sha256
    earlier = [item for item in versions if item.offer.version < shown.offer.version]
    context |= {
        "shown": shown,
        "content": content,
        "acceptance": acceptance,
        "accepted": content["alternatives"][acceptance.alternative - 1] if acceptance else None,
        "is_open": is_open,
        # Where a tick or a name is missing it is said where it goes, and not a long page above.
        "refused_below": bool(refused) and is_open and is_as_seen,
        "is_being_changed": acceptance is not None and job.stage == Stage.COVER,
        "alternatives": alternatives_of(
            content, address, only=acceptance.alternative if acceptance else None
        ),
        "changes": changes_of(versions, shown),
        "accepted_before": accepted_among(earlier),
    }
    return render(request, "offer/for_you.html", context)


def _shown(link: PrivateLink, versions: Sequence[Version]) -> Version | None:
    """The version that the customer sees: the newest that stands, or else what was accepted."""
    if versions and is_shown_to_customer(versions[0], newest=versions[0].offer, job=link.job):
        return versions[0]
    return accepted_among(versions)


def _open_to(link: PrivateLink, number: int) -> Version:
    """A version that a link opens.

    Raises:
        Http404: it opens no such version.
    """
    versions = versions_of(link.job, the_shop())
    for version in versions:
        if version.offer.version == number and is_shown_to_customer(
            version, newest=versions[0].offer, job=link.job
        ):
            return version
    raise Http404("There is no such version.")


@require_safe
@private(Purpose.OFFER)
def for_you_pdf(_request: HttpRequest, link: PrivateLink, version: int) -> HttpResponse:
    """A version on paper."""
    found = _open_to(link, version)
    return sent(found.offer.pdf, name=f"offer-{link.job.number}-{version}.pdf")


@require_safe
@private(Purpose.OFFER)
def for_you_file(
    _request: HttpRequest, link: PrivateLink, version: int, place: int, what: str
) -> HttpResponse:
    """The vehicle with an alternative's film: surfaces, lines, picture; as it was offered."""
    items = _open_to(link, version).offer.content["alternatives"]
    sha256 = sha256_of(items[place - 1], what) if 1 <= place <= len(items) else ""
    if not sha256:
        raise Http404("There is no such file.")
    stored = StoredFile.objects.filter(sha256=sha256).first()
    return as_drawing(sent(stored)) if piece_of(what) else sent(stored)
