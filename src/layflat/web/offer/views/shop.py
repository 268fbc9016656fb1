"""The offer as the shop sees it: make a version, see what was made, hear a yes."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.cover.models import Outcome
from layflat.web.files.sending import as_drawing, sent
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.once import answered_before, earlier_answer
from layflat.web.jobs.views.common import change, locked_job, the_job
from layflat.web.links.listing import shown_links
from layflat.web.links.models import Purpose
from layflat.web.offer.accepting import accept
from layflat.web.offer.forms import VersionForm
from layflat.web.offer.making import (
    MAY_OFFER,
    Draft,
    covers_of,
    draft,
    keep_version,
    last_version,
    newest_outcomes,
    no_rates,
    open_warnings,
    out_of_date,
    paper_of,
    ready_covers,
)
from layflat.web.offer.shown import FILES, alternatives_of, changes_of, piece_of
from layflat.web.offer.standing import State, Version, is_whole, versions_of
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role, Shop
from layflat.web.people.shop import the_shop


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def offer(request: HttpRequest, number: str) -> HttpResponse:
    """A job's offer: its versions, its links, and the form for the next version."""
    page = OfferPage(request, the_job(number), the_shop())
    return page.make() if request.method == "POST" else page.show()


class OfferPage:
    """One request for a job's offer."""

    def __init__(self, request: HttpRequest, job: Job, shop: Shop) -> None:
        self.request, self.job, self.shop = request, job, shop
        self.versions = versions_of(job, shop)
        self.ready = ready_covers(covers_of(job), newest_outcomes(job), shop)

    def form(self, data: Any = None) -> VersionForm:
        """The form for the next version, begun from the newest."""
        newest = self.versions[0].offer if self.versions else None
        return VersionForm(
            data,
            ready=self.ready,
            last=newest.version if newest else 0,
            content=newest.content if newest else None,
        )

    def make(self) -> HttpResponse:
        """Show the preview, or make the next version; or the page again with what is missing."""
        request, job = self.request, self.job
        to = reverse("offer:offer", args=[job.number])
        form = self.form(request.POST)
        try:
            before = earlier_answer(request)
            if before is not None:
                return before
            if not form.is_valid():
                return self.show(form=form)
            wanted, version = form.wanted(), form.cleaned_data["seen"] + 1
            made = draft(job, wanted, shop=self.shop, version=version)
            if request.POST.get("do") != "make":
                return self.show(form=form, preview=made)
            # Setting the paper takes a moment: nobody waits at the job's lock for it.
            pdf = paper_of(made, shop=self.shop)
            with transaction.atomic():
                before = answered_before(request, went_to=to)
                if before is not None:
                    return before
                held = locked_job(job.number)
                keep_version(held, wanted, made, pdf, shop=self.shop, who=me(request))
        except LayflatError as error:
            return OfferPage(request, the_job(job.number), self.shop).again(str(error))
        messages.success(
            request, f"Version {version} is made. Now send the customer a private link to it."
        )
        return HttpResponseRedirect(to + "#links")

    def again(self, refused: str) -> HttpResponse:
        """The page with what was entered and why it was refused; it now knows all versions."""
        data = self.request.POST.copy()
        data["seen"] = str(last_version(self.job))
        form = self.form(data)
        form.is_valid()
        form.add_error(None, refused)
        return self.show(form=form)

    def show(
        self, *, form: VersionForm | None = None, preview: Draft | None = None
    ) -> HttpResponse:
        """The page."""
        job, newest = self.job, self.versions[0] if self.versions else None
        is_open = newest is not None and newest.state is State.OPEN
        context = {
            "part": "job",
            "job": job,
            "newest": newest,
            "is_open": is_open and job.stage == Stage.OFFERED,
            "versions": [self._listed(version) for version in self.versions],
            "out_of_date": out_of_date(newest.offer, self.ready, self.shop)
            if newest is not None and newest.state in (State.OPEN, State.EXPIRED)
            else [],
            "ready": self.ready,
            # What was entered stays in sight, also when the job has moved meanwhile.
            "may_offer": job.stage in MAY_OFFER or form is not None,
            "can_go_back": job.stage in (Stage.OFFERED, Stage.ACCEPTED),
            "waits": open_warnings(list(job.faults.all())),
            "no_rates": no_rates(self.shop),
            "form": form or self.form(),
            "next_version": self.versions[0].offer.version + 1 if self.versions else 1,
            "links": shown_links(self.request, job, Purpose.OFFER),
            **self._preview(preview),
        }
        return render(self.request, "offer/offer.html", context)

    def _listed(self, version: Version) -> dict[str, Any]:
        return {
            "version": version,
            "changes": changes_of(self.versions, version),
            "accepted": _accepted_item(version),
        }

    def _preview(self, preview: Draft | None) -> dict[str, Any]:
        if preview is None:
            return {}
        addresses = {
            place: item["outcome"]
            for place, item in enumerate(preview.content["alternatives"], start=1)
        }

        def address(place: int, what: str) -> str:
            return _file_address(self.job, addresses[place], what)

        return {
            "preview": preview.content,
            "alternatives": alternatives_of(preview.content, address),
            "margins": _margins(self.request, preview.content, preview.costs),
        }


def _accepted_item(version: Version) -> dict[str, Any] | None:
    if version.acceptance is None:
        return None
    item: dict[str, Any] = version.offer.content["alternatives"][version.acceptance.alternative - 1]
    return item


def _file_address(job: Job, outcome: int, what: str) -> str:
    return reverse("offer:file", args=[job.number, outcome, what])


def _margins(
    request: HttpRequest, content: dict[str, Any], costs: Sequence[dict[str, str]]
) -> list[tuple[str, str, dict[str, str]]]:
    """What each alternative leaves, for owners; nothing for others."""
    person = me(request)
    if person is None or not person.is_owner:
        return []
    return [
        (item["title"], item["net"], cost)
        for item, cost in zip(content["alternatives"], costs, strict=True)
    ]


@only(Role.COUNTER)
@require_safe
def version(request: HttpRequest, number: str, version: int) -> HttpResponse:
    """One version as the customer sees it, and how it stands."""
    job, shop = the_job(number), the_shop()
    versions = versions_of(job, shop)
    shown = _the_version(versions, version)
    content = shown.offer.content

    def address(place: int, what: str) -> str:
        return _file_address(job, content["alternatives"][place - 1]["outcome"], what)

    context = {
        "part": "job",
        "job": job,
        "shown": shown,
        "content": content,
        "is_whole": is_whole(shown.offer),
        "alternatives": alternatives_of(content, address),
        "accepted": _accepted_item(shown),
        "changes": changes_of(versions, shown),
        "margins": _margins(request, content, shown.offer.costs),
    }
    return render(request, "offer/version.html", context)


def _the_version(versions: Sequence[Version], number: int) -> Version:
    found = next((item for item in versions if item.offer.version == number), None)
    if found is None:
        raise Http404("There is no such version.")
    return found


@only(Role.COUNTER)
@require_safe
def pdf(_request: HttpRequest, number: str, version: int) -> HttpResponse:
    """One version on paper, as it was made."""
    found = _the_version(versions_of(the_job(number), the_shop()), version)
    return sent(found.offer.pdf, name=f"{number}-offer-{version}.pdf")


@only(Role.COUNTER)
@require_safe
def file(_request: HttpRequest, number: str, outcome: int, what: str) -> HttpResponse:
    """The vehicle with an outcome's film: surfaces, lines, picture; or one piece in the flat."""
    found = Outcome.objects.select_related("shown", "lines", "picture").filter(
        pk=outcome, cover__job__number=number
    )
    one = found.first()
    which = piece_of(what)
    if one is not None and which:
        piece = get_object_or_404(one.pieces.select_related("map"), number=which)
        return as_drawing(sent(piece.map))
    if one is None or what not in FILES:
        raise Http404("There is no such file.")
    return sent(getattr(one, FILES[what]))


@only(Role.COUNTER)
@require_POST
def hear(request: HttpRequest, number: str) -> HttpResponse:
    """Writes a yes down that the customer said at the counter or on the telephone."""
    place = request.POST.get("alternative", "")

    def act(job: Job) -> object:
        return accept(
            job,
            seen=request.POST.get("sha256", ""),
            alternative=int(place) if place.isdecimal() and len(place) < 4 else 0,
            name=request.POST.get("name", ""),
            shop=the_shop(),
            heard_by=me(request),
        )

    to = reverse("offer:offer", args=[number])
    return change(request, number, act, to=to, said="The customer's yes is on record.")
