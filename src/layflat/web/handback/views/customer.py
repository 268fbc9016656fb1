"""The passport as whoever has the car sees it through a private link."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from layflat.web.files.sending import sent
from layflat.web.handback.models import Passport
from layflat.web.handback.passports import versions_of
from layflat.web.handback.shown import shown
from layflat.web.handback.views.record import as_record, sent_named
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.pages import private
from layflat.web.links.private import note_opened, token_of
from layflat.web.people.models import Person
from layflat.web.people.shop import the_shop


@require_safe
@private(Purpose.PASSPORT)
def for_you(request: HttpRequest, link: PrivateLink) -> HttpResponse:
    """The newest version, and what changed since the earlier ones, which stay to be read."""
    shop = the_shop()
    versions = versions_of(link.job, shop)
    if not versions:
        raise Http404("There is no passport.")
    if not isinstance(request.user, Person):
        note_opened(link)
    token, newest = token_of(link), versions[0].passport

    def address(sha256: str) -> str:
        return reverse("handback:for-you-picture", args=[token, newest.version, sha256])

    context: dict[str, Any] = {
        "token": token,
        "newest": newest,
        "is_whole": versions[0].is_whole,
        "versions": versions,
        "shown": shown(newest.content, shop, address),
    }
    return render(request, "handback/for_you.html", context)


def _version(link: PrivateLink, number: int) -> Passport:
    found: Passport | None = (
        Passport.objects.select_related("pdf", "job").filter(job=link.job, version=number).first()
    )
    if found is None:
        raise Http404("There is no such version.")
    return found


@require_safe
@private(Purpose.PASSPORT)
def pdf(_request: HttpRequest, link: PrivateLink, version: int) -> HttpResponse:
    """A version on paper."""
    return sent(_version(link, version).pdf, name=f"passport-{link.job.number}-{version}.pdf")


@require_safe
@private(Purpose.PASSPORT)
def record(_request: HttpRequest, link: PrivateLink, version: int) -> HttpResponse:
    """A version as the bytes that its hash was made from."""
    return as_record(_version(link, version))


@require_safe
@private(Purpose.PASSPORT)
def picture(_request: HttpRequest, link: PrivateLink, version: int, sha256: str) -> HttpResponse:
    """A picture that a version names."""
    return sent_named(_version(link, version), sha256)
