"""The hand-back: what is missing, final pictures, care, signature."""

import datetime
import io
from functools import partial
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.papers import panel_title, qr_svg
from layflat.web.files.models import StoredFile
from layflat.web.files.sending import sent, sent_once
from layflat.web.handback import signature
from layflat.web.handback.content import HANDED
from layflat.web.handback.facts import Given
from layflat.web.handback.follow_up import USUAL_DAYS, open_visit, read_day
from layflat.web.handback.giving import (
    MENDED,
    Taken,
    give_again,
    given_before,
    hand_back,
    read_taken,
    require_not_given,
)
from layflat.web.handback.missing import missing, require_nothing_missing
from layflat.web.handback.models import FinalPicture, HandBack
from layflat.web.handback.paper import care_pdf, visit_words
from layflat.web.handback.passports import draft, hand_back_of
from layflat.web.handback.pictures import LONGEST_CAPTION, MOST, add_picture, set_withdrawn
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.once import answered_before, earlier_answer
from layflat.web.jobs.pictures import MOST_BYTES, Picture, read_picture
from layflat.web.jobs.views.common import change, locked_job, the_job
from layflat.web.links.listing import is_local
from layflat.web.links.models import Purpose
from layflat.web.links.private import address, address_from, is_open, new_nonce
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.gate import me, only
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import shop_time, the_shop

_SIZES = {"picture.jpg": "photo", "small.jpg": "thumb"}


def _page_of(number: str) -> str:
    return reverse("handback:hand-back", args=[number])


@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    """What is missing, pictures, care and signature."""
    return _show(request, the_job(number))


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def give(request: HttpRequest, number: str) -> HttpResponse:
    """Hands the car back; where something is missing, the page with what was entered."""
    job, who = the_job(number), me(request)
    if request.method != "POST" or who is None:
        return HttpResponseRedirect(_page_of(number))
    try:
        before = earlier_answer(request)
        if before is not None:
            return before
        _hand_back(request, job, who)
    except LayflatError as error:
        return _show(request, the_job(number), refused=str(error))
    messages.success(request, "The car is handed back; the passport is below.")
    return HttpResponseRedirect(_page_of(number))


def _hand_back(request: HttpRequest, job: Job, who: Person) -> None:
    """All of it or nothing; the paper is set before anybody has to wait for the job."""
    shop, at = the_shop(), timezone.now()
    require_not_given(job, shop)
    taken = _taken(request, shop, at)
    require_nothing_missing(job, at=at)
    nonce = new_nonce()
    given = Given(
        name=taken.name,
        signature=signature.sha256_of(taken.signature) if taken.signature else "",
        on_paper_because=taken.on_paper_because,
        by=who.shown,
        at=at,
    )
    to = address_from(request, Purpose.PASSPORT, nonce)
    made = draft(job, given, because=HANDED, shop=shop, address=to, at=at)
    with transaction.atomic():
        if answered_before(request, went_to=_page_of(job.number)) is not None:
            return
        held = locked_job(job.number)
        hand_back(held, taken, made, nonce=nonce, shop=shop, who=who)


def _taken(request: HttpRequest, shop: Shop, at: datetime.datetime) -> Taken:
    today = shop_time(at, shop).date()
    return read_taken(
        name=request.POST.get("name", ""),
        signed=request.POST.get("signed", ""),
        strokes=request.POST.get("strokes", ""),
        because=request.POST.get("because", ""),
        care=request.POST.get("care") == "yes",
        due_on=read_day(request.POST.get("due", ""), today=today),
    )


def _show(request: HttpRequest, job: Job, *, refused: str = "") -> HttpResponse:
    shop = the_shop()
    rows = list(job.final_pictures.select_related("photo", "thumb", "who"))
    standing = [row for row in rows if not row.is_withdrawn]
    found = hand_back_of(job)
    goes_on = job.stage not in (Stage.HANDED, Stage.CLOSED)
    lacks = missing(job, has_pictures=bool(standing)) if goes_on else ()
    today = shop_time(timezone.now(), shop).date()
    context: dict[str, Any] = {
        "part": "job",
        "shop": shop,
        "job": job,
        "refused": refused,
        "hand_back": found,
        "goes_on": goes_on,
        "missing": lacks,
        "pictures": standing,
        "withdrawn": [row for row in rows if row.is_withdrawn],
        "may_take": job.stage in (Stage.BAY, Stage.CHECKED, Stage.HANDED),
        "most": MOST,
        "longest_caption": LONGEST_CAPTION,
        "keeps_counter": _keeps_counter(request),
        "is_local": is_local(request.get_host()),
        "typed": request.POST if refused else {},
        "due": request.POST.get("due", "")
        if refused
        else (today + datetime.timedelta(days=USUAL_DAYS)).isoformat(),
        "first_due": today.isoformat(),
        "width": signature.WIDTH,
        "height": signature.HEIGHT,
        "most_letters": signature.MOST_LETTERS,
    }
    if found is not None:
        context |= _given(request, job, found)
    return render(request, "handback/hand_back.html", context)


def _given(request: HttpRequest, job: Job, found: HandBack) -> dict[str, Any]:
    """What stands once the car was handed back; the private page's address for the counter."""
    link = job.links.filter(purpose=Purpose.PASSPORT).order_by("-pk").first()
    to = address(request, link) if link is not None and is_open(link) else ""
    shown = to if _keeps_counter(request) else ""
    return {
        "passport": job.passports.order_by("-version").only("version", "sha256").first(),
        "visit": open_visit(job),
        "address": shown,
        "qr": qr_svg(shown) if shown else "",
        "signature_given": found.signature is not None,
    }


def _keeps_counter(request: HttpRequest) -> bool:
    person = me(request)
    return person is not None and person.keeps_counter


@only(Role.COUNTER)
@require_POST
def again(request: HttpRequest, number: str) -> HttpResponse:
    """Gives a car back again that came in after its hand-back."""
    return new_version(
        request,
        number,
        because=MENDED,
        act=give_again,
        to=_page_of(number),
        said="The car is given back again; the passport has a new version.",
        checks=True,
    )


def new_version(
    request: HttpRequest,
    number: str,
    *,
    because: str,
    act: Any,
    to: str,
    said: str,
    checks: bool = False,
) -> HttpResponse:
    """Drafts the next version, and has *act* keep it on the locked job.

    Args:
        request: a POST with the form's token.
        number: of the job.
        because: why the version is made.
        act: takes the locked job and the draft.
        to: where to lead.
        said: what to say when it is done.
        checks: whether nothing may be missing.
    """
    shop, at, who = the_shop(), timezone.now(), me(request)
    try:
        before = earlier_answer(request)
        if before is not None:
            return before
        job = the_job(number)
        given = given_before(job)
        if checks:
            require_nothing_missing(job, at=at)
        made = draft(
            job, given, because=because, shop=shop, address=open_address(request, job), at=at
        )
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(to)

    def keeps(held: Job) -> None:
        act(held, made, shop=shop, who=who)

    return change(request, number, keeps, to=to, said=said)


def open_address(request: HttpRequest, job: Job) -> str:
    """The address of the newest link that still opens the passport; "" for none."""
    for link in job.links.filter(purpose=Purpose.PASSPORT).order_by("-pk"):
        if is_open(link):
            return address(request, link)
    return ""


def _read(file: "UploadedFile[Any]") -> Picture:
    """A picture that was sent; of a larger one no more is read than tells that it is."""
    return read_picture(io.BytesIO(file.read(MOST_BYTES + 1)))


@require_POST
def add(request: HttpRequest, number: str) -> HttpResponse:
    """Keeps pictures of the finished car: all that were chosen, or none."""
    to = f"{_page_of(number)}#pictures"
    try:
        # Decoded before the job is locked.
        read = [_read(file) for file in request.FILES.getlist("photos")]
        if not read:
            raise InputError("Take a picture, or choose one.")
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(to)
    caption, who = request.POST.get("caption", ""), me(request)

    def act(job: Job) -> None:
        for picture in read:
            add_picture(job, picture, caption=caption, who=who)

    many = f"{len(read)} pictures are" if len(read) > 1 else "The picture is"
    return change(request, number, act, to=to, said=f"{many} kept.")


@require_POST
def withdraw(request: HttpRequest, number: str, key: int) -> HttpResponse:
    """Withdraws a picture."""
    act = partial(set_withdrawn, key=key, is_withdrawn=True, who=me(request))
    to = f"{_page_of(number)}#pictures"
    return change(request, number, act, to=to, said="The picture is withdrawn.")


@require_POST
def put_back(request: HttpRequest, number: str, key: int) -> HttpResponse:
    """Takes a withdrawal back."""
    act = partial(set_withdrawn, key=key, is_withdrawn=False, who=me(request))
    to = f"{_page_of(number)}#pictures"
    return change(request, number, act, to=to, said="The picture is back.")


@require_safe
def picture(request: HttpRequest, number: str, key: int, what: str) -> HttpResponse:
    """A picture of the finished car, whole or small."""
    if what not in _SIZES:
        raise Http404("There is no such picture.")
    found = (
        FinalPicture.objects.select_related("photo", "thumb")
        .filter(pk=key, job__number=number)
        .first()
    )
    stored: StoredFile | None = getattr(found, _SIZES[what]) if found else None
    return sent_once(request, stored)


@require_safe
def signed(_request: HttpRequest, number: str) -> HttpResponse:
    """The signature."""
    found = HandBack.objects.select_related("signature").filter(job__number=number).first()
    return sent(found.signature if found else None)


@require_safe
def care(_request: HttpRequest, number: str) -> HttpResponse:
    """The care sheet, to print and hand over."""
    job, shop = the_job(number), the_shop()
    panels: tuple[str, ...] = ()
    try:
        titles = accepted_outcome(job).pieces.values_list("panel", flat=True)
        panels = tuple(dict.fromkeys(panel_title(name) for name in titles))
    except InputError:
        panels = ()
    today = shop_time(timezone.now(), shop).date()
    visit = open_visit(job)
    due = visit.due_on if visit else None
    pdf = care_pdf(job, panels, shop=shop, visit=visit_words(due, shop) if due else "", day=today)
    name = f"{job.number}-care.pdf"
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
