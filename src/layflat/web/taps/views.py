"""Taps come in here; those that did not go in are shown here."""

import math
import re
from typing import Any, Final

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import SuspiciousOperation
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from layflat.base import LayflatError, OutputError
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import me, open_to_strangers
from layflat.web.people.leading import next_of
from layflat.web.people.models import Person
from layflat.web.taps.doing import KEY, do
from layflat.web.taps.listing import SHORT, settle_tap, settled, unsettled
from layflat.web.taps.models import Tap
from layflat.web.taps.order import EarlierError, Sent

_ENVELOPE: Final = frozenset(
    {
        "csrfmiddlewaretoken",
        "tap",
        "act",
        "job",
        "next",
        "device",
        "number",
        "age_s",
        "who",
        "lacks",
        "set_aside",
    }
)
"""Fields that are about the tap; all others are the act's own."""
_COUNT: Final = re.compile(r"[0-9]{1,9}")
_SIGN_IN: Final = 401
_EARLIER: Final = 409
_NO_ROOM: Final = 507


@open_to_strangers  # a tablet is told in its own way that nobody is signed in
@require_http_methods(["GET", "POST"])
def taps(request: HttpRequest) -> HttpResponse:
    """Takes one tap; looked at, shows those that did not go in."""
    person = me(request)
    if request.method == "POST":
        return _tablet(request, person) if _is_tablet(request) else _form(request, person)
    if person is None:
        return redirect_to_login(request.get_full_path())
    return _listing(request)


def _is_tablet(request: HttpRequest) -> bool:
    return request.headers.get("Accept", "").startswith("application/json")


def _tablet(request: HttpRequest, person: Person | None) -> HttpResponse:
    """Answer a page that keeps taps until they are in."""
    whose = request.POST.get("who", "")
    if person is None or str(person.pk) != whose:
        return _answer("sign-in", _who_must(whose, person), status=_SIGN_IN)
    try:
        row = _done(request, person, _sent(request))
    except EarlierError as error:
        return _answer("earlier", str(error), status=_EARLIER, wanted=error.wanted)
    except OutputError as error:
        return _answer("later", str(error), status=_NO_ROOM)
    return _answer(row.state, row.says)


def _answer(state: str, says: str, *, status: int = 200, **more: object) -> JsonResponse:
    answer = JsonResponse({"state": state, "says": says, **more}, status=status)
    answer["Cache-Control"] = "no-store"
    return answer


def _who_must(whose: str, person: Person | None) -> str:
    key = int(whose) if _COUNT.fullmatch(whose) else 0
    tapped = Person.objects.filter(pk=key).first()
    # Strangers are told no names.
    name = tapped.shown if tapped is not None and person is not None else "whoever tapped them"
    return f"Kept taps go in when {name} is signed in."


def _form(request: HttpRequest, person: Person | None) -> HttpResponse:
    """Answer a form of a browser without scripts."""
    led_to = next_of(request, otherwise=reverse("board:board"))
    if person is None:
        return redirect_to_login(led_to)
    whose = request.POST.get("who", "")
    if whose and whose != str(person.pk):
        messages.error(
            request, f"{person.shown} is signed in now and did not open this page; tap again."
        )
        return HttpResponseRedirect(led_to)
    try:
        row = _done(request, person, None)
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(led_to)
    say = messages.success if row.state == Tap.State.DONE else messages.error
    say(request, row.says)
    return HttpResponseRedirect(led_to)


def _done(request: HttpRequest, person: Person, sent: Sent | None) -> Tap:
    return do(
        request.POST.get("act", ""),
        key=request.POST.get("tap", ""),
        who=person,
        job=request.POST.get("job", ""),
        fields={
            name: ",".join(texts) for name, texts in request.POST.lists() if name not in _ENVELOPE
        },
        files=_files(request),
        sent=sent,
    )


def _files(request: HttpRequest) -> dict[str, "UploadedFile[Any]"]:
    return {
        name: file
        for name in request.FILES
        if isinstance(file := request.FILES.get(name), UploadedFile)
    }


def _sent(request: HttpRequest) -> Sent:
    device, number = request.POST.get("device", ""), request.POST.get("number", "")
    if not KEY.fullmatch(device) or not _COUNT.fullmatch(number) or int(number) < 1:
        raise SuspiciousOperation("A tablet's tap without its count.")
    lacks = request.POST.get("lacks", "")
    return Sent(
        device=device,
        number=int(number),
        age_s=_age(request.POST.get("age_s", "")),
        lacks=int(lacks) if _COUNT.fullmatch(lacks) else 0,
        is_set_aside=request.POST.get("set_aside", "") == "yes",
    )


def _age(text: str) -> float:
    """Seconds; a text that is no number is a clock that cannot be believed."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def _listing(request: HttpRequest) -> HttpResponse:
    context = {"part": "taps", "taps": unsettled(), "is_all": request.GET.get("all", "") == "yes"}
    context["short"] = SHORT
    if context["is_all"]:
        context["settled"] = settled()
    return render(request, "taps/refused.html", context)


@require_POST
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Notes how a person saw to a tap that did not go in."""
    led_to = reverse("taps:list")
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=led_to)
            if before is not None:
                return before
            how = request.POST.get("short", "") or request.POST.get("how", "")
            settle_tap(pk, how=how, who=me(request))
    except LayflatError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "It is noted how that was settled.")
    return HttpResponseRedirect(led_to)
