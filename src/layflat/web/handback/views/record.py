"""The passport's versions as the shop sees them, corrections, and its private link."""

import json
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from layflat.papers import qr_svg
from layflat.web.files.sending import sent
from layflat.web.handback.giving import LINK_DAYS, correct, given_before
from layflat.web.handback.models import Passport
from layflat.web.handback.passports import files_not_whole, versions_of
from layflat.web.handback.shown import shown
from layflat.web.handback.views.shop import new_version
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.views.common import change, the_job
from layflat.web.links.listing import is_local, shown_links
from layflat.web.links.models import Purpose
from layflat.web.links.private import make
from layflat.web.offer.canonical import canonical
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import the_shop

_LONGEST_REASON = 200


def _page_of(number: str) -> str:
    return reverse("handback:passport", args=[number])


@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    """Every version with what changed, whether it is whole, and the newest as people read it."""
    job, shop = the_job(number), the_shop()
    versions = versions_of(job, shop)
    context: dict[str, Any] = {
        "part": "job",
        "shop": shop,
        "job": job,
        "versions": versions,
        "is_checked": "check" in request.GET,
        "longest_reason": _LONGEST_REASON,
        "may_correct": job.stage in (Stage.HANDED, Stage.CLOSED),
    }
    person = me(request)
    context["keeps_counter"] = person is not None and person.keeps_counter
    if versions:
        newest = versions[0].passport
        if context["is_checked"]:
            context["not_whole"] = [
                (version.passport.version, said)
                for version in versions
                for said in files_not_whole(version.passport)
            ]
        address = partial(_picture, number, newest.version)
        context |= {"newest": newest, "shown": shown(newest.content, shop, address)}
        if context["keeps_counter"]:
            context["links"] = shown_links(request, job, Purpose.PASSPORT)
            open_ones = [item.address for item in context["links"] if item.address]
            context["qr"] = qr_svg(open_ones[0]) if open_ones else ""
            context["is_local"] = is_local(request.get_host())
    return render(request, "handback/passport.html", context)


def _picture(number: str, version: int, sha256: str) -> str:
    return reverse("handback:record-picture", args=[number, version, sha256])


def the_passport(number: str, version: int) -> Passport:
    """A version of a job's passport.

    Raises:
        Http404: there is none.
    """
    found: Passport | None = (
        Passport.objects.select_related("pdf", "job")
        .filter(job__number=number, version=version)
        .first()
    )
    if found is None:
        raise Http404("There is no such version.")
    return found


@require_safe
def pdf(_request: HttpRequest, number: str, version: int) -> HttpResponse:
    """A version on paper."""
    return sent(the_passport(number, version).pdf, name=f"passport-{number}-{version}.pdf")


@require_safe
def record(_request: HttpRequest, number: str, version: int) -> HttpResponse:
    """A version as the bytes that its hash was made from."""
    return as_record(the_passport(number, version))


def as_record(passport: Passport) -> HttpResponse:
    """A passport's content as canonical JSON, to be kept in a file."""
    name = f"passport-{passport.job.number}-{passport.version}.json"
    return HttpResponse(
        canonical(json.loads(json.dumps(passport.content))),
        content_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_safe
def picture(_request: HttpRequest, number: str, version: int, sha256: str) -> HttpResponse:
    """A picture that a version names."""
    return sent_named(the_passport(number, version), sha256)


def sent_named(passport: Passport, sha256: str) -> HttpResponse:
    """A picture of the finished car, by its hash, if the passport names it.

    Raises:
        Http404: it does not.
    """
    from layflat.web.files.models import StoredFile

    named = {item[name] for item in passport.content["pictures"] for name in ("sha256", "thumb")}
    if sha256 not in named:
        raise Http404("There is no such picture.")
    return sent(StoredFile.objects.filter(sha256=sha256).first())


@only(Role.COUNTER)
@require_POST
def correction(request: HttpRequest, number: str) -> HttpResponse:
    """Makes a corrected version beside the earlier ones."""
    reason = " ".join(request.POST.get("because", "").split())
    to = _page_of(number)
    if not reason or len(reason) > _LONGEST_REASON:
        said = "Say why the passport is corrected; the reason stands in the new version."
        messages.error(request, said)
        return HttpResponseRedirect(to)
    return new_version(
        request,
        number,
        because=f"Corrected: {reason.rstrip('.')}.",
        act=correct,
        to=to,
        said="The new version is made; earlier ones stay as they are.",
    )


@only(Role.COUNTER)
@require_POST
def link(request: HttpRequest, number: str) -> HttpResponse:
    """Makes a private link to the passport."""

    def act(job: Job) -> None:
        given_before(job)
        make(job, Purpose.PASSPORT, days=LINK_DAYS, who=me(request))

    return change(
        request,
        number,
        act,
        to=f"{_page_of(number)}#links",
        said="The link is made; copy it below.",
    )
