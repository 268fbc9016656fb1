"""The board: every open job by where it stands."""

import datetime
import json
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from layflat import __version__
from layflat.web.board.cards import columns, open_cards, stamp, summary
from layflat.web.diary.on_job import concerned_jobs
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import shop_time, the_shop
from layflat.web.taps.listing import count_unsettled


@require_safe
def board(request: HttpRequest) -> HttpResponse:
    """The home page."""
    context, tag = _seen(request)
    more = {"part": "board", "refused": count_unsettled(), **_known(tag)}
    answer = render(request, "board/board.html", {**context, **more})
    answer["Cache-Control"] = "no-store"
    return answer


@require_safe
def cards(request: HttpRequest) -> HttpResponse:
    """The board's changing part, asked for again and again; 304 while nothing has changed."""
    context, tag = _seen(request)
    unchanged = get_conditional_response(request, etag=tag)
    answer = unchanged or render(request, "board/cards.html", {**context, **_known(tag)})
    answer["ETag"] = tag
    # The page sends the tag itself; a copy kept by the browser would only hide the 304 from it.
    answer["Cache-Control"] = "no-store"
    return answer


def _known(tag: str) -> dict[str, str]:
    """What the page sends along when it asks again."""
    return {"headers": json.dumps({"If-None-Match": tag})}


def _seen(request: HttpRequest) -> tuple[dict[str, Any], str]:
    """What the board shows to this person with this filter, and the tag that stands for it."""
    shop = the_shop()
    person = request.user
    today = shop_today(shop)
    staff = list(
        Person.objects.filter(is_active=True).order_by("shown", "pk").values_list("pk", "shown")
    )
    who = next((key for key, _ in staff if str(key) == request.GET.get("who", "")), None)
    late = request.GET.get("late", "") == "yes"
    keeps_counter = isinstance(person, Person) and person.role != Role.INSTALLER
    shown = open_cards(today=today, shop=shop, who=who, late=late, concerns=concerned_jobs())
    context = {
        "columns": columns(shown, workshop_first=not keeps_counter),
        "summary": summary(shown),
        "count": len(shown),
        "is_filtered": who is not None or late,
        "who_shown": dict(staff).get(who or -1, ""),
        "late": late,
        "refresh": _address("board:cards", who, late=late),
        "who_choices": [
            ("Everybody", _address("board:board", None, late=late), who is None),
            *((name, _address("board:board", key, late=late), key == who) for key, name in staff),
        ],
        "late_choices": [
            ("Every day", _address("board:board", who, late=False), not late),
            ("Late only", _address("board:board", who, late=True), late),
        ],
        "keeps_counter": keeps_counter,
    }
    return context, stamp(__version__, today, shown, staff, who, late, request.user.pk)


def shop_today(shop: Shop) -> datetime.date:
    """The day it is in the shop."""
    return shop_time(timezone.now(), shop).date()


def _address(name: str, who: int | None, *, late: bool) -> str:
    asked = {"who": str(who)} if who is not None else {}
    if late:
        asked["late"] = "yes"
    return reverse(name) + (f"?{urlencode(asked)}" if asked else "")
